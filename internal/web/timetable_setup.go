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
	"rankwright/timetable"
)

type timesSetupPage struct {
	formPage
	At       string
	Sessions []timesSession
	Copies   []look.Option // gradings whose sittings can be taken over
	Usual    []look.Field  // beyond the first line: room, squads, panel
	Stations string
	Notices  []look.Notice
}

type timesSession struct {
	ID, Name, When, Sum string
	Day, From           string
	MakeUp              bool
	Sittings            []timesSittingRow
	Add                 timesSittingRow // one more behind the last
}

type timesSittingRow struct {
	ID, Mat, Begins, Until, Sum string
	Minutes, Least, Most        int
	Squad, Panel, Mixed         int
	Ranks                       []look.Option
	Lost, Told                  bool
	Session                     string
}

func timesHref(id rankwright.GradingID) string {
	return "/gradings/" + url.PathEscape(string(id)) + "/timetable"
}

func timesStyle() []string { return []string{look.AssetPath() + "timetable.css"} }

func (q *Query) times() (*app.Timetable, error) {
	return q.App().Timetable(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
}

// timesBack leads back to the timetable of a grading.
func timesBack(t *app.Timetable) *look.Link {
	return &look.Link{Href: timesHref(t.Grading.ID), Text: "Timetable"}
}

func timesSetup(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	return timesSetupPageOf(q, t, nil)
}

// timesSetupPageOf shows sessions and sittings, after a form that was wrong
// with what was typed.
func timesSetupPageOf(q *Query, t *app.Timetable, wrong error) (Answer, error) {
	p := &timesSetupPage{At: timesHref(t.Grading.ID)}
	p.Title, p.Back, p.Kicker, p.Submit = "Sessions and sittings", timesBack(t), t.Grading.Title, "Add the session with its sittings"
	p.Lead = "A session is a part of a day that a family is asked about; it is cut into sittings on each mat."
	p.Styles = timesStyle()
	p.Stations, p.Notices = timesStationsSum(t), timesStationNotices(t)
	timesSetupFields(q, t, p)
	for i := range t.Sessions {
		p.Sessions = append(p.Sessions, timesSessionOf(t, &t.Sessions[i]))
	}
	if len(t.Sessions) == 0 {
		earlier, err := q.App().Gradings(q.Context(), q.Who)
		if err != nil {
			return nil, err
		}
		for _, g := range earlier {
			if g.ID != t.Grading.ID {
				p.Copies = append(p.Copies, look.Option{Value: string(g.ID), Text: g.Title + ", " + g.Day.Long()})
			}
		}
	}
	if wrong == nil {
		return Page("timetable-setup", p), nil
	}
	if !p.wrongIn(wrong) {
		return nil, wrong
	}
	return Again("timetable-setup", p), nil
}

// wrongIn marks the field that a fault names in either list.
func (p *timesSetupPage) wrongIn(err error) bool {
	first := len(p.Fields)
	p.Fields = append(p.Fields, p.Usual...)
	ok := p.wrong(err)
	p.Fields, p.Usual = p.Fields[:first], p.Fields[first:]
	return ok
}

func timesSetupFields(q *Query, t *app.Timetable, p *timesSetupPage) {
	typed := q.Method == http.MethodPost && q.FormValue("minutes") != "" && q.PathValue("what") == ""
	like, mats, from, until, day, pause := app.LikeUsual(), "A", "09:00", "12:00", t.Grading.Day.String(), 0
	if n := len(t.Sittings); n > 0 {
		like = t.Sittings[n-1]
		mats = strings.Join(t.Mats(), ", ")
	}
	value := func(name, usual string) string {
		if typed {
			return q.FormValue(name)
		}
		return usual
	}
	num := func(name, label, hint string, usual, least, most int) look.Field {
		return look.Field{Name: name, Label: label, Hint: hint, Value: value(name, itoa(usual)), Size: "short", Type: "number", InputMode: "numeric", Min: itoa(least), Max: itoa(most), Required: true}
	}
	p.Fields = []look.Field{
		{Name: "day", Label: "Day", Type: "date", Value: value("day", day), Required: true, Size: "medium"},
		{Name: "from", Label: "From", Type: "time", Value: value("from", from), Required: true, Size: "short"},
		{Name: "until", Label: "Until", Type: "time", Value: value("until", until), Required: true, Size: "short"},
		{Name: "mats", Label: "Mats", Hint: "Such as A, B.", Value: value("mats", mats), Required: true, Size: "short", MaxLength: 100},
		num("minutes", "Minutes of a sitting", "", like.Minutes, 5, 600),
	}
	p.Usual = []look.Field{
		num("pause", "Minutes between two sittings", "", pause, 0, 240),
		num("most", "Room for at most", "Children in one sitting.", like.Most, 1, 200),
		num("least", "At least", "With fewer it is not opened.", like.Least, 0, 200),
		num("squad", "In one squad at most", "Squads move round the stations.", like.Squad, 1, 50),
		num("panel", "Examiners", "", like.Panel, 0, 10),
		num("mixed", "Neighbouring ranks that may share it", "1 where every rank stands alone.", like.Mixed, 1, 100),
		{Name: "name", Label: "Its name", Hint: "Left empty, it is the day and the part of the day.", Value: value("name", ""), Optional: true, MaxLength: 60},
		{Name: "makeup", Label: "A make-up date, for those who cannot come to the others", Kind: "check", Value: "yes", Checked: typed && q.FormValue("makeup") == "yes"},
	}
}

func timesSessionOf(t *app.Timetable, s *app.Session) timesSession {
	from, until := timetable.Minute(s.Begins), timetable.Minute(s.Begins+s.Minutes)
	x := timesSession{ID: s.ID, Name: s.Name, When: s.Day.Long() + ", " + from.String() + " to " + until.String(), Day: s.Day.String(), From: from.String(), MakeUp: s.MakeUp}
	room, last := 0, app.LikeUsual()
	last.Mat, last.Begins = "A", s.Begins
	for i := range t.Sittings {
		w := &t.Sittings[i]
		if w.Session != s.ID {
			continue
		}
		x.Sittings = append(x.Sittings, timesSittingOf(t, w))
		if !w.Lost {
			room += w.Most
		}
		last = *w
	}
	if len(x.Sittings) > 0 {
		last.Begins += last.Minutes
	}
	last.ID, last.Session, last.Lost = "", s.ID, false
	x.Add = timesSittingOf(t, &last)
	x.Sum = plural(len(x.Sittings), "sitting", "sittings") + ", room for " + itoa(room)
	return x
}

func timesSittingOf(t *app.Timetable, w *app.Sitting) timesSittingRow {
	r := timesSittingRow{ID: w.ID, Mat: w.Mat, Begins: timetable.Minute(w.Begins).String(), Until: timetable.Minute(w.Begins + w.Minutes).String(),
		Minutes: w.Minutes, Least: w.Least, Most: w.Most, Squad: w.Squad, Panel: w.Panel, Mixed: w.Mixed, Lost: w.Lost, Session: w.Session}
	for _, x := range t.Told {
		r.Told = r.Told || w.ID != "" && x.Sitting == w.ID && !x.Cancelled
	}
	var names []string
	for _, id := range t.Grading.Ranks {
		k, _ := t.Grading.Syllabus.Rank(id)
		on := slices.Contains(w.Ranks, id)
		if on {
			names = append(names, k.Name)
		}
		r.Ranks = append(r.Ranks, look.Option{Value: string(id), Text: k.Name, Selected: on})
	}
	r.Sum = fmt.Sprintf("%d to %d children, squads of %d, %s", w.Least, w.Most, w.Squad, plural(w.Panel, "examiner", "examiners"))
	if len(names) > 0 {
		r.Sum += ", only " + strings.Join(names, ", ")
	} else if w.Mixed == 1 {
		r.Sum += ", one rank"
	} else {
		r.Sum += ", up to " + itoa(w.Mixed) + " neighbouring ranks"
	}
	return r
}

// timesClock reads a time of day from a form.
func timesClock(q *Query, name string) (timetable.Minute, error) {
	text := q.FormValue(name)
	if len(text) == 4 && text[1] == ':' { // 9:00, typed without a clock's help
		text = "0" + text
	}
	m, ok := timetable.ParseMinute(text)
	if !ok {
		f := rankwright.Faultf(rankwright.Invalid, "bad_time", "write hours and minutes, such as 09:40", "%q is not a time of day", q.FormValue(name))
		f.Where.Name = name
		return 0, f
	}
	return m, nil
}

func timesDay(q *Query) (rankwright.Day, error) {
	d, err := rankwright.ParseDay(q.FormValue("day"))
	if err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "bad_day", "choose the day of the session", "%q is not a day", q.FormValue("day"))
		f.Where.Name = "day"
		return d, f
	}
	return d, nil
}

// timesAdd makes a session from the line of the form.
func timesAdd(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	r, err := timesRow(q)
	if err == nil {
		var s app.Session
		if s, err = q.App().AddSession(q.Context(), q.Who, t.Grading.ID, r); err == nil {
			q.Flash("good", "“"+s.Name+"” is there. Next: what suits the families.")
			return To(timesHref(t.Grading.ID) + "/setup#" + s.ID), nil
		}
	}
	if rankwright.KindOf(err) != rankwright.Invalid && rankwright.KindOf(err) != rankwright.Conflict {
		return nil, err
	}
	return timesSetupPageOf(q, t, err)
}

func timesRow(q *Query) (r app.SittingsRow, err error) {
	if r.Day, err = timesDay(q); err != nil {
		return r, err
	}
	if r.From, err = timesClock(q, "from"); err != nil {
		return r, err
	}
	if r.Until, err = timesClock(q, "until"); err != nil {
		return r, err
	}
	r.Name, r.MakeUp, r.Minutes, r.Pause = q.FormValue("name"), q.FormValue("makeup") == "yes", number(q.FormValue("minutes")), number(q.FormValue("pause"))
	r.Mats = strings.FieldsFunc(q.FormValue("mats"), func(c rune) bool { return c == ',' || c == ';' })
	r.Like = timesLike(q)
	return r, nil
}

// timesLike reads the numbers of a sitting.
func timesLike(q *Query) app.Sitting {
	return app.Sitting{Minutes: number(q.FormValue("minutes")), Least: number(q.FormValue("least")), Most: number(q.FormValue("most")),
		Squad: number(q.FormValue("squad")), Panel: number(q.FormValue("panel")), Mixed: number(q.FormValue("mixed"))}
}

// timesSessionDo changes or removes a session.
func timesSessionDo(q *Query) (Answer, error) {
	id, session := rankwright.GradingID(q.PathValue("id")), q.FormValue("session")
	if q.FormValue("do") == "remove" {
		if err := q.App().RemoveSession(q.Context(), q.Who, id, session); err != nil {
			return nil, err
		}
		q.Flash("good", "The session is removed, with its sittings and the answers to it.")
		return To(timesHref(id) + "/setup"), nil
	}
	day, err := timesDay(q)
	if err != nil {
		return nil, err
	}
	from, err := timesClock(q, "from")
	if err != nil {
		return nil, err
	}
	if err := q.App().EditSession(q.Context(), q.Who, id, session, q.FormValue("name"), day, from, q.FormValue("makeup") == "yes"); err != nil {
		return nil, err
	}
	q.Flash("good", "The session is saved.")
	return To(timesHref(id) + "/setup#" + session), nil
}

// timesSittingDo adds, changes, loses or removes a sitting.
func timesSittingDo(q *Query) (Answer, error) {
	id, sitting := rankwright.GradingID(q.PathValue("id")), q.FormValue("sitting")
	say := "The sitting is saved."
	var err error
	switch q.FormValue("do") {
	case "remove":
		say, err = "The sitting is removed.", q.App().RemoveSitting(q.Context(), q.Who, id, sitting)
	case "lose":
		say, err = "The sitting is lost. Nobody is moved by that: let the timetable be repaired.", q.App().LoseSitting(q.Context(), q.Who, id, sitting, true)
	case "find":
		say, err = "The sitting takes place after all.", q.App().LoseSitting(q.Context(), q.Who, id, sitting, false)
	default:
		s := timesLike(q)
		s.ID, s.Session, s.Mat = sitting, q.FormValue("session"), q.FormValue("mat")
		var at timetable.Minute
		if at, err = timesClock(q, "begins"); err != nil {
			return nil, err
		}
		s.Begins = int(at)
		for _, r := range q.Form["ranks"] {
			s.Ranks = append(s.Ranks, rankwright.RankID(r))
		}
		err = q.App().PutSitting(q.Context(), q.Who, id, s)
	}
	if err != nil {
		return nil, err
	}
	q.Flash("good", say)
	return To(timesHref(id) + "/setup#" + q.FormValue("session")), nil
}

func timesCopy(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if err := q.App().CopySessions(q.Context(), q.Who, id, rankwright.GradingID(q.FormValue("from"))); err != nil {
		return nil, err
	}
	q.Flash("good", "The sittings are taken over. Look at their days.")
	return To(timesHref(id) + "/setup"), nil
}
