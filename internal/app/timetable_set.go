package app

import (
	"context"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// SittingsRow is a session told in a line: "Saturday 12 December, 9:00 to
// 12:00, mats A and B, sittings of 40 minutes". It becomes a row of sittings
// on each mat.
type SittingsRow struct {
	Name        string // "" is the day and the part of the day
	Day         rankwright.Day
	From, Until timetable.Minute
	MakeUp      bool
	Mats        []string
	Minutes     int // of a sitting
	Pause       int // minutes between two sittings
	Like        Sitting
}

// LikeUsual is a sitting as it is where nothing was said (common practice, no
// published source).
func LikeUsual() Sitting {
	return Sitting{Minutes: 40, Least: 2, Most: 8, Squad: 4, Panel: 2, Mixed: 2}
}

// most keeps a slip of the finger from making a thousand sittings.
const mostInRow = 60

// sittings lays the row out.
func (r *SittingsRow) sittings() (out []Sitting, err error) {
	for i := range r.Mats {
		r.Mats[i] = strings.Join(strings.Fields(r.Mats[i]), " ")
	}
	r.Mats = slices.DeleteFunc(r.Mats, func(m string) bool { return m == "" })
	switch {
	case len(r.Mats) == 0:
		return nil, invalid("mats", "name at least one, such as A", "the session has no mat")
	case r.Minutes < 5 || r.Minutes > 600:
		return nil, invalid("minutes", "write how many minutes a sitting takes, from 5 to 600", "a sitting cannot take %d minutes", r.Minutes)
	case r.Pause < 0 || r.Pause > 240:
		return nil, invalid("pause", "write 0 to 240 minutes", "the break between two sittings cannot be %d minutes", r.Pause)
	case int(r.Until-r.From) < r.Minutes:
		return nil, invalid("until", "let the session end later, or the sittings be shorter", "from %s until %s there is no room for a sitting of %d minutes", r.From, r.Until, r.Minutes)
	}
	for i, m := range r.Mats {
		if slices.Contains(r.Mats[:i], m) {
			return nil, invalid("mats", "name each mat once", "mat %s is named twice", m)
		}
	}
	for at := r.From; at+timetable.Minute(r.Minutes) <= r.Until; at += timetable.Minute(r.Minutes + r.Pause) {
		for _, m := range r.Mats {
			s := r.Like
			s.Mat, s.Begins, s.Minutes = m, int(at), r.Minutes
			out = append(out, s)
		}
		if len(out) > mostInRow {
			return nil, invalid("minutes", "make the sittings longer, or the session shorter", "that would be more than %d sittings in one session", mostInRow)
		}
	}
	return out, nil
}

func checkSession(name string, day rankwright.Day, from, until timetable.Minute) error {
	switch {
	case utf8.RuneCountInString(name) > 60:
		return invalid("name", "write at most 60 characters", "the session's name is too long")
	case day == 0:
		return invalid("day", "choose its day", "the session has no day")
	case from < 0 || until > 24*60 || from >= until:
		return invalid("until", "write a time after the start, such as 12:00", "the session cannot end at %s when it begins at %s", until, from)
	}
	return nil
}

// checkSitting says what a sitting lacks.
func checkSitting(s *Sitting) error {
	s.Mat = strings.Join(strings.Fields(s.Mat), " ")
	switch {
	case s.Mat == "" || utf8.RuneCountInString(s.Mat) > 20:
		return invalid("mat", "write a short name, such as A", "the sitting has no mat that can be used")
	case s.Minutes < 5 || s.Minutes > 600:
		return invalid("minutes", "write 5 to 600", "a sitting cannot take %d minutes", s.Minutes)
	case s.Begins < 0 || s.Begins+s.Minutes > 24*60:
		return invalid("begins", "write a time such as 9:40", "the sitting does not begin and end on one day")
	case s.Most < 1 || s.Most > 200:
		return invalid("most", "write 1 to 200", "a sitting cannot have room for %d", s.Most)
	case s.Least < 0 || s.Least > s.Most:
		return invalid("least", "write 0 to the room that there is", "a sitting for at most %d cannot ask for at least %d", s.Most, s.Least)
	case s.Squad < 1 || s.Squad > 50:
		return invalid("squad", "write 1 to 50", "a squad cannot have %d", s.Squad)
	case s.Panel < 0 || s.Panel > rankwright.MaxMean:
		return invalid("panel", "write 0 to 10", "a panel cannot have %d examiners", s.Panel)
	case s.Mixed < 1 || s.Mixed > timetable.MostRanks:
		return invalid("mixed", "write 1 where every rank stands alone", "%d neighbouring ranks cannot share a sitting", s.Mixed)
	}
	return nil
}

// SessionName is what a session is called where nothing was said.
func SessionName(day rankwright.Day, from, until timetable.Minute) string {
	part := "morning"
	switch {
	case from < 12*60 && until > 14*60:
		part = "all day"
	case from >= 17*60:
		part = "evening"
	case from >= 12*60:
		part = "afternoon"
	}
	return day.Weekday().String() + " " + part
}

// AddSession makes a session and its row of sittings.
func (a *App) AddSession(ctx context.Context, who Actor, id rankwright.GradingID, r SittingsRow) (s Session, err error) {
	if r.Name = strings.Join(strings.Fields(r.Name), " "); r.Name == "" && r.Day != 0 {
		r.Name = SessionName(r.Day, r.From, r.Until)
	}
	if err := checkSession(r.Name, r.Day, r.From, r.Until); err != nil {
		return s, err
	}
	sittings, err := r.sittings()
	if err != nil {
		return s, err
	}
	for i := range sittings {
		if err := checkSitting(&sittings[i]); err != nil {
			return s, err
		}
	}
	s = Session{Grading: id, Name: r.Name, Day: r.Day, Begins: int(r.From), Minutes: int(r.Until - r.From), MakeUp: r.MakeUp}
	err = a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		if err := a.freeMats(tx, id, s, sittings); err != nil {
			return nil, err
		}
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		for i := range sittings {
			if err := t.tooLong(&sittings[i]); err != nil {
				return nil, err
			}
		}
		return map[string]any{"session": s.Name, "day": s.Day.String(), "sittings": len(sittings)}, a.putSession(tx, &s, sittings)
	})
	return s, err
}

// putSession writes a new session with new sittings.
func (a *App) putSession(tx *store.Tx, s *Session, sittings []Sitting) error {
	var err error
	if s.ID, err = a.newID("t"); err != nil {
		return err
	}
	if err := tx.PutSession(*s); err != nil {
		return err
	}
	for _, x := range sittings {
		if x.ID, err = a.newID("w"); err != nil {
			return err
		}
		x.Session = s.ID
		if err := tx.PutSitting(x); err != nil {
			return err
		}
	}
	return touch(tx, s.Grading)
}

// freeMats refuses sittings that would stand on a mat at the same time as
// others.
func (a *App) freeMats(tx *store.Tx, id rankwright.GradingID, s Session, sittings []Sitting) error {
	sessions, err := tx.TimetableSessions(id)
	if err != nil {
		return err
	}
	there, err := tx.Sittings(id)
	if err != nil {
		return err
	}
	for _, x := range sittings {
		for _, y := range there {
			if y.ID == x.ID || y.Mat != x.Mat || y.Begins >= x.Begins+x.Minutes || x.Begins >= y.Begins+y.Minutes {
				continue
			}
			if slices.ContainsFunc(sessions, func(o Session) bool { return o.ID == y.Session && o.Day == s.Day }) {
				return rankwright.Faultf(rankwright.Conflict, "mat_taken", "choose another time or another mat",
					"mat %s has another sitting on %s from %s to %s", x.Mat, s.Day.Long(), timetable.Minute(y.Begins), timetable.Minute(y.Begins+y.Minutes))
			}
		}
	}
	return nil
}

// EditSession changes a session's name, day, start and kind. Its sittings move
// along with the start; a session that was told to families keeps its day and
// time.
func (a *App) EditSession(ctx context.Context, who Actor, id rankwright.GradingID, session, name string, day rankwright.Day, from timetable.Minute, makeUp bool) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		s := t.Session(session)
		if s == nil {
			return nil, noSession()
		}
		by := int(from) - s.Begins
		until := from + timetable.Minute(s.Minutes)
		if name = strings.Join(strings.Fields(name), " "); name == "" {
			name = SessionName(day, from, until)
		}
		if err := checkSession(name, day, from, until); err != nil {
			return nil, err
		}
		if day != s.Day || by != 0 {
			for _, w := range t.Sittings {
				if w.Session == s.ID && t.tellsOf(w.ID) {
					return nil, toldFault("make another session, and let the timetable be repaired", "families were told times in this session")
				}
			}
		}
		s.Name, s.Day, s.Begins, s.MakeUp = name, day, int(from), makeUp
		var moved []Sitting
		for _, w := range t.Sittings {
			if w.Session == s.ID {
				w.Begins += by
				if err := checkSitting(&w); err != nil {
					return nil, err
				}
				moved = append(moved, w)
			}
		}
		if err := tx.PutSession(*s); err != nil {
			return nil, err
		}
		// Out of each other's way: a row that moves on passes its own places.
		slices.SortFunc(moved, func(x, y Sitting) int { return (x.Begins - y.Begins) * -sign(by) })
		for _, w := range moved {
			if err := tx.PutSitting(w); err != nil {
				return nil, err
			}
		}
		if err := a.freeMats(tx, id, *s, moved); err != nil {
			return nil, err
		}
		return map[string]any{"session": s.ID, "day": day.String(), "from": from.String()}, touch(tx, id)
	})
}

func sign(n int) int {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}

func noSession() error {
	return rankwright.Faultf(rankwright.NotFound, "no_session", "load the page again", "this session is not there any more")
}

func noSitting() error {
	return rankwright.Faultf(rankwright.NotFound, "no_sitting", "load the page again", "this sitting is not there any more")
}

func toldFault(do, say string) error {
	return rankwright.Faultf(rankwright.Conflict, "told", do, "%s", say)
}

// tellsOf says that somebody was told that they come, or examine, in a sitting.
func (t *Timetable) tellsOf(sitting string) bool {
	return slices.ContainsFunc(t.Told, func(x PublishedTime) bool { return x.Sitting == sitting && !x.Cancelled })
}

// RemoveSession takes a session out with its sittings and the answers to it.
func (a *App) RemoveSession(ctx context.Context, who Actor, id rankwright.GradingID, session string) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		if t.Session(session) == nil {
			return nil, noSession()
		}
		var gone []string
		for _, w := range t.Sittings {
			if w.Session != session {
				continue
			}
			if t.tellsOf(w.ID) {
				return nil, toldFault("say that its sittings are lost, and let the timetable be repaired", "families were told times in this session")
			}
			gone = append(gone, w.ID)
		}
		if err := a.dropFromDraft(tx, t, gone); err != nil {
			return nil, err
		}
		if err := tx.RemoveSession(session); err != nil {
			return nil, err
		}
		return map[string]any{"session": session, "what": "removed"}, touch(tx, id)
	})
}

// PutSitting adds a sitting (with an empty id) or changes one. Where families
// were told of it, its mat and time stay.
func (a *App) PutSitting(ctx context.Context, who Actor, id rankwright.GradingID, s Sitting) error {
	if err := checkSitting(&s); err != nil {
		return err
	}
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		in := t.Session(s.Session)
		if in == nil {
			return nil, noSession()
		}
		for _, r := range s.Ranks {
			if k, _ := t.Grading.Syllabus.Rank(r); k == nil {
				return nil, invalid("ranks", "choose ranks of the ladder", "there is no rank %q on the ladder", r)
			}
		}
		if s.ID == "" {
			if s.ID, err = a.newID("w"); err != nil {
				return nil, err
			}
		} else {
			old := t.Sitting(s.ID)
			if old == nil {
				return nil, noSitting()
			}
			if t.tellsOf(s.ID) && (old.Mat != s.Mat || old.Begins != s.Begins || old.Minutes != s.Minutes) {
				return nil, toldFault("add another sitting, and let the timetable be repaired", "families were told this sitting's time and mat")
			}
			s.Session, s.Lost = old.Session, old.Lost
			in = t.Session(s.Session)
		}
		if err := a.freeMats(tx, id, *in, []Sitting{s}); err != nil {
			return nil, err
		}
		if err := t.tooLong(&s); err != nil {
			return nil, err
		}
		if err := tx.PutSitting(s); err != nil {
			return nil, err
		}
		return map[string]any{"sitting": s.ID, "begins": timetable.Minute(s.Begins).String(), "most": s.Most}, touch(tx, id)
	})
}

// RemoveSitting takes a sitting out of which nobody was told.
func (a *App) RemoveSitting(ctx context.Context, who Actor, id rankwright.GradingID, sitting string) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		switch {
		case t.Sitting(sitting) == nil:
			return nil, noSitting()
		case t.tellsOf(sitting):
			return nil, toldFault("say that it is lost, and let the timetable be repaired", "families were told of this sitting")
		}
		if err := a.dropFromDraft(tx, t, []string{sitting}); err != nil {
			return nil, err
		}
		if err := tx.RemoveSitting(sitting); err != nil {
			return nil, err
		}
		return map[string]any{"sitting": sitting, "what": "removed"}, touch(tx, id)
	})
}

// LoseSitting says that a sitting cannot take place after all, or can. Nobody
// is moved by that alone.
func (a *App) LoseSitting(ctx context.Context, who Actor, id rankwright.GradingID, sitting string, lost bool) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		s := t.Sitting(sitting)
		if s == nil {
			return nil, noSitting()
		}
		s.Lost = lost
		if lost {
			for e := range t.Locked {
				if t.Current().At(e) == sitting {
					if err := tx.SetPlacementLock(store.PlacementLock{Entry: e}, false); err != nil {
						return nil, err
					}
				}
			}
			if err := a.dropFromDraft(tx, t, []string{sitting}); err != nil {
				return nil, err
			}
		}
		if err := tx.PutSitting(*s); err != nil {
			return nil, err
		}
		return map[string]any{"sitting": sitting, "lost": lost}, touch(tx, id)
	})
}

// dropFromDraft lets everybody wait whom the draft has in sittings that go.
func (a *App) dropFromDraft(tx *store.Tx, t *Timetable, sittings []string) error {
	if t.Draft == nil || len(sittings) == 0 {
		return nil
	}
	p := t.Draft.Plan
	for i := range p.Placements {
		if slices.Contains(sittings, p.Placements[i].Sitting) {
			p.Placements[i].Sitting, p.Placements[i].Squad = "", 0
		}
	}
	p.Duties = slices.DeleteFunc(slices.Clone(p.Duties), func(d store.Duty) bool { return slices.Contains(sittings, d.Sitting) })
	return tx.PutPlan(p)
}

// CopySessions takes over another grading's sessions and sittings, and its
// examiners' limits, so many days later as the grading is.
func (a *App) CopySessions(ctx context.Context, who Actor, id, from rankwright.GradingID) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		there, err := tx.TimetableSessions(id)
		if err != nil {
			return nil, err
		}
		if len(there) > 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "has_sessions", "remove them first, or change them", "the grading has %d sessions already", len(there))
		}
		g, err := tx.Grading(id)
		if err != nil {
			return nil, err
		}
		n, err := a.copySessions(tx, from, g)
		if err == nil && n == 0 {
			err = rankwright.Faultf(rankwright.NotFound, "no_sessions", "choose another grading, or begin with a new session", "that grading had no sessions")
		}
		return map[string]any{"copied": string(from), "sessions": n}, err
	})
}

func (a *App) copySessions(tx *store.Tx, from rankwright.GradingID, to store.Grading) (int, error) {
	old, err := tx.Grading(from)
	if err != nil {
		return 0, err
	}
	s, err := a.version(tx, to.Version)
	if err != nil {
		return 0, err
	}
	if err := copyStations(tx, from, to.ID, s); err != nil {
		return 0, err
	}
	sessions, err := tx.TimetableSessions(from)
	if err != nil || len(sessions) == 0 {
		return 0, err
	}
	sittings, err := tx.Sittings(from)
	if err != nil {
		return 0, err
	}
	for _, x := range sessions {
		was := SessionName(x.Day, timetable.Minute(x.Begins), timetable.Minute(x.Begins+x.Minutes))
		n := x
		n.Grading, n.Day = to.ID, x.Day+to.Day-old.Day
		if x.Name == was { // nobody gave it a name of its own
			n.Name = SessionName(n.Day, timetable.Minute(n.Begins), timetable.Minute(n.Begins+n.Minutes))
		}
		var row []Sitting
		for _, w := range sittings {
			if w.Session == x.ID {
				w.Lost = false
				w.Ranks = slices.DeleteFunc(slices.Clone(w.Ranks), func(r rankwright.RankID) bool { k, _ := s.Rank(r); return k == nil })
				row = append(row, w)
			}
		}
		if err := a.putSession(tx, &n, row); err != nil {
			return 0, err
		}
	}
	terms, err := tx.ExaminerTerms(from)
	if err != nil {
		return 0, err
	}
	for _, x := range terms {
		x.Grading = to.ID
		if err := tx.PutExaminerTerms(x); err != nil {
			return 0, err
		}
	}
	how, err := tx.Timetable(from)
	if err != nil {
		return 0, err
	}
	how.Grading = to.ID
	return len(sessions), tx.PutTimetable(how)
}

// shiftSessions moves the sessions of a grading whose day is changed, unless a
// time was told.
func (a *App) shiftSessions(tx *store.Tx, id rankwright.GradingID, days rankwright.Day) error {
	told, err := tx.PublishedTimes(id)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(told, func(x store.PublishedTime) bool { return !x.Cancelled }) {
		return toldFault("move the sittings instead, and let the timetable be repaired", "families were told times at this grading")
	}
	sessions, err := tx.TimetableSessions(id)
	if err != nil {
		return err
	}
	for _, s := range sessions {
		if s.Name == SessionName(s.Day, timetable.Minute(s.Begins), timetable.Minute(s.Begins+s.Minutes)) {
			s.Name = SessionName(s.Day+days, timetable.Minute(s.Begins), timetable.Minute(s.Begins+s.Minutes))
		}
		s.Day += days
		if err := tx.PutSession(s); err != nil {
			return err
		}
	}
	if len(sessions) == 0 {
		return nil
	}
	return touch(tx, id)
}
