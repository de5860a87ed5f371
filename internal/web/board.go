package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/scoring"
	"rankwright/timetable"
)

var boardRoutes = []Route{
	{Pattern: "GET /gradings/{id}/board", Act: app.SeeBoard, Do: boardShow},
	{Pattern: "GET /gradings/{id}/events", Act: app.SeeMarks, Kind: "json", Do: boardEvents},
	{Pattern: "POST /gradings/{id}/device", Act: app.GiveMarks, Kind: "json", Do: boardReport},
	{Pattern: "POST /gradings/{id}/stop", Act: app.StopChild, Do: boardStop},
}

func boardStyle() []string { return []string{look.AssetPath() + "board.css"} }

type boardPage struct {
	Frame
	ID       string
	Events   string
	At       string // when the board was worked out
	Arrival  int64
	Good     bool
	Answer   string
	Unscored []boardName
	Time     string // is a squad behind time
	Behind   bool
	Rounds   []boardRound
	Groups   []boardGroup
	Expected []boardName
	Waiting  []boardName
	Idle     []boardName // squads that wait
	Again    []boardName
	Stopped  []look.Notice
	Devices  []boardDevice
	Missing  []boardMissing
	Refused  []refusedRow
	Refusals string // where all refused marks stand
	More     int    // refused marks that are not on the board
	Settle   bool
	Silent   bool
	Stop     []look.Option // whom to stop
	StopAt   string
	Caution  look.Caution
	Arrivals string
	Pair     string
}

type boardName struct{ Name, Href, Text string }

type boardGroup struct {
	ID       string
	Belt     look.Belt
	Squad    string
	Here     string
	Stations []boardStation
}

type boardRound struct {
	Name   string
	Squads []boardSquad
}

type boardSquad struct {
	Name, Ranks, Where, Left string
	Late                     string // "" where it is not
}

type boardStation struct {
	ID, Name     string
	Given, Asked int
	Done         bool
	Missing      []boardName
}

type boardDevice struct {
	Name, Examiner, Seen, Unsent string
	Clock                        string // how far its clock is off, "" where it is right
	Late                         bool
}

func boardShow(q *Query) (Answer, error) {
	b, err := q.App().Board(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	v := b.Grading
	at := "/gradings/" + url.PathEscape(string(v.ID))
	p := &boardPage{ID: string(v.ID), Events: at + "/events", At: q.App().Now().Format("15:04:05"), Arrival: b.Arrival, StopAt: at + "/stop", Arrivals: at + "/arrivals", Pair: at + "/pair"}
	p.Title, p.Kicker, p.Back = "Live board", v.Title+" – "+v.Status.Name, gradingBack(v.ID, v.Title)
	p.Styles, p.Scripts, p.Width = boardStyle(), []string{matPath() + "board.js"}, "wide"
	p.Good, p.Answer = unscored(&b)
	if n := unsent(b.Missing); n > 0 {
		p.Good = false
		p.Answer += " " + plural(int(n), "mark that was made has", "marks that were made have") + " not come."
	}
	for i := range b.Missing {
		if m := &b.Missing[i]; m.Holds != app.OnDevice {
			say, do := missingWords(q.App(), m)
			p.Missing = append(p.Missing, boardMissing{say, do})
		}
	}
	p.Refusals, p.Settle = refusedHref(v.ID), app.State(v.State).Allows(app.GiveMarks)
	for i := range b.Refused {
		if i == 5 {
			p.More = len(b.Refused) - i
			break
		}
		p.Refused = append(p.Refused, refusedRowOf(&b.Refused[i]))
	}
	for _, c := range b.Unscored {
		p.Unscored = append(p.Unscored, boardName{c.Entry.Student.FullName(), matHref(v.ID, c.Entry.Rank, nil), plural(len(c.Missing), "mark", "marks")})
	}
	p.Rounds, p.Time, p.Behind = boardRounds(b.Rounds)
	for gi, g := range b.Groups {
		x := boardGroup{ID: fmt.Sprintf("g%d", gi), Belt: matBelt(g.Rank), Here: "nobody is here"}
		if g.Here > 0 {
			x.Here = plural(g.Here, "is here", "are here")
		}
		if g.Several {
			x.Squad = "Squad " + itoa(g.Squad)
		}
		for _, st := range g.Stations {
			y := boardStation{ID: x.ID + "-" + string(st.Of[0].ID), Name: st.Name, Given: st.Given, Asked: st.Asked, Done: st.Given == st.Asked}
			for _, c := range st.Missing {
				var shows []string
				for _, r := range c.Missing {
					shows = append(shows, r.Show)
				}
				text := strings.Join(shows, "; ")
				if c.Entry.Presence == "expected" {
					text = "not here yet"
				}
				query := url.Values{"row": {string(c.Missing[0].ID)}}
				if g.Several {
					query.Set("squad", itoa(g.Squad))
				}
				href := matHref(v.ID, g.Rank.ID, query)
				y.Missing = append(y.Missing, boardName{c.Entry.Student.FullName(), href, text})
			}
			x.Stations = append(x.Stations, y)
		}
		p.Groups = append(p.Groups, x)
	}
	for _, e := range b.Expected {
		p.Expected = append(p.Expected, boardName{e.Student.FullName(), p.Arrivals + "#" + string(e.Entry.ID), ""})
	}
	for i := range b.Idle {
		p.Idle = append(p.Idle, idleOf(&b, &b.Idle[i], q.App().Now()))
	}
	for _, w := range b.Waiting {
		x := boardName{Name: w.Entry.Student.FullName(), Href: matHref(v.ID, w.Entry.Rank, nil)}
		if w.Since != 0 {
			x.Text = "since " + w.Since.Time().Local().Format("15:04")
		}
		p.Waiting = append(p.Waiting, x)
	}
	for i := range b.Again {
		g := &b.Again[i]
		why := askWords(g.Asks, v)
		for _, r := range g.Low {
			why = append(why, "The must “"+r.Show+"” is not reached so far.")
		}
		why = append(why, lookWords(g.Rank, g.Looks, v)...)
		p.Again = append(p.Again, boardName{g.Entry.Student.FullName(), "/entries/" + url.PathEscape(string(g.Entry.Entry.ID)), strings.Join(why, " ")})
	}
	for _, e := range b.Stopped {
		p.Stopped = append(p.Stopped, stopNotice(e.Student.FullName(), q.School.Safety))
	}
	now := q.App().Now()
	for _, d := range b.Devices {
		x := boardDevice{Name: d.Name, Examiner: d.Examiner, Seen: ago(q.App(), int64(d.Seen))}
		x.Late = now.Sub(d.Seen.Time()) > 2*time.Minute
		switch {
		case d.Ended != 0:
			x.Unsent, x.Late = plural(d.Unsent, "mark had not been sent when it was thrown out", "marks had not been sent when it was thrown out"), true
		case d.Unsent > 0:
			x.Unsent = plural(d.Unsent, "mark not sent yet", "marks not sent yet")
		default:
			x.Unsent = "all sent"
		}
		if d.ClockOff != 0 {
			x.Clock = clockWords(d.ClockOff)
		}
		p.Silent = p.Silent || x.Late
		p.Devices = append(p.Devices, x)
	}
	if app.State(v.State).Allows(app.StopChild) {
		for _, e := range v.Entries {
			if e.Presence == "present" || e.Presence == "expected" {
				k, _ := v.Syllabus.Rank(e.Rank)
				p.Stop = append(p.Stop, look.Option{Value: string(e.Entry.ID), Text: e.Student.FullName() + ", " + k.Name})
			}
		}
	}
	p.Caution = look.Caution{Title: "Stop a child for safety", Local: q.School.Cautions, People: q.School.Safety, Lines: stopLines}
	return Page("board", p), nil
}

// boardRounds words where the squads of today's rounds are, and answers whether
// one is behind time.
func boardRounds(rounds []app.BoardRound) (out []boardRound, answer string, behind bool) {
	var late []string
	for i := range rounds {
		r := &rounds[i]
		x := boardRound{Name: timesAt(&r.Sitting) + ", until " + timetable.Minute(r.Sitting.Begins+r.Sitting.Minutes).String()}
		for j := range r.Squads {
			s := &r.Squads[j]
			q := boardSquad{Name: "Squad " + itoa(s.No), Ranks: strings.Join(s.Ranks, ", "), Where: "has been everywhere"}
			if s.Station != "" {
				q.Where = s.Station + ", until " + s.Until.String() + ": " + itoa(s.Given) + " of " + plural(s.Asked, "mark", "marks")
			}
			if n := s.LeftMissing; n > 0 {
				q.Left = plural(n, "mark is", "marks are") + " missing at " + listed(s.Left)
			}
			if s.Behind() {
				q.Late = plural(s.Late, "minute", "minutes") + " behind"
				if s.Due != s.Station {
					q.Late += " with " + s.Due
				}
				late = append(late, q.Name+" on mat "+r.Sitting.Mat+", by "+plural(s.Late, "minute", "minutes"))
			}
			x.Squads = append(x.Squads, q)
		}
		out = append(out, x)
	}
	switch n := len(late); {
	case n == 0:
		return out, "No.", false
	case n > 3:
		return out, "Yes: " + itoa(n) + " squads, among them " + listed(late[:3]) + ".", true
	}
	return out, "Yes: " + strings.Join(late, "; ") + ".", true
}

// stopLines are the usual cautions after a knock to the head (CDC, HEADS UP:
// remove from play, no return the same day, tell the parents, a health
// professional decides).
var stopLines = []string{
	"After a knock to the head the child stops at once and does not return that day, even if all seems well. Only a health professional can clear a return.",
	"Tell the first aider and the parent now. Do not leave the child alone.",
	"In an emergency, such as loss of consciousness, vomiting, a seizure, neck pain or growing confusion, call an ambulance.",
	"Your country's rules and licensed practitioners come before anything written here.",
}

func stopNotice(name, people string) look.Notice {
	n := look.Notice{Kind: "stop", Title: name + " is stopped for safety.", Text: "Nothing more is asked today. After a knock to the head there is no return that day without a health professional's clearance; tell the parent.", Do: people}
	return n
}

func idleOf(b *app.Board, s *app.BoardIdle, now time.Time) boardName {
	query := url.Values{}
	rank := s.Ranks[0].ID
	if slices.Contains(matMixedSquads(b.Grading, nil), s.Squad) {
		rank = ""
		query.Set("squad", itoa(s.Squad))
	} else if slices.ContainsFunc(b.Groups, func(g app.BoardGroup) bool { return g.Several && g.Rank.ID == rank }) {
		query.Set("squad", itoa(s.Squad))
	}
	var ranks []string
	for _, k := range s.Ranks {
		ranks = append(ranks, k.Name)
	}
	return boardName{Name: squadName(b.Grading, s.Squad), Href: matHref(b.Grading.ID, rank, query),
		Text: strings.Join(ranks, ", ") + ": no mark has come for " + plural(int(now.Sub(s.Since.Time()).Minutes()), "minute", "minutes") + "; " + plural(s.Open, "mark is", "marks are") + " open"}
}

// clockWords says how far a device's clock is off, which changes no mark.
func clockWords(ms int64) string {
	way := "ahead"
	if ms < 0 {
		way, ms = "behind", -ms
	}
	d := time.Duration(ms) * time.Millisecond
	far := plural(int(d.Hours()/24), "day", "days")
	switch {
	case d < time.Hour:
		far = plural(int(d.Minutes()), "minute", "minutes")
	case d < 48*time.Hour:
		far = plural(int(d.Hours()), "hour", "hours")
	}
	return "its clock is " + far + " " + way + ", which changes no mark"
}

// unscored answers whether anybody is unscored, in one sentence.
func unscored(b *app.Board) (good bool, answer string) {
	lack := len(b.Unscored)
	missing := 0
	var names []string
	for _, c := range b.Unscored {
		missing += len(c.Missing)
		if len(names) < 4 {
			names = append(names, c.Entry.Student.FullName())
		}
	}
	switch {
	case len(b.Grading.Entries) == 0:
		return true, "Nobody is entered."
	case lack > 0:
		who := strings.Join(names, ", ")
		if lack > len(names) {
			who += " and " + itoa(lack-len(names)) + " more"
		}
		return false, "Yes: " + plural(lack, "child lacks ", "children lack ") + plural(missing, "mark", "marks") + ": " + who + "."
	case len(b.Expected) > 0 && b.Given == 0:
		return false, "Nobody is here yet; " + plural(len(b.Expected), "child is", "children are") + " expected."
	case len(b.Expected) > 0:
		return false, "No: everybody who is here has every mark. " + plural(len(b.Expected), "child is", "children are") + " still expected."
	}
	return true, "No: everybody who is here has every mark."
}

// boardReport takes a device's word on how far it has counted its marks and
// how many it has not sent.
func boardReport(q *Query) (Answer, error) {
	if err := q.meant(); err != nil {
		return nil, err
	}
	var r struct {
		Device string `json:"device"` // its own name for itself, as its marks have it
		Unsent int    `json:"unsent"`
		Seq    *int64 `json:"seq"`  // the highest number that it has given to a mark of this grading
		Sent   int64  `json:"sent"` // what it takes the time to be
		// From and to of each row of numbers that marks of other gradings have.
		Elsewhere [][2]int64 `json:"elsewhere"`
	}
	d := json.NewDecoder(http.MaxBytesReader(q.w, q.Body, 8<<10))
	d.DisallowUnknownFields()
	if err := d.Decode(&r); err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "bad_report", "load the page again", "the device's report cannot be read")
		f.Err = err
		return nil, f
	}
	said := app.Report{Device: r.Device, Unsent: r.Unsent, Seq: r.Seq, Sent: r.Sent}
	for _, s := range r.Elsewhere {
		said.Elsewhere = append(said.Elsewhere, scoring.Span{From: s[0], To: s[1]})
	}
	now, err := q.App().Report(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")), said)
	if err != nil {
		return nil, err
	}
	return JSON{Data: now}, nil
}

func boardStop(q *Query) (Answer, error) {
	id, entry := rankwright.GradingID(q.PathValue("id")), rankwright.EntryID(q.FormValue("entry"))
	if entry == "" {
		return nil, rankwright.Faultf(rankwright.Invalid, "no_entry", "go back and choose the child", "nobody was chosen")
	}
	if err := q.App().StopChild(q.Context(), q.Who, id, entry); err != nil {
		return nil, err
	}
	if strings.HasPrefix(q.Header.Get("Accept"), "application/json") {
		return JSON{Data: map[string]string{"say": "Stopped for safety."}}, nil
	}
	at := "/gradings/" + url.PathEscape(string(id))
	switch {
	case q.Who.Role.May(app.SeeBoard):
		at += "/board"
	case q.Who.Role.May(app.CheckIn):
		at += "/arrivals"
	default:
		at += "/marks"
	}
	q.Flash("attention", "Stopped for safety. It shows on every open board and scoring page. If it was a mistake, the head instructor takes it back under arrivals.")
	return To(at), nil
}
