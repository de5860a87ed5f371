package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/timetable"
)

type timesEffect struct {
	Sitting string   `json:"sitting"`
	Here    bool     `json:"here"`
	May     bool     `json:"may"`
	Better  int64    `json:"cost"`
	Short   string   `json:"short"`
	Lines   []string `json:"lines"`
}

func timesEffectOf(f *app.Effect) timesEffect {
	return timesEffect{f.Sitting, f.Here, len(f.Blocks) == 0, f.Cost, effectShort(f), append([]string{}, effectLines(f)...)}
}

func entriesIn(q *Query) (out []rankwright.EntryID) {
	for _, e := range q.Form["entry"] {
		out = append(out, rankwright.EntryID(e))
	}
	return out
}

// timesEffects tells the script what it would do to put children anywhere.
func timesEffects(q *Query) (Answer, error) {
	if err := q.ParseForm(); err != nil {
		return nil, err
	}
	list, err := q.App().Effects(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")), entriesIn(q))
	if err != nil {
		return nil, err
	}
	out := make([]timesEffect, len(list))
	for i := range list {
		out[i] = timesEffectOf(&list[i])
	}
	return JSON{Status: http.StatusOK, Data: map[string]any{"effects": out}}, nil
}

// timesMove puts children into a sitting.
func timesMove(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	f, err := q.App().MoveEntries(q.Context(), q.Who, id, entriesIn(q), q.FormValue("to"))
	if err != nil {
		return nil, err
	}
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	say := timesMoved(t, entriesIn(q), q.FormValue("to"), &f)
	if strings.HasPrefix(q.Header.Get("Accept"), "application/json") {
		return JSON{Status: http.StatusOK, Data: map[string]string{"say": say}}, nil
	}
	q.Flash("good", say)
	return To(timesHref(id) + "#w-" + q.FormValue("to")), nil
}

func timesMoved(t *app.Timetable, entries []rankwright.EntryID, to string, f *app.Effect) string {
	var names []string
	for _, id := range entries {
		if e, _ := t.Entry(id); e != nil {
			names = append(names, e.Student.GivenName)
		}
	}
	verb, now := " is", " now in "
	if len(names) > 1 {
		verb = " are"
	}
	where := "waiting"
	if w := t.Sitting(to); w != nil {
		where = t.Session(w.Session).Name + ", " + timesAt(w)
	} else {
		now = " "
	}
	return listed(names) + verb + now + where + ": " + effectShort(f) + "."
}

type timesChildPage struct {
	Frame
	At, Entry string
	Belt      look.Belt
	Facts     []look.Fact
	Family    []timesFamilyOption // whom to move
	Whole     bool
	Where     []timesWhere
	May       bool // plan
	MayAsk    bool // write down what suits
	Locked    bool
	Out       bool
	OffDoor   bool
	Placed    bool
	Why       []string // why they wait
	Remedies  []timesRemedyButton
	Calendar  string
}

type timesFamilyOption struct {
	ID, Name string
}

// timesWhere is a session with its sittings, as a place to move to.
type timesWhere struct {
	Name, When, Suits string
	Rows              []timesWhereRow
}

type timesWhereRow struct {
	timesEffect
	Name, Room string
}

type timesRemedyButton struct {
	No        int
	Say, Href string
}

func timesChild(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	id := rankwright.EntryID(q.FormValue("entry"))
	if id == "" && len(t.Grading.Entries) > 0 { // the address without a child
		return To(timesHref(t.Grading.ID)), nil
	}
	e, f := t.Entry(id)
	if e == nil {
		if id == "" {
			return To(timesHref(t.Grading.ID)), nil
		}
		return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "load the page again", "this student is not entered in this grading any more")
	}
	st := app.State(t.Grading.State)
	p := &timesChildPage{At: timesHref(t.Grading.ID), Entry: string(id), Locked: t.Locked[id], Out: t.Out[id], OffDoor: t.OffDoor[id], Whole: q.FormValue("whole") == "yes" && len(f.Entries) > 1}
	p.May = q.Who.Role.May(app.PlanTimes) && st.Allows(app.PlanTimes)
	p.MayAsk = q.Who.Role.May(app.TakeAnswers) && st.Allows(app.TakeAnswers)
	p.Title, p.Back, p.Kicker = e.Student.FullName(), timesBack(t), "Timetable"
	p.Styles = timesStyle()
	k, _ := t.Grading.Syllabus.Rank(e.Rank)
	p.Belt = matBelt(k)
	moving := []rankwright.EntryID{id}
	for i := range f.Entries {
		x := &f.Entries[i]
		p.Family = append(p.Family, timesFamilyOption{string(x.Entry.ID), x.Student.FullName()})
		if p.Whole && x.Entry.ID != id {
			moving = append(moving, x.Entry.ID)
		}
	}
	at := t.Sitting(t.Current().At(id))
	p.Placed = at != nil
	p.Facts = timesChildFacts(t, e, f, at)
	effects, err := t.Effects(moving)
	if err != nil {
		return nil, err
	}
	for _, s := range t.Sessions {
		w := timesWhere{Name: s.Name, When: timesWhen(&s), Suits: suitsWord(f.SuitsOf(s.ID))}
		for i := range effects {
			if x := t.Sitting(effects[i].Sitting); x != nil && x.Session == s.ID {
				w.Rows = append(w.Rows, timesWhereRow{timesEffectOf(&effects[i]), timesAt(x), roomWord(t, x)})
			}
		}
		p.Where = append(p.Where, w)
	}
	if at == nil && t.Current() != nil {
		p.Lead = "There is no sitting for " + e.Student.GivenName + " yet."
		why, err := t.Why(id)
		if err != nil {
			return nil, err
		}
		p.Why, p.Remedies = why.Say, timesRemedies(t, p.At, why)
	}
	if len(t.FamilyTold(f.ID)) > 0 { // also where a time was only taken back
		p.Calendar = p.At + "/calendar.ics?" + url.Values{"entry": {string(id)}}.Encode()
	}
	return Page("timetable-child", p), nil
}

func roomWord(t *app.Timetable, w *app.Sitting) string {
	n := 0
	for _, e := range t.Grading.Entries {
		if t.Current().At(e.Entry.ID) == w.ID {
			n++
		}
	}
	return itoa(n) + " of " + itoa(w.Most)
}

func timesChildFacts(t *app.Timetable, e *app.EntryView, f *app.Family, at *app.Sitting) (out []look.Fact) {
	plan := "waits"
	if at != nil {
		plan = t.Session(at.Session).Name + ", " + timesAt(at)
	}
	if t.Current() == nil {
		plan = "not planned yet"
	}
	out = append(out, look.Fact{Term: "In the plan", Text: plan})
	if told := t.ToldOf(e.Entry.ID); told != nil {
		out = append(out, look.Fact{Term: "Told", Text: told.Day.Long() + ", " + timetable.Minute(told.Begins).String() + ", mat " + told.Mat})
	}
	if len(f.Entries) > 1 {
		var names []string
		for _, x := range f.Entries {
			if x.Entry.ID != e.Entry.ID {
				names = append(names, x.Student.GivenName)
			}
		}
		out = append(out, look.Fact{Term: "Comes with", Text: listed(names)})
	}
	return out
}

// timesRemedies are the buttons that do what would help.
func timesRemedies(t *app.Timetable, at string, why *app.Why) (out []timesRemedyButton) {
	for i, r := range why.Remedies {
		b := timesRemedyButton{No: i, Say: sentence(r.Say)}
		b.Say = strings.TrimSuffix(b.Say, ".")
		if r.Kind == timetable.AskHousehold {
			b.Href = at + "/wishes#f-" + itoa(slices.IndexFunc(t.Families, func(o app.Family) bool { return o.ID == r.Household }))
		}
		out = append(out, b)
	}
	return out
}

// timesRemedy does what a remedy's button says.
func timesRemedy(q *Query) (Answer, error) {
	id, entry := rankwright.GradingID(q.PathValue("id")), rankwright.EntryID(q.FormValue("entry"))
	if err := q.App().Help(q.Context(), q.Who, id, entry, number(q.FormValue("no")), q.FormValue("say")); err != nil {
		return nil, err
	}
	q.Flash("good", "Done: "+q.FormValue("say")+". Let it be planned anew, or choose where to below.")
	return To(timesHref(id) + "/child?" + url.Values{"entry": {string(entry)}}.Encode()), nil
}

// timesChildDo locks a child, or writes down that they cannot come, or moves
// them up the waiting list.
func timesChildDo(q *Query) (Answer, error) {
	id, entry := rankwright.GradingID(q.PathValue("id")), rankwright.EntryID(q.FormValue("entry"))
	var err error
	say := ""
	switch q.FormValue("do") {
	case "lock":
		say, err = "Locked: whatever is planned anew leaves this as it is.", q.App().SetLock(q.Context(), q.Who, id, []rankwright.EntryID{entry}, true)
	case "unlock":
		say, err = "Not locked any more.", q.App().SetLock(q.Context(), q.Who, id, []rankwright.EntryID{entry}, false)
	case "out":
		say, err = "Written down. Why is nobody's business here. Let the timetable be repaired; a make-up date is looked for.", q.App().SetCannotCome(q.Context(), q.Who, entry, true)
	case "in":
		say, err = "Written down. Let the timetable be repaired.", q.App().SetCannotCome(q.Context(), q.Who, entry, false)
	case "off-door":
		say, err = "Written down: the list for the door leaves the name out, now and at later gradings. They know their time from you.", q.App().SetOffDoor(q.Context(), q.Who, id, entry, true)
	case "on-door":
		say, err = "Written down: the name may stand on the list for the door.", q.App().SetOffDoor(q.Context(), q.Who, id, entry, false)
	case "earlier":
		say, err = "Moved up the waiting list.", q.App().WaitEarlier(q.Context(), q.Who, entry)
	default:
		err = rankwright.Faultf(rankwright.Invalid, "no_act", "choose a button of the page", "there is nothing to do")
	}
	if err != nil {
		return nil, err
	}
	q.Flash("good", say)
	if q.FormValue("back") == "board" {
		return To(timesHref(id)), nil
	}
	return To(timesHref(id) + "/child?" + url.Values{"entry": {string(entry)}}.Encode()), nil
}

func timesPanel(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if err := q.App().SetPanelOf(q.Context(), q.Who, id, q.FormValue("sitting"), q.Form["person"]); err != nil {
		return nil, err
	}
	q.Flash("good", "The panel is saved in the draft.")
	return To(timesHref(id) + "#w-" + q.FormValue("sitting")), nil
}
