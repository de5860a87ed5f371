package web

import (
	"errors"
	"net/url"
	"strconv"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

var numberRoutes = []Route{
	{Pattern: "GET /gradings/{id}/missing", Act: app.SeeBoard, Kind: "json", Do: missingShow},
	{Pattern: "GET /gradings/{id}/refused", Act: app.SeeMarks, Do: refusedShow},
	{Pattern: "POST /gradings/{id}/refused", Act: app.GiveMarks, Do: refusedSeen},
}

// missingJSON is what a device's numbers lack, for a script.
type missingJSON struct {
	Device   string     `json:"device"`
	Examiner string     `json:"examiner"`
	Numbers  [][2]int64 `json:"numbers"` // from and to; none where the device gives none
	Count    int64      `json:"count"`
	Holds    string     `json:"holds"`
	Accepted bool       `json:"accepted"`
	Say      string     `json:"say"`
	Do       string     `json:"do"`
}

type missingList struct {
	Missing []missingJSON `json:"missing"`
}

func missingShow(q *Query) (Answer, error) {
	list, err := q.App().Missing(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	return JSON{Data: missingOf(q.App(), list)}, nil
}

func missingOf(a *app.App, list []app.Missing) missingList {
	out := missingList{[]missingJSON{}}
	for i := range list {
		m := &list[i]
		x := missingJSON{Device: m.Name, Examiner: m.Examiner, Numbers: [][2]int64{}, Count: m.Count(), Accepted: m.Accepted}
		x.Holds = map[app.Holds]string{app.OnDevice: "device", app.Nowhere: "nowhere", app.Unheard: "unheard", app.ThrownOut: "thrown_out"}[m.Holds]
		for _, s := range m.Spans {
			x.Numbers = append(x.Numbers, [2]int64{s.From, s.To})
		}
		x.Say, x.Do = missingWords(a, m)
		out.Missing = append(out.Missing, x)
	}
	return out
}

// missingWords says which marks have not come, and what to do about it.
func missingWords(a *app.App, m *app.Missing) (say, do string) {
	what, has := plural(int(m.Count()), "mark", "marks"), "have"
	if m.Count() == 1 {
		has = "has"
	}
	if m.Spans != nil {
		what = "Numbers " + m.Numbers()
		if m.Count() == 1 {
			what = "Number " + m.Numbers()
		}
	}
	what += " of " + m.Whose()
	again := "mark those children again; “Is anyone unscored?” says who lacks a mark."
	switch m.Holds {
	case app.OnDevice:
		say, do = what+" "+has+" not come yet; the device says it still has "+plural(m.Unsent, "mark", "marks")+".", "Let it send: open its page of marks where the connection is good."
	case app.Nowhere:
		left := "nothing"
		if m.Unsent > 0 {
			left = "only " + plural(m.Unsent, "mark", "marks")
		}
		say, do = what+" never came, and the device says that it has "+left+" to send.", "If somebody else marked on it before, let them sign in there once more. Otherwise "+again
	case app.ThrownOut:
		say, do = what+" never came: the device may not send any more.", "Pair it again, and it sends what it has by itself. If it is lost, "+again
	default:
		say = what + " never came; the device was heard of " + ago(a, int64(m.Seen)) + "."
		if m.Seen == 0 {
			say = what + " never came."
		}
		do = "Find the device and open its page of marks: what it has not sent is only there. If it is lost, " + again
	}
	if m.Accepted {
		return say, "The head instructor has accepted that it goes on without them."
	}
	return say, do
}

// unsent says how many marks have not come that nobody has accepted as lost.
func unsent(list []app.Missing) (n int64) {
	for i := range list {
		if !list[i].Accepted {
			n += list[i].Count()
		}
	}
	return n
}

type boardMissing struct{ Say, Do string }

type refusedRow struct {
	No         int64
	What, Why  string
	Name, When string
}

type refusedPage struct {
	Frame
	Send  string
	May   bool
	Rows  []refusedRow
	Empty look.Empty
}

func refusedShow(q *Query) (Answer, error) {
	v, list, err := q.App().Refused(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	p := &refusedPage{Send: refusedHref(v.ID), May: app.State(v.State).Allows(app.GiveMarks)}
	p.Title, p.Kicker, p.Width, p.Styles = "Refused marks", v.Title, "narrow", boardStyle()
	p.Back = gradingBack(v.ID, v.Title)
	if q.Who.Only != "" {
		p.Back = &look.Link{Href: matHref(v.ID, "", nil), Text: "Marks"}
	}
	p.Empty = look.Empty{Title: "No mark waits", Text: "A mark that is refused stands here, with its reason, until it is saved after all or somebody has seen to it."}
	for i := range list {
		p.Rows = append(p.Rows, refusedRowOf(&list[i]))
	}
	return Page("refused", p), nil
}

func refusedHref(id rankwright.GradingID) string {
	return "/gradings/" + url.PathEscape(string(id)) + "/refused"
}

func refusedRowOf(r *app.RefusedMark) refusedRow {
	var what []string
	for _, s := range []string{r.Child, r.Rank, r.Shows} {
		if s != "" {
			what = append(what, s)
		}
	}
	if r.Shows == "" && r.Mark.Requirement != "" {
		what = append(what, string(r.Mark.Requirement))
	}
	if len(what) == 0 {
		what = []string{"A mark that names nobody"}
	}
	x := refusedRow{No: r.No, What: strings.Join(what, ", ") + ": " + r.Value, Why: sentence(r.Why), Name: r.Examiner, When: r.Received.Time().Local().Format("15:04")}
	return x
}

func refusedSeen(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	number, err := strconv.ParseInt(q.FormValue("number"), 10, 64)
	if err != nil {
		return nil, rankwright.Faultf(rankwright.Invalid, "bad_number", "go back and load the page again", "no refused mark was chosen")
	}
	if err := q.App().SeeTo(q.Context(), q.Who, id, number); err != nil {
		return nil, err
	}
	q.Flash("good", "It is off the list. What was refused stays in the records.")
	if q.FormValue("board") != "" && q.Who.Role.May(app.SeeBoard) {
		return To("/gradings/" + url.PathEscape(string(id)) + "/board"), nil
	}
	return To(refusedHref(id)), nil
}

// acceptPage asks for the head instructor's reason for going on without marks
// that have not come.
type acceptPage struct {
	Frame
	Send    string
	Hidden  map[string]string
	Missing []boardMissing
	May     bool
	Reason  look.Field
	Button  string
	Board   string
}

// lacking answers a step that was refused since marks have not come; nil where
// that is not why.
func lacking(q *Query, id rankwright.GradingID, refused error, button string, hidden map[string]string) (Answer, error) {
	var f *rankwright.Fault
	if !errors.As(refused, &f) || f.Code != "marks_missing" && f.Where.Name != "accept" {
		return nil, refused
	}
	list, err := q.App().Missing(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	at := "/gradings/" + url.PathEscape(string(id))
	p := &acceptPage{Send: q.URL.Path, Hidden: hidden, Button: button, Board: at + "/board", May: q.Who.Role == app.Owner}
	p.Title, p.Width, p.Styles = "Marks have not come", "narrow", boardStyle()
	p.Back = &look.Link{Href: at, Text: "The grading"}
	for i := range list {
		if !list[i].Accepted {
			say, do := missingWords(q.App(), &list[i])
			p.Missing = append(p.Missing, boardMissing{say, do})
		}
	}
	p.Reason = acceptField(q)
	if q.Form.Has("accept") && p.May {
		p.Reason.Error = "Write why. " + sentence(f.Say)
		if f.Code != "marks_missing" {
			p.Reason.Error = sentence(f.Say) + " " + sentence(f.Do)
		}
		p.Errors = look.ErrorsOf(p.Reason)
	}
	return Again("accept", p), nil
}

func acceptField(q *Query) look.Field {
	return look.Field{Name: "accept", Label: "Why it goes on without these marks", Hint: "Such as: the phone is lost, and the children were marked again. It is kept with your name, the date and the numbers.",
		Kind: "textarea", Rows: 3, MaxLength: 600, Required: true, Value: q.FormValue("accept")}
}
