package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/scoring"
	"rankwright/syllabus"
)

type arrivalsPage struct {
	Frame
	Notice *look.Notice
	Ranks  []arrivalsRank
	Counts []arrivalsCount
	None   *look.Empty
	Send   string
}

type arrivalsCount struct{ Value, Text string }

type arrivalsRank struct {
	Belt    look.Belt
	Entries []arrivalsEntry
}

type arrivalsEntry struct {
	ID         rankwright.EntryID
	Name       string
	Presence   string
	Answer     string // the option that is chosen: the presence, or late
	Came       string
	Squad      int
	Door       []arrivalsTick
	Feel       string // the school's question
	Options    []look.Option
	Say        string // in kind words, what follows from the presence
	Clearances []arrivalsClearance
	Before     []arrivalsBefore
	Fixed      bool // presence cannot be changed now
	Sitting    *arrivalsSitting
}

type arrivalsClearance struct {
	ID   rankwright.ClearanceID
	Name string
	Met  bool
}

// arrivalsTick is a line of the school's list at the door.
type arrivalsTick struct {
	No   int
	Line string
	On   bool
}

// arrivalsBefore is something that the syllabus asks to be seen before the day
// and that is there or not, such as short nails: it is marked at the door.
type arrivalsBefore struct {
	No    int // its place among the requirements of the rank
	Show  string
	Must  bool
	Value string // "1", "0", or "none"
}

// arrivalsAnswers are what can be said at the door: the presences, and late
// for somebody who is there after all.
var arrivalsAnswers = []string{"expected", "present", "late", "absent", "unwell", "stopped"}

var arrivalsWords = map[string]string{"expected": "Expected", "present": "Here", "late": "Late", "absent": "No-show", "unwell": "Unwell", "stopped": "Stopped"}

// arrivalsSay is what follows from a presence, for the person at the door.
var arrivalsSay = map[string]string{
	"absent":  "Not examined today, next date offered.",
	"unwell":  "Not examined today, next date offered, and no mark counts against them. Say it kindly: getting well comes first, and what was practised is not lost. Nothing about how they feel is written down.",
	"stopped": "Stopped for safety: not back on the mat today. After a knock to the head, tell the first aider and the parent, and wait for a health professional's clearance.",
}

func arrivalsShow(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	v, err := q.App().Grading(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	p := &arrivalsPage{Send: arrivalsHref(id)}
	p.Title, p.Kicker = "Arrivals", v.Title
	p.Back = &look.Link{Href: "/gradings/" + url.PathEscape(string(id)), Text: v.Title}
	p.Styles, p.Scripts = append(matStyle(), boardStyle()...), []string{matPath() + "arrivals.js"}
	door, err := q.App().Door(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	before, err := q.App().Before(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	today, err := arrivalsToday(q, v)
	if err != nil {
		return nil, err
	}
	open := app.State(v.State).Allows(app.CheckIn)
	mark := app.State(v.State).Allows(app.GiveBefore)
	if !open {
		p.Notice = &look.Notice{Kind: "info", Title: "Clearances only", Text: fmt.Sprintf("This grading is at “%s”. Who is here is taken while it is “%s” or “%s”.", v.Status.Name, app.OnTheMat.Row().Name, app.Deciding.Row().Name)}
	}
	count := map[string]int{}
	for _, e := range v.Entries {
		count[e.Presence]++
		k, _ := v.Syllabus.Rank(e.Rank)
		if n := len(p.Ranks); n == 0 || p.Ranks[n-1].Belt.Name != k.Name {
			p.Ranks = append(p.Ranks, arrivalsRank{Belt: matBelt(k)})
		}
		x := arrivalsEntry{ID: e.Entry.ID, Name: e.Student.FullName(), Presence: e.Presence, Answer: e.Presence, Squad: e.Squad, Say: arrivalsSay[e.Presence], Fixed: !open}
		if e.Presence == "stopped" && !q.Who.Role.May(app.OverrideResult) {
			x.Fixed = true
			x.Say += " If the stop was a mistake, the head instructor takes it back here."
		}
		at := door[e.Entry.ID]
		if e.Presence == "present" && at.Late {
			x.Answer = "late"
		}
		if at.Came != 0 {
			x.Came = "came at " + at.Came.Time().Local().Format("15:04")
		}
		for _, w := range arrivalsAnswers {
			x.Options = append(x.Options, look.Option{Value: w, Text: arrivalsWords[w], Hint: arrivalsSay[w], Selected: w == x.Answer})
		}
		for i, line := range q.School.DoorLines() {
			x.Door = append(x.Door, arrivalsTick{i, line, at.Ticked[line]})
		}
		x.Feel = q.School.FeelQuestion()
		x.Sitting = today[e.Entry.ID]
		for _, c := range k.Clearances {
			if y := v.Syllabus.Clearance(c); y != nil {
				x.Clearances = append(x.Clearances, arrivalsClearance{c, y.Name, e.Clearances[c]})
			}
		}
		for i := range k.Requirements {
			r := &k.Requirements[i]
			if !mark || !r.Before || r.Kind != syllabus.Tick || v.Waived(&e, r.ID) {
				continue
			}
			b := arrivalsBefore{No: i, Show: r.Show, Must: r.Must, Value: "none"}
			if g, ok := before[e.Entry.ID][r.ID]; ok {
				b.Value = g.Value.Format(r.Kind)
			}
			x.Before = append(x.Before, b)
		}
		last := &p.Ranks[len(p.Ranks)-1]
		last.Entries = append(last.Entries, x)
	}
	for _, w := range app.Presences {
		p.Counts = append(p.Counts, arrivalsCount{w, fmt.Sprintf("%d %s", count[w], strings.ToLower(arrivalsWords[w]))})
	}
	if len(v.Entries) == 0 {
		p.None = &look.Empty{Title: "Nobody is entered yet", Text: "Students who enter this grading are listed here."}
	} else {
		p.Lead = "Tick them off as they walk in. How a child feels is asked, never measured."
	}
	return Page("arrivals", p), nil
}

func arrivalsHref(id rankwright.GradingID) string {
	return "/gradings/" + url.PathEscape(string(id)) + "/arrivals"
}

// arrivalsSave takes what was changed of one entry: each answer comes with
// what the page had shown, so that two people at the door do not undo each
// other.
func arrivalsSave(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	v, err := q.App().Grading(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(v.Entries, func(e app.EntryView) bool { return string(e.Entry.ID) == q.FormValue("entry") })
	if at < 0 {
		return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "load the page again", "this student is not entered in this grading any more")
	}
	e := v.Entries[at]
	w := q.FormValue("presence")
	if q.FormValue("feel") == "unwell" {
		w = "unwell"
	}
	if w != "" && w != q.FormValue("presence-was") {
		if w == "late" {
			err = q.App().CheckInLate(q.Context(), q.Who, e.Entry.ID)
		} else {
			err = q.App().SetPresence(q.Context(), q.Who, e.Entry.ID, w)
		}
		if err != nil {
			return nil, err
		}
	}
	if err := arrivalsDoor(q, e); err != nil {
		return nil, err
	}
	k, _ := v.Syllabus.Rank(e.Rank)
	for _, c := range k.Clearances {
		was, met := q.FormValue("clear-was."+string(c)), q.FormValue("clear."+string(c)) == "yes"
		if was == "" || (was == "yes") == met {
			continue
		}
		if err := q.App().SetClearance(q.Context(), q.Who, e.Entry.ID, c, met); err != nil {
			return nil, err
		}
	}
	if err := arrivalsMarks(q, v.ID, e, k); err != nil {
		return nil, err
	}
	if strings.HasPrefix(q.Header.Get("Accept"), "application/json") {
		return JSON{Status: http.StatusOK, Data: map[string]string{"say": "Saved."}}, nil
	}
	q.Flash("good", e.Student.FullName()+" is saved.")
	return To(arrivalsHref(id) + "#" + string(e.Entry.ID)), nil
}

// arrivalsMarks takes what was changed of the marks that are given at the door.
func arrivalsMarks(q *Query, id rankwright.GradingID, e app.EntryView, k *syllabus.Rank) error {
	var marks []scoring.Mark
	for i := range k.Requirements {
		r, now := &k.Requirements[i], q.FormValue("before."+itoa(i))
		if !r.Before || now == "" || now == q.FormValue("before-was."+itoa(i)) {
			continue
		}
		if now == "none" {
			now = "x"
		}
		v, err := scoring.ParseValue(r, now)
		if err != nil {
			return err
		}
		marks = append(marks, scoring.Mark{Entry: e.Entry.ID, Requirement: r.ID, Value: v})
	}
	if len(marks) == 0 {
		return nil
	}
	got, err := q.App().GiveBefore(q.Context(), q.Who, id, marks)
	if err != nil {
		return err
	}
	for _, a := range got {
		if a.Refuse != "" {
			return rankwright.Faultf(rankwright.Conflict, "mark_refused", "load the page again", "a mark was not taken: %s", a.Refuse)
		}
	}
	return nil
}

// arrivalsDoor takes what was changed of the list at the door and the squad.
func arrivalsDoor(q *Query, e app.EntryView) error {
	for key, lines := range q.Form {
		no, ok := strings.CutPrefix(key, "door-line.")
		if !ok || len(lines) == 0 {
			continue
		}
		was, on := q.FormValue("door-was."+no), q.FormValue("door."+no) == "yes"
		if was == "" || (was == "yes") == on {
			continue
		}
		if err := q.App().SetDoorTick(q.Context(), q.Who, e.Entry.ID, lines[0], on); err != nil {
			return err
		}
	}
	if to := q.FormValue("sitting"); to != "" && to != q.FormValue("sitting-was") {
		return q.App().MoveToday(q.Context(), q.Who, e.Entry.ID, to)
	}
	if to := q.FormValue("squad"); to != "" && to != q.FormValue("squad-was") {
		return q.App().SetSquad(q.Context(), q.Who, e.Entry.ID, number(to))
	}
	return nil
}
