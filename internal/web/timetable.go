package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/timetable"
)

var timesRoutes = []Route{
	{Pattern: "GET /gradings/{id}/timetable", Act: app.SeeTimetable, Do: timesShow},
	{Pattern: "GET /gradings/{id}/timetable/setup", Act: app.PlanTimes, Do: timesSetup},
	{Pattern: "POST /gradings/{id}/timetable/setup", Act: app.PlanTimes, Do: timesAdd},
	{Pattern: "GET /gradings/{id}/timetable/stations", Act: app.PlanTimes, Do: timesStations},
	{Pattern: "POST /gradings/{id}/timetable/stations", Act: app.PlanTimes, Do: timesStationsSave},
	{Pattern: "POST /gradings/{id}/timetable/session", Act: app.PlanTimes, Do: timesSessionDo},
	{Pattern: "GET /gradings/{id}/timetable/sitting", Act: app.SeeTimetable, Do: timesSitting},
	{Pattern: "POST /gradings/{id}/timetable/sitting", Act: app.PlanTimes, Do: timesSittingDo},
	{Pattern: "POST /gradings/{id}/timetable/copy", Act: app.PlanTimes, Do: timesCopy},
	{Pattern: "GET /gradings/{id}/timetable/wishes", Act: app.SeeTimetable, Do: timesWishes},
	{Pattern: "POST /gradings/{id}/timetable/wishes", Act: app.TakeAnswers, Do: timesWishesSave},
	{Pattern: "GET /gradings/{id}/timetable/examiners", Act: app.PlanTimes, Do: timesExaminers},
	{Pattern: "POST /gradings/{id}/timetable/examiners", Act: app.PlanTimes, Do: timesExaminerSave},
	{Pattern: "POST /gradings/{id}/timetable/plan", Act: app.PlanTimes, Do: timesPlan},
	{Pattern: "POST /gradings/{id}/timetable/end", Act: app.PlanTimes, Do: timesEnd},
	{Pattern: "GET /gradings/{id}/timetable/progress", Act: app.SeeTimetable, Kind: "json", Do: timesProgress},
	{Pattern: "POST /gradings/{id}/timetable/weights", Act: app.PlanTimes, Do: timesWeights},
	{Pattern: "GET /gradings/{id}/timetable/effects", Act: app.SeeTimetable, Kind: "json", Do: timesEffects},
	{Pattern: "POST /gradings/{id}/timetable/move", Act: app.PlanTimes, Do: timesMove},
	{Pattern: "GET /gradings/{id}/timetable/child", Act: app.SeeTimetable, Do: timesChild},
	{Pattern: "POST /gradings/{id}/timetable/child", Act: app.SeeTimetable, Do: timesChildDo},
	{Pattern: "POST /gradings/{id}/timetable/remedy", Act: app.PlanTimes, Do: timesRemedy},
	{Pattern: "POST /gradings/{id}/timetable/panel", Act: app.PlanTimes, Do: timesPanel},
	{Pattern: "GET /gradings/{id}/timetable/changes", Act: app.SeeTimetable, Do: timesChanges},
	{Pattern: "POST /gradings/{id}/timetable/answer", Act: app.TakeAnswers, Do: timesAnswer},
	{Pattern: "POST /gradings/{id}/timetable/drop", Act: app.PlanTimes, Do: timesDrop},
	{Pattern: "POST /gradings/{id}/timetable/publish", Act: app.SeeTimetable, Do: timesPublish},
	{Pattern: "GET /gradings/{id}/timetable/run-sheets.pdf", Act: app.PrintPapers, Do: timesSheets},
	{Pattern: "GET /gradings/{id}/timetable/door-list.pdf", Act: app.PrintPapers, Do: timesDoor},
	{Pattern: "GET /gradings/{id}/timetable/calendar.ics", Act: app.SeeTimetable, Do: timesCalendar},
}

type timesPage struct {
	Frame
	At        string
	None      *look.Empty
	Notices   []look.Notice
	Tasks     []gradingTask
	Running   *timesRunning
	Plan      *timesPlanBox
	Change    *look.Link // to what would change, or to publishing
	ChangeIs  bool       // it is the next step
	May       bool       // plan
	Sum       []timesSum // why the plan costs what it does
	Seed      int64
	Cost      string
	Proven    string
	Sessions  []timesBoard
	Waiting   []timesChip
	First     bool // nothing was planned yet
	Papers    []look.Link
	TakenBack []look.Link // calendar files of children who are no longer entered
}

// timesPlanBox is the question how to plan.
type timesPlanBox struct {
	Text   string
	Hint   string
	AskYes bool // families were told times, and may be asked for others
}

type timesRunning struct {
	Running bool
	Say     string
	Fault   string
}

type timesSum struct {
	Key, Name, Units string
	Weight           int
	Cost             int64
}

// timesBoard is a session on the board: mats side by side, times below each
// other.
type timesBoard struct {
	ID, Name, When, Sum string
	MakeUp              bool
	Mats                []string
	Rows                []timesBoardRow
}

type timesBoardRow struct {
	Time  string
	Cells []*timesCard // one a mat, nil where the mat is free
}

type timesCard struct {
	ID, Name    string
	Time, Mat   string
	Count, Most int
	Open        bool
	Lost        bool
	Full        bool
	Short       bool // fewer than it takes place with
	Squads      []timesSquad
	Panel       string
	Lacks       string // examiners that are missing
	Note        string
}

type timesSquad struct {
	No    int
	Bands []look.Belt
	Chips []timesChip
}

// timesChip is a child on the board.
type timesChip struct {
	Entry    rankwright.EntryID
	Family   string // one letter and number a family, for the script
	Name     string
	Rank     string
	Colour   look.Belt
	Href     string
	Locked   bool
	Moved    bool // told another time
	Out      bool
	Siblings int
	First    bool
}

func timesShow(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	at, st := timesHref(t.Grading.ID), app.State(t.Grading.State)
	p := &timesPage{At: at, May: q.Who.Role.May(app.PlanTimes) && st.Allows(app.PlanTimes), Seed: t.Seed}
	p.Title, p.Back, p.Kicker, p.Width = "Timetable", gradingBack(t.Grading.ID, t.Grading.Title), t.Grading.Day.Long()+" – "+t.Grading.Status.Name, "wide"
	p.Styles, p.Scripts = timesStyle(), []string{matPath() + "timetable.js"}
	timesTasks(q, t, p)
	if len(t.Sittings) == 0 || len(t.Families) == 0 {
		p.None = timesNothing(p.May, t, at)
		return Page("timetable", p), nil
	}
	if err := timesState(q, t, p); err != nil {
		return nil, err
	}
	n := 0
	family := map[rankwright.HouseholdID]string{}
	for i := range t.Families {
		family[t.Families[i].ID] = "f" + itoa(i)
		n += len(t.Families[i].Entries)
	}
	for i := range t.Sessions {
		p.Sessions = append(p.Sessions, timesBoardOf(t, &t.Sessions[i], at, family))
	}
	for i, e := range t.WaitingNow() {
		c := timesChipOf(t, e, at, family)
		c.First = i == 0
		p.Waiting = append(p.Waiting, c)
	}
	p.First = t.Current() == nil
	p.Papers = timesPapers(t, at)
	for _, x := range t.TakenBack() {
		whose := "a family without an entry"
		if f := t.Family(x.Household); f != nil {
			whose = f.Name
		}
		p.TakenBack = append(p.TakenBack, look.Link{Href: at + "/calendar.ics?" + url.Values{"entry": {string(x.Entry)}}.Encode(),
			Text: whose + ": " + x.Day.Long() + ", " + timetable.Minute(x.Begins).String()})
	}
	p.Lead = timesLead(t, n, len(p.Waiting))
	if broken, err := t.NoLonger(); err != nil {
		return nil, err
	} else if len(broken) > 0 {
		p.Lead = "What was told cannot be held as it is."
		p.Notices = append(p.Notices, look.Notice{Kind: "attention", Title: "Something happened since the times were told.", Text: timesSome(broken, 4), Do: "Let the timetable be repaired; it moves as few families as it can."})
	}
	return Page("timetable", p), nil
}

func timesLead(t *app.Timetable, all, waiting int) string {
	switch {
	case t.Current() == nil:
		return plural(all, "child", "children") + " to place. " + wishesLead(t.Unanswered(), len(t.Families))
	case waiting == 0 && t.Draft != nil:
		return "Everybody has a sitting. It is a draft: families are not told yet."
	case waiting == 0:
		return "Everybody has a sitting, and the times are told."
	}
	return plural(waiting, "child has", "children have") + " no sitting."
}

func timesNothing(may bool, t *app.Timetable, at string) *look.Empty {
	switch {
	case len(t.Families) == 0 && may:
		return &look.Empty{Title: "Nobody is entered yet", Text: "Enter students first; then each gets a sitting.", Action: &look.Link{Href: "/gradings/" + url.PathEscape(string(t.Grading.ID)) + "/students", Text: "Who enters"}}
	case may:
		return &look.Empty{Title: "There are no sittings yet", Text: "A line makes a row of them: the day, from when until when, which mats, how many minutes.", Action: &look.Link{Href: at + "/setup", Text: "Make the first session"}}
	}
	return &look.Empty{Title: "There is no timetable yet", Text: "It is shown here once it is planned."}
}

func timesTasks(q *Query, t *app.Timetable, p *timesPage) {
	if q.Who.Role.May(app.PlanTimes) && app.State(t.Grading.State).Allows(app.PlanTimes) {
		p.Tasks = append(p.Tasks, gradingTask{Href: p.At + "/setup", Text: "Sessions and sittings", What: plural(len(t.Sessions), "session", "sessions") + ", " + plural(len(t.Sittings), "sitting", "sittings")})
	}
	if len(t.Families) > 0 && len(t.Sessions) > 0 {
		p.Tasks = append(p.Tasks, gradingTask{Href: p.At + "/wishes", Text: "What suits whom", What: wishesLead(t.Unanswered(), len(t.Families))})
	}
	if q.Who.Role.May(app.PlanTimes) && app.State(t.Grading.State).Allows(app.PlanTimes) {
		p.Tasks = append(p.Tasks, gradingTask{Href: p.At + "/examiners", Text: "When examiners are there", What: plural(len(t.Examiners), "examiner", "examiners")})
	}
}

// timesState fills in what is planned, what runs and what comes next.
func timesState(q *Query, t *app.Timetable, p *timesPage) error {
	run, ran, err := q.App().PlanProgress(q.Context(), q.Who, t.Grading.ID)
	if err != nil {
		return err
	}
	if ran && (run.Running || run.Fault != nil) {
		p.Running = timesRunningOf(run)
	}
	if p.May && !run.Running {
		p.Plan = &timesPlanBox{Text: "Plan the timetable", Hint: "It takes ten seconds at most, unless you give it longer.", AskYes: t.Published != nil}
		if t.Current() != nil {
			p.Plan.Text = "Plan it anew"
		}
		if t.Published != nil {
			p.Plan.Text, p.Plan.Hint = "Repair the timetable", "It moves as few families as it can. What it finds is shown as a list of changes before anything is taken."
		}
	}
	cur := t.Current()
	if cur == nil {
		return nil
	}
	breaks, without, err := t.MayTake()
	if err != nil {
		return err
	}
	if t.Draft != nil {
		p.Change = &look.Link{Href: p.At + "/changes", Text: "Look at it and publish"}
		if t.Published != nil {
			p.Change.Text = "See what would change"
		}
		p.ChangeIs = len(breaks) == 0 && !t.Stale
		if t.Stale {
			p.Notices = append(p.Notices, look.Notice{Kind: "attention", Title: "Something changed since this was planned.", Text: "Entries, answers, sittings, examiners or weights are others now.", Do: "Plan it anew, or go on with it as it is."})
		}
		if len(breaks) > 0 {
			p.Notices = append(p.Notices, look.Notice{Kind: "attention", Title: "It cannot be published as it is.", Text: timesSome(breaks, 4)})
		}
		if len(without) > 0 {
			p.Notices = append(p.Notices, look.Notice{Kind: "info", Title: plural(len(without), "family has", "families have") + " to be asked before their time is changed."})
		}
	}
	costs, err := t.Costs()
	if err != nil {
		return err
	}
	p.Cost = itoa(int(costs.Total))
	p.Proven = provenWords(costs.Total, cur.Bound, cur.Bounded && t.Today())
	for _, c := range costs.Aims {
		p.Sum = append(p.Sum, timesSum{c.Aim.String(), aimWords[c.Aim].name, aimUnits(c.Aim, c.Units), int(c.Weight), c.Cost})
	}
	return nil
}

func timesSome(lines []string, most int) string {
	n := min(len(lines), most)
	out := make([]string, 0, n+1)
	for _, l := range lines[:n] {
		out = append(out, sentence(l))
	}
	if len(lines) > n {
		out = append(out, "And "+itoa(len(lines)-n)+" more.")
	}
	return strings.Join(out, " ")
}

func timesRunningOf(r app.Progress) *timesRunning {
	x := &timesRunning{Running: r.Running}
	if r.Fault != nil {
		say, do := told(r.Fault)
		x.Fault = say + " " + do
		return x
	}
	x.Say = "Working for " + itoa(int(r.For/time.Second)) + " of at most " + plural(int(r.Limit/time.Second), "second", "seconds") + ". "
	switch {
	case !r.Found:
		x.Say += "No plan so far."
	case r.Waiting > 0:
		x.Say += "Best plan so far: " + plural(r.Waiting, "child", "children") + " without a sitting, cost " + itoa(int(r.Cost)) + ". "
	default:
		x.Say += "Best plan so far: everybody has a sitting, cost " + itoa(int(r.Cost)) + ". "
	}
	if r.Found && r.Bounded {
		x.Say += provenWords(r.Cost, r.Bound, true)
	}
	return x
}

func timesBoardOf(t *app.Timetable, s *app.Session, at string, family map[rankwright.HouseholdID]string) timesBoard {
	b := timesBoard{ID: s.ID, Name: s.Name, When: timesWhen(s), MakeUp: s.MakeUp}
	var times []int
	children, open := 0, 0
	for i := range t.Sittings {
		w := &t.Sittings[i]
		if w.Session != s.ID {
			continue
		}
		if !slices.Contains(b.Mats, w.Mat) {
			b.Mats = append(b.Mats, w.Mat)
		}
		if !slices.Contains(times, w.Begins) {
			times = append(times, w.Begins)
		}
	}
	slices.Sort(b.Mats)
	for _, begins := range times {
		row := timesBoardRow{Time: timetable.Minute(begins).String(), Cells: make([]*timesCard, len(b.Mats))}
		for i := range t.Sittings {
			if w := &t.Sittings[i]; w.Session == s.ID && w.Begins == begins {
				c := timesCardOf(t, w, at, family)
				children += c.Count
				if c.Open {
					open++
				}
				row.Cells[slices.Index(b.Mats, w.Mat)] = c
			}
		}
		b.Rows = append(b.Rows, row)
	}
	b.Sum = plural(children, "child", "children") + " in " + plural(open, "sitting", "sittings")
	return b
}

func timesCardOf(t *app.Timetable, w *app.Sitting, at string, family map[rankwright.HouseholdID]string) *timesCard {
	c := &timesCard{ID: w.ID, Name: timesAt(w), Time: timetable.Minute(w.Begins).String() + "–" + timetable.Minute(w.Begins+w.Minutes).String(), Mat: w.Mat, Most: w.Most, Lost: w.Lost}
	cur := t.Current()
	bySquad := map[int]int{}
	for i := range t.Grading.Entries {
		e := &t.Grading.Entries[i]
		if e.Erased || cur.At(e.Entry.ID) != w.ID {
			continue
		}
		c.Count++
		no := cur.Squad(e.Entry.ID)
		at0, ok := bySquad[no]
		if !ok {
			at0, bySquad[no] = len(c.Squads), len(c.Squads)
			c.Squads = append(c.Squads, timesSquad{No: no})
		}
		sq := &c.Squads[at0]
		k, _ := t.Grading.Syllabus.Rank(e.Rank)
		if n := len(sq.Bands); n == 0 || sq.Bands[n-1].Name != k.Name {
			sq.Bands = append(sq.Bands, matBelt(k))
		}
		sq.Chips = append(sq.Chips, timesChipOf(t, e.Entry.ID, at, family))
	}
	slices.SortStableFunc(c.Squads, func(x, y timesSquad) int { return x.No - y.No })
	c.Open, c.Full, c.Short = c.Count > 0, c.Count >= w.Most, c.Count > 0 && c.Count < w.Least
	var names []string
	for _, person := range cur.Panel(w.ID) {
		for _, x := range t.Examiners {
			if x.Person == person {
				names = append(names, x.Name)
			}
		}
	}
	c.Panel = listed(names)
	if c.Open && len(names) < w.Panel {
		c.Lacks = plural(w.Panel-len(names), "examiner is missing", "examiners are missing")
	}
	if c.Short {
		c.Note = "takes place with at least " + itoa(w.Least)
	}
	return c
}

func timesChipOf(t *app.Timetable, id rankwright.EntryID, at string, family map[rankwright.HouseholdID]string) timesChip {
	e, f := t.Entry(id)
	k, _ := t.Grading.Syllabus.Rank(e.Rank)
	c := timesChip{Entry: id, Family: family[f.ID], Name: e.Student.FullName(), Rank: k.Name, Colour: matBelt(k), Locked: t.Locked[id], Out: t.Out[id],
		Siblings: len(f.Entries) - 1, Href: at + "/child?" + url.Values{"entry": {string(id)}}.Encode()}
	if told := t.ToldOf(id); told != nil && t.Draft != nil {
		c.Moved = told.Sitting != t.Draft.At(id)
	}
	return c
}

// timesPlan begins to work out a timetable.
func timesPlan(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	limit := time.Duration(number(q.FormValue("limit"))) * time.Second
	if err := q.App().StartPlan(q.Context(), q.Who, id, app.PlanOptions{Limit: limit, Ask: q.FormValue("ask") == "yes"}); err != nil {
		return nil, err
	}
	return To(timesHref(id)), nil
}

func timesEnd(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if err := q.App().StopPlan(q.Context(), q.Who, id); err != nil {
		return nil, err
	}
	if err := q.App().AwaitPlan(q.Context(), id); err != nil {
		return nil, err
	}
	return To(timesHref(id)), nil
}

func timesProgress(q *Query) (Answer, error) {
	r, there, err := q.App().PlanProgress(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	x := &timesRunning{}
	if there {
		x = timesRunningOf(r)
	}
	return JSON{Status: http.StatusOK, Data: map[string]any{"running": x.Running, "say": x.Say, "fault": x.Fault}}, nil
}

func timesWeights(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	w := timetable.DefaultWeights()
	for a := range timetable.AimCount {
		if v := q.FormValue("weight." + a.String()); v != "" {
			w[a] = number(v)
		}
	}
	if q.FormValue("do") == "usual" {
		w = timetable.DefaultWeights()
	}
	if err := q.App().SetWeights(q.Context(), q.Who, id, w, int64(number(q.FormValue("seed")))); err != nil {
		return nil, err
	}
	q.Flash("good", "The weights are saved. Plan anew to see what they do.")
	return To(timesHref(id)), nil
}
