package web

import (
	"net/http"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var gradingRoutes = []Route{
	{Pattern: "GET /gradings", Act: app.SeeGradings, Do: gradingList},
	{Pattern: "GET /gradings/new", Act: app.PlanGrading, Do: gradingNew},
	{Pattern: "POST /gradings/new", Act: app.PlanGrading, Do: gradingNew},
	{Pattern: "GET /gradings/{id}", Act: app.SeeGradings, Do: gradingShow},
	{Pattern: "GET /gradings/{id}/edit", Act: app.PlanGrading, Do: gradingEdit},
	{Pattern: "POST /gradings/{id}/edit", Act: app.PlanGrading, Do: gradingEdit},
	{Pattern: "POST /gradings/{id}/move", Act: app.MoveGrading, Do: gradingMove},
	{Pattern: "GET /gradings/{id}/students", Act: app.EnterStudents, Do: gradingStudents},
	{Pattern: "POST /gradings/{id}/students", Act: app.EnterStudents, Do: gradingEnter},
	{Pattern: "POST /gradings/{id}/anyway", Act: app.Overrule, Do: gradingAnyway},
	{Pattern: "POST /entries/{entry}/withdraw", Act: app.EnterStudents, Do: gradingWithdraw},
	{Pattern: "GET /gradings/{id}/waivers", Act: app.WaiveAsked, Do: gradingWaivers},
	{Pattern: "POST /gradings/{id}/waivers", Act: app.WaiveAsked, Do: gradingWaivers},
	{Pattern: "POST /gradings/{id}/unwaive", Act: app.WaiveAsked, Do: gradingUnwaive},
	{Pattern: "GET /gradings/{id}/panel", Act: app.PlanGrading, Do: gradingPanel},
	{Pattern: "POST /gradings/{id}/panel", Act: app.PlanGrading, Do: gradingPanel},
}

func (q *Query) grading() (app.GradingView, error) {
	return q.App().Grading(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
}

func gradingBack(id rankwright.GradingID, title string) *look.Link {
	return &look.Link{Href: "/gradings/" + string(id), Text: title}
}

type gradingListPage struct {
	Frame
	Empty *look.Empty
	New   bool
	Cards []gradingCard
}

func gradingList(q *Query) (Answer, error) {
	p := &gradingListPage{New: q.Who.Role.May(app.PlanGrading)}
	p.Title = "Gradings"
	list, err := q.App().Gradings(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	for _, g := range list {
		c := gradingCard{Grading: g, Status: app.State(g.State).Row(), When: inDays(g.Day, q.App().Today())}
		c.What, c.Do = whatNow(q, g)
		p.Cards = append(p.Cards, c)
	}
	if len(list) == 0 {
		p.Empty = &look.Empty{Title: "No grading yet", Text: "A grading is one examination: a day, the ranks that are examined, who enters and who examines."}
		if p.New {
			p.Empty.Action = &look.Link{Href: "/gradings/new", Text: "Plan the first grading"}
		}
	}
	return Page("gradings", p), nil
}

// gradingFields are the questions of a new grading and of one being changed.
func gradingFields(q *Query, n app.NewGrading, s *syllabus.Syllabus) []look.Field {
	fields := []look.Field{
		{Name: "title", Label: "What it is called", Hint: "Such as Autumn grading.", Value: n.Title, Required: true, MaxLength: 120},
		{Name: "day", Label: "Day", Type: "date", Value: n.Day.String(), Required: true, Size: "medium"},
		{Name: "place", Label: "Place", Value: n.Place, Optional: true},
		{Name: "theme", Label: "Theme of the month", Hint: "Left empty, it is the syllabus's theme for that month.", Value: n.Theme, Optional: true},
	}
	if s != nil {
		f := look.Field{Name: "ranks", Label: "Ranks that are examined", Kind: "checks"}
		for _, k := range s.Ranks {
			on := len(n.Ranks) == 0
			for _, id := range n.Ranks {
				on = on || id == k.ID
			}
			f.Options = append(f.Options, look.Option{Value: string(k.ID), Text: k.Name, Selected: on})
		}
		fields = append(fields, f)
	}
	return fields
}

func gradingForm(q *Query) (app.NewGrading, error) {
	n := app.NewGrading{Title: q.FormValue("title"), Place: q.FormValue("place"), Theme: q.FormValue("theme"),
		Ladder: rankwright.LadderID(q.FormValue("ladder")), Copy: rankwright.GradingID(q.FormValue("copy"))}
	for _, r := range q.Form["ranks"] {
		n.Ranks = append(n.Ranks, rankwright.RankID(r))
	}
	day, err := rankwright.ParseDay(q.FormValue("day"))
	if err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "bad_day", "choose the day of the examination", "%q is not a day", q.FormValue("day"))
		f.Where.Name = "day"
		return n, f
	}
	n.Day = day
	return n, nil
}

func gradingNew(q *Query) (Answer, error) {
	p := &formPage{Submit: "Begin the grading"}
	p.Title, p.Width, p.Back = "A new grading", "narrow", &look.Link{Href: "/gradings", Text: "Gradings"}
	ladders, err := q.App().Ladders(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	earlier, err := q.App().Gradings(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	chosen := q.FormValue("ladder")
	if chosen == "" && len(earlier) > 0 {
		v, _, err := q.App().Version(q.Context(), q.Who, earlier[0].Version)
		if err != nil {
			return nil, err
		}
		chosen = string(v.Ladder)
	}
	var options []look.Option
	for _, l := range ladders {
		if l.Latest != nil {
			options = append(options, look.Option{Value: string(l.Ladder), Text: l.Name, Hint: "version " + itoa(l.Latest.Number), Selected: chosen == string(l.Ladder) || chosen == "" && len(options) == 0})
		}
	}
	if len(options) == 0 {
		e := &emptyPage{Empty: look.Empty{Title: "First the syllabus", Text: "A grading is run under one published syllabus, which stays frozen for it.", Action: &look.Link{Href: "/syllabus", Text: "Go to the syllabus"}}}
		e.Title, e.Width, e.Back = "A new grading", "narrow", p.Back
		return Page("empty", e), nil
	}
	n, bad := app.NewGrading{}, error(nil)
	if q.Method == http.MethodPost {
		n, bad = gradingForm(q)
	}
	p.Fields = gradingFields(q, n, nil)
	p.Fields[1].Value = q.FormValue("day")
	if len(options) > 1 {
		p.Fields = append(p.Fields, look.Field{Name: "ladder", Label: "Ladder", Kind: "radios", Options: options})
	} else {
		n.Ladder = rankwright.LadderID(options[0].Value)
	}
	if len(earlier) > 0 {
		f := look.Field{Name: "copy", Label: "Take the examiners and the sittings over from", Kind: "select", Options: []look.Option{{Value: "", Text: "Nothing: start fresh"}}}
		for i, g := range earlier {
			f.Options = append(f.Options, look.Option{Value: string(g.ID), Text: g.Title + ", " + g.Day.Long(), Selected: q.FormValue("copy") == string(g.ID) || q.Method == http.MethodGet && i == 0})
		}
		p.Fields = append(p.Fields, f)
	}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	if bad == nil {
		var g app.Grading
		if g, bad = q.App().CreateGrading(q.Context(), q.Who, n); bad == nil {
			q.Flash("good", "The grading is begun. Next: who enters, and who examines.")
			return To("/gradings/" + string(g.ID)), nil
		}
	}
	if p.wrong(bad) {
		return Again("form", p), nil
	}
	return nil, bad
}

type emptyPage struct {
	Frame
	Empty look.Empty
}

type gradingPage struct {
	Frame
	View    app.GradingView
	Steps   look.Steps
	Moves   []moveButton
	Tasks   []gradingTask
	Ranks   []gradingRank
	Waivers []waiverRow
}

type moveButton struct {
	To, Text string
	Forward  bool
}

type gradingTask struct {
	Href, Text, What string
	Good             bool
}

type gradingRank struct {
	Belt    look.Belt
	Entries []gradingEntry
}

type gradingEntry struct {
	ID, Name, Age, Note, Presence string
	Link, Withdraw                bool
	Missing                       []string
}

type waiverRow struct {
	Show, Rank, Who, Reason         string
	Grading, RankID, ID, Entry, For string
}

func gradingShow(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	st := app.State(v.State)
	p := &gradingPage{View: v}
	p.Title, p.Kicker = v.Title, v.Day.Long()+" – "+inDays(v.Day, q.App().Today())
	p.Back = &look.Link{Href: "/gradings", Text: "Gradings"}
	now, names := 0, []string{}
	for _, r := range app.States {
		if r.State == app.Timetabled && r.State != st {
			continue // reached by publishing the timetable
		}
		if r.State == st {
			now = len(names)
		}
		names = append(names, r.Name)
	}
	p.Steps = look.StepsAt("Where the grading stands", now, names...)
	if st == app.Closed {
		for i := range p.Steps.Items {
			p.Steps.Items[i].State = "done"
		}
	}
	if q.Who.Role.May(app.MoveGrading) {
		for _, next := range v.Status.Next {
			if next == app.Closed || next == app.Timetabled || next == app.Families && st != app.Planning {
				continue // closed by signing, timetabled by publishing the timetable
			}
			ready := len(v.Entries) > 0 && len(v.Panel) > 0
			p.Moves = append(p.Moves, moveButton{string(next), moveWord(next), next == app.OnTheMat && st != app.Deciding && ready || next == app.Deciding})
		}
	}
	p.Tasks = gradingTasks(q, v, st)
	for _, id := range v.Ranks {
		k, _ := v.Syllabus.Rank(id)
		r := gradingRank{Belt: belt(k)}
		for _, e := range v.Entries {
			if e.Rank == id {
				r.Entries = append(r.Entries, gradingEntryOf(q, v, e, k))
			}
		}
		if len(r.Entries) > 0 {
			p.Ranks = append(p.Ranks, r)
		}
	}
	p.Waivers = waiverRows(v)
	return Page("grading", p), nil
}

func moveWord(s app.State) string {
	switch s {
	case app.Planning:
		return "Back to planning"
	case app.Families:
		return "Open to families"
	case app.OnTheMat:
		return "Open the mat: marks can be given"
	case app.Deciding:
		return "All marks are in: decide"
	case app.Timetabled:
		return "Close the mat again"
	}
	return "Go to “" + s.Row().Name + "”"
}

func gradingTasks(q *Query, v app.GradingView, st app.State) []gradingTask {
	at := "/gradings/" + string(v.ID)
	var out []gradingTask
	add := func(act app.Act, ok bool, href, text, what string) {
		if ok && q.Who.Role.May(act) {
			out = append(out, gradingTask{Href: at + href, Text: text, What: what})
		}
	}
	planning := st == app.Planning || st == app.Families || st == app.Timetabled
	add(app.EnterStudents, st.Allows(app.EnterStudents), "/students", "Who enters", plural(len(v.Entries), "student is entered", "students are entered"))
	add(app.PlanGrading, planning, "/panel", "Who examines", plural(len(v.Panel), "examiner", "examiners"))
	add(app.SeeTimetable, st != app.Closed, "/timetable", "Timetable", "sittings, what suits whom, who comes when")
	add(app.SeeFamilies, true, "/families", "Families", "links to their own pages, what they answered and signed")
	add(app.SeeMessages, st != app.Planning, "/messages", "Messages", "the link, reminders, times and results, by e-mail or by hand")
	add(app.WaiveAsked, st.Allows(app.WaiveAsked), "/waivers", "What is not asked", plural(len(v.Waivers), "waiver", "waivers"))
	add(app.CheckIn, st.Allows(app.CheckIn) || st.Allows(app.SettleClear), "/arrivals", "Arrivals and clearances", "who is here, and what is still missing")
	add(app.PairDevices, st.Allows(app.PairDevices), "/pair", "Devices for the mat", "a code to scan, and a PIN for each examiner")
	add(app.PrintPapers, st != app.Closed, "/paperwork", "On paper", "run sheets, blank score tables, name cards, labels")
	add(app.GiveBefore, st.Allows(app.GiveBefore) && asksBefore(v), "/before", "Before the day", "marks for what is seen in class or at the door")
	add(app.GiveMarks, st.Allows(app.GiveMarks), "/marks", "Give marks", "rank by rank, one tap a mark")
	add(app.SeeBoard, st == app.OnTheMat || st == app.Deciding, "/board", "Live board", "who lacks marks, who waits, which devices are silent")
	add(app.SignGrading, st == app.Deciding, "/sign", "Sign", "when every outcome is as it should be")
	add(app.SeeOutcomes, st == app.OnTheMat || st == app.Deciding || st == app.Closed, "/outcomes", "Outcomes", "with the reasons, second looks first")
	add(app.PrintPapers, st == app.Closed, "/certificates", "Certificates", "and the list to read out")
	add(app.KeepStock, st == app.Closed, "/hand-out", "Hand out", "belts and shirts, off the shelf")
	if q.Who.Role.May(app.KeepStock) && st != app.Closed {
		out = append(out, gradingTask{Href: "/supply?of=" + string(v.ID), Text: "Belts and shirts", What: "what is to be ordered"})
	}
	add(app.PrintLetters, st == app.Closed, "/letters", "Letters about results", "a page for each child, to hand over")
	add(app.PlanGrading, planning, "/edit", "Day, place, ranks, theme", "")
	return out
}

func gradingEntryOf(q *Query, v app.GradingView, e app.EntryView, k *syllabus.Rank) gradingEntry {
	x := gradingEntry{ID: string(e.Entry.ID), Name: e.Student.FullName(), Presence: e.Presence}
	if e.Age >= 0 && q.Who.Role.May(app.SeeRoster) {
		x.Age = itoa(e.Age)
	}
	if e.OverruledBy != "" && q.Who.Role.May(app.EnterStudents) {
		x.Note = "entered against the rule: " + e.OverruleWhy
	}
	if q.Who.Role.May(app.SettleClear) {
		for _, id := range k.Clearances {
			if !e.Clearances[id] {
				x.Missing = append(x.Missing, v.Syllabus.Clearance(id).Name)
			}
		}
	}
	x.Link = q.Who.Role.May(app.SeeOutcomes) && app.State(v.State) != app.Planning
	x.Withdraw = q.Who.Role.May(app.EnterStudents) && app.State(v.State).Allows(app.EnterStudents)
	return x
}

func waiverRows(v app.GradingView) []waiverRow {
	var out []waiverRow
	for _, w := range v.Waivers {
		k, _ := v.Syllabus.Rank(w.Rank)
		r := waiverRow{Reason: w.Reason, Grading: string(v.ID), RankID: string(w.Rank), ID: string(w.Requirement), Entry: string(w.Entry), For: "everybody"}
		if k != nil {
			r.Rank = k.Name
			if rq := k.Requirement(w.Requirement); rq != nil {
				r.Show = rq.Show
			}
		}
		for _, e := range v.Entries {
			if e.Entry.ID == w.Entry {
				r.For = e.Student.FullName()
			}
		}
		out = append(out, r)
	}
	return out
}

func gradingEdit(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	p := &formPage{Submit: "Save"}
	p.Title, p.Width, p.Back = "Day, place, ranks, theme", "narrow", gradingBack(v.ID, v.Title)
	n := app.NewGrading{Title: v.Title, Day: v.Day, Place: v.Place, Theme: v.Theme, Ranks: v.Ranks}
	var bad error
	if q.Method == http.MethodPost {
		n, bad = gradingForm(q)
	}
	p.Fields = gradingFields(q, n, v.Syllabus)
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	if bad == nil {
		bad = q.App().EditGrading(q.Context(), q.Who, v.ID, n)
	}
	if bad != nil {
		if p.wrong(bad) {
			return Again("form", p), nil
		}
		return nil, bad
	}
	q.Flash("good", "Saved.")
	return To("/gradings/" + string(v.ID)), nil
}

func gradingMove(q *Query) (Answer, error) {
	id := q.PathValue("id")
	if err := q.App().MoveAccepting(q.Context(), q.Who, rankwright.GradingID(id), app.State(q.FormValue("to")), q.FormValue("accept")); err != nil {
		return lacking(q, rankwright.GradingID(id), err, "Decide without them", map[string]string{"to": q.FormValue("to")})
	}
	to := app.State(q.FormValue("to"))
	q.Flash("good", "The grading is now “"+to.Row().Name+"”. "+to.Row().Means)
	return To("/gradings/" + id), nil
}

type waiversPage struct {
	formPage
	View app.GradingView
	Rows []waiverRow
}

func gradingWaivers(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	p := &waiversPage{View: v}
	p.Title, p.Back, p.Submit = "What is not asked", gradingBack(v.ID, v.Title), "Waive it"
	p.Lead = "A requirement that is waived is not asked, and its points leave the total. Whatever was shown in full anyway still counts."
	what := look.Field{Name: "what", Label: "Requirement", Kind: "select", Required: true}
	for _, id := range v.Ranks {
		k, _ := v.Syllabus.Rank(id)
		for _, rq := range k.Requirements {
			val := string(id) + " " + string(rq.ID)
			what.Options = append(what.Options, look.Option{Value: val, Text: k.Name + ": " + rq.Show, Selected: q.FormValue("what") == val})
		}
	}
	who := look.Field{Name: "entry", Label: "For", Kind: "select", Options: []look.Option{{Value: "", Text: "Everybody at this rank"}}}
	for _, e := range v.Entries {
		who.Options = append(who.Options, look.Option{Value: string(e.Entry.ID), Text: e.Student.FullName(), Selected: q.FormValue("entry") == string(e.Entry.ID)})
	}
	p.Fields = []look.Field{what, who, {Name: "reason", Label: "Why", Hint: "It is kept with your name and the date.", Required: true, Value: q.FormValue("reason"), MaxLength: 400}}
	p.Rows = waiverRows(v)
	if q.Method == http.MethodGet {
		return Page("waivers", p), nil
	}
	rank, req, _ := strings.Cut(q.FormValue("what"), " ")
	err = q.App().Waive(q.Context(), q.Who, app.Waiver{Grading: v.ID, Rank: rankwright.RankID(rank), Requirement: rankwright.RequirementID(req),
		Entry: rankwright.EntryID(q.FormValue("entry")), Reason: q.FormValue("reason")})
	if err != nil {
		if p.wrong(err) {
			return Again("waivers", p), nil
		}
		return nil, err
	}
	q.Flash("good", "It is waived, with your reason.")
	return To("/gradings/" + string(v.ID) + "/waivers"), nil
}

func gradingUnwaive(q *Query) (Answer, error) {
	id := q.PathValue("id")
	err := q.App().Unwaive(q.Context(), q.Who, app.Waiver{Grading: rankwright.GradingID(id), Rank: rankwright.RankID(q.FormValue("rank")),
		Requirement: rankwright.RequirementID(q.FormValue("requirement")), Entry: rankwright.EntryID(q.FormValue("entry"))})
	if err != nil {
		return nil, err
	}
	q.Flash("good", "It is asked again.")
	return To("/gradings/" + id + "/waivers"), nil
}

func gradingPanel(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	p := &formPage{Submit: "Save"}
	p.Title, p.Width, p.Back = "Who examines", "narrow", gradingBack(v.ID, v.Title)
	p.Lead = "Only people on this list can give marks. Where the rules take the lead's mark, the lead chosen here decides."
	people, err := q.App().Examiners(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	who := look.Field{Name: "examiner", Label: "Examiners", Kind: "checks"}
	lead := look.Field{Name: "lead", Label: "Lead", Kind: "select", Options: []look.Option{{Value: "", Text: "No lead"}}}
	for _, x := range people {
		on, leads := false, false
		for _, y := range v.Panel {
			on, leads = on || y.Person == x.ID, leads || y.Person == x.ID && y.Lead
		}
		if q.Method == http.MethodPost {
			on, leads = false, q.FormValue("lead") == x.ID
			for _, id := range q.Form["examiner"] {
				on = on || id == x.ID
			}
		}
		hint := roleName(app.Role(x.Role))
		if x.HighestRank != "" {
			if k, _ := v.Syllabus.Rank(rankwright.RankID(x.HighestRank)); k != nil {
				hint += ", examines up to " + k.Name
			}
		}
		who.Options = append(who.Options, look.Option{Value: x.ID, Text: x.Name, Hint: hint, Selected: on})
		lead.Options = append(lead.Options, look.Option{Value: x.ID, Text: x.Name, Selected: leads})
	}
	p.Fields = []look.Field{who, lead}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	if err := q.App().SetPanel(q.Context(), q.Who, v.ID, q.Form["examiner"], q.FormValue("lead")); err != nil {
		if p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	q.Flash("good", "The examiners are saved.")
	return To("/gradings/" + string(v.ID)), nil
}
