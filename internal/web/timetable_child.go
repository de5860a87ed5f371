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
	return timesEffect{f.Sitting, f.Here, len(f.Blocks) == 0, f.Cost, effectShort(f), effectLines(f)}
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

type timesRemedyButton struct{ Kind, Sitting, Session, Say, Href string }

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
	p := &timesChildPage{At: timesHref(t.Grading.ID), Entry: string(id), Locked: t.Locked[id], Out: t.Out[id], Whole: q.FormValue("whole") == "yes" && len(f.Entries) > 1}
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
		p.Why, p.Remedies = timesWhy(t, p.At, e, f, effects)
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

// timesWhy gathers why nothing would do, from what stands in the way of each
// sitting, and what would.
func timesWhy(t *app.Timetable, at string, e *app.EntryView, f *app.Family, effects []app.Effect) (why []string, out []timesRemedyButton) {
	add := func(r timesRemedyButton) {
		if !slices.ContainsFunc(out, func(o timesRemedyButton) bool { return o.Say == r.Say }) {
			out = append(out, r)
		}
	}
	say := func(s string) {
		if s = sentence(s); !slices.Contains(why, s) {
			why = append(why, s)
		}
	}
	for i := range effects {
		x := &effects[i]
		w := t.Sitting(x.Sitting)
		if w == nil {
			continue
		}
		name := t.Session(w.Session).Name + ", " + timesAt(w)
		if len(x.Blocks) == 0 {
			if len(x.Lacks) > 0 {
				say(x.Lacks[0])
			} else {
				add(timesRemedyButton{Kind: "put", Sitting: w.ID, Say: "Put " + e.Student.GivenName + " into " + name})
			}
			continue
		}
		for _, b := range x.Blocks {
			say(b.Say)
		}
		if len(x.Blocks) > 1 {
			continue
		}
		switch x.Blocks[0].Kind {
		case timetable.LimitRoom:
			add(timesRemedyButton{Kind: "room", Sitting: w.ID, Say: "Make one more place in " + name})
		case timetable.LimitShared:
			add(timesRemedyButton{Kind: "share", Sitting: w.ID, Say: "Let one more neighbouring rank share " + name})
		case timetable.LimitRank:
			add(timesRemedyButton{Kind: "rank", Sitting: w.ID, Say: "Examine this rank too in " + name})
		case timetable.LimitAnswer:
			add(timesRemedyButton{Href: at + "/wishes#f-" + itoa(slices.IndexFunc(t.Families, func(o app.Family) bool { return o.ID == f.ID })), Say: "Ask the family whether " + t.Session(w.Session).Name + " would do after all"})
		}
	}
	for _, s := range t.Sessions {
		if f.SuitsOf(s.ID) != "no" && (!t.Out[e.Entry.ID] || s.MakeUp) {
			add(timesRemedyButton{Kind: "add", Session: s.ID, Say: "Add a sitting at the end of " + s.Name})
		}
	}
	return why, out
}

// timesRemedy does what a remedy's button says, as far as it is one step.
func timesRemedy(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	id, entry := t.Grading.ID, rankwright.EntryID(q.FormValue("entry"))
	e, _ := t.Entry(entry)
	w := t.Sitting(q.FormValue("sitting"))
	kind := q.FormValue("kind")
	if kind == "add" {
		for i := range t.Sittings {
			if t.Sittings[i].Session == q.FormValue("session") {
				w = &t.Sittings[i]
			}
		}
	}
	if e == nil || w == nil {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_sitting", "load the page again", "this child or this sitting is not there any more")
	}
	s := *w
	switch kind {
	case "put":
		_, err = q.App().MoveEntries(q.Context(), q.Who, id, []rankwright.EntryID{entry}, s.ID)
	case "room":
		s.Most++
		err = q.App().PutSitting(q.Context(), q.Who, id, s)
	case "share":
		s.Mixed++
		err = q.App().PutSitting(q.Context(), q.Who, id, s)
	case "rank":
		s.Ranks = append(slices.Clone(s.Ranks), e.Rank)
		err = q.App().PutSitting(q.Context(), q.Who, id, s)
	case "add":
		s.ID, s.Lost, s.Begins = "", false, s.Begins+s.Minutes
		err = q.App().PutSitting(q.Context(), q.Who, id, s)
	default:
		err = rankwright.Faultf(rankwright.Invalid, "no_remedy", "choose one of the page", "there is no such way out")
	}
	if err != nil {
		return nil, err
	}
	q.Flash("good", "Done. Now look where "+e.Student.GivenName+" could be, or let it be planned anew.")
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
