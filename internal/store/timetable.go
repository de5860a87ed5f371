package store

import (
	"encoding/json"
	"slices"

	"rankwright"
)

// Timetable is how a grading's timetable is worked out.
type Timetable struct {
	Grading rankwright.GradingID
	Weights string // JSON: what each term of the objective weighs; "" is the usual
	Seed    int64
	// Revision counts the changes of what a plan is made from, so that a plan
	// knows whether it is of today.
	Revision int64
}

// Session is a part of a day of which a family says whether it suits.
type Session struct {
	ID      string
	Grading rankwright.GradingID
	Name    string
	Day     rankwright.Day
	Begins  int // minutes since midnight where the hall stands
	Minutes int
	MakeUp  bool // for those who cannot come to the others
}

// Sitting is a block of time on one mat within a session.
type Sitting struct {
	ID      string
	Session string
	Mat     string
	Begins  int // minutes since midnight
	Minutes int
	Least   int // candidates, where it is opened at all
	Most    int
	Squad   int                 // the most in one squad
	Panel   int                 // how many examiners
	Mixed   int                 // how many neighbouring ranks may share it
	Ranks   []rankwright.RankID // that may be examined in it; none is every rank
	Lost    bool                // it cannot take place after all
}

// SessionAnswer is whether a session suits a household.
type SessionAnswer struct {
	Household rankwright.HouseholdID
	Session   string
	Answer    string // yes, if_need_be, no
	Wish      int    // how much it is wished for, 0 is not especially
	By        string // who wrote it down
	At        Moment
}

// ExaminerTerms are the limits of an examiner at one grading.
type ExaminerTerms struct {
	Grading rankwright.GradingID
	Person  string
	Mats    []string // none is every mat
	Most    int      // sittings a day, 0 is any number
	Rest    int      // sittings in a row before one is free, 0 is any number
}

// ExaminerAway says that an examiner is not there at a session.
type ExaminerAway struct {
	Person  string
	Session string
}

// OwnHousehold says that a person's own children, or other near relatives,
// live in a household: they do not examine them.
type OwnHousehold struct {
	Person    string
	Household rankwright.HouseholdID
}

// Plan says who sits when.
type Plan struct {
	Grading    rankwright.GradingID
	Kind       string // draft, published
	Facts      string // JSON: what it costs, its bound, how it came about
	Revision   int64  // of the timetable when it was made
	By         string
	At         Moment
	Placements []Placement // in order of entry
	Duties     []Duty      // in order of person and sitting
}

// Placement is where a plan puts an entry.
type Placement struct {
	Entry   rankwright.EntryID
	Sitting string // "" waits
	Squad   int
}

// Duty is a sitting of an examiner in a plan.
type Duty struct {
	Person  string
	Sitting string
}

// PlacementLock keeps an entry where the plan has it.
type PlacementLock struct {
	Entry rankwright.EntryID
	By    string
	At    Moment
}

// CannotCome says that an entry cannot come on the ordinary dates after all.
// Why is not kept.
type CannotCome struct {
	Entry rankwright.EntryID
	By    string
	At    Moment
}

// Wait is a place on the waiting list.
type Wait struct {
	Entry rankwright.EntryID
	Place int // 1 is next
	At    Moment
}

// PublishedTime is a time that was told to a family or to an examiner.
type PublishedTime struct {
	UID     string // of the calendar entry; it never changes
	Grading rankwright.GradingID
	Entry   rankwright.EntryID // "" is an examiner's
	// Household is whose child it is, "" for an examiner and once nobody of it is
	// on the roster any more.
	Household rankwright.HouseholdID
	Person    string // "" is a child's
	Sitting   string
	Mat       string
	Day       rankwright.Day
	Begins    int
	Minutes   int
	Sequence  int // counts the changes since it was first told
	Cancelled bool
	At        Moment
}

// MoveAnswer is a family's answer to another time than the published one.
type MoveAnswer struct {
	Grading   rankwright.GradingID
	Household rankwright.HouseholdID
	Change    string // a hash of what would change for them
	Yes       bool
	By        string // who heard it
	At        Moment
}

// Timetable returns how a grading's timetable is worked out, the usual way
// where nothing was said.
func (t *Tx) Timetable(grading rankwright.GradingID) (Timetable, error) {
	v, ok, err := maybe(t, func(r row) (v Timetable, err error) {
		err = r.Scan(&v.Grading, &v.Weights, &v.Seed, &v.Revision)
		return v, err
	}, `SELECT grading, weights, seed, revision FROM timetables WHERE grading = $1`, grading)
	if !ok {
		v = Timetable{Grading: grading, Seed: 1, Revision: 1}
	}
	return v, err
}

// PutTimetable writes how a grading's timetable is worked out.
func (t *Tx) PutTimetable(v Timetable) error {
	_, err := t.exec(`INSERT INTO timetables (grading, weights, seed, revision) VALUES ($1, $2, $3, $4)
		ON CONFLICT (grading) DO UPDATE SET weights = excluded.weights, seed = excluded.seed, revision = excluded.revision`,
		v.Grading, v.Weights, v.Seed, v.Revision)
	return reword(err, "in_use", missing("grading", v.Grading))
}

const sessionColumns = `id, grading, name, day, begins, minutes, makeup`

func readSession(r row) (s Session, err error) {
	err = r.Scan(&s.ID, &s.Grading, &s.Name, dayColumn{&s.Day}, &s.Begins, &s.Minutes, &s.MakeUp)
	return s, err
}

// TimetableSessions returns the sessions of a grading in order of time and id.
func (t *Tx) TimetableSessions(grading rankwright.GradingID) ([]Session, error) {
	return list(t, readSession, `SELECT `+sessionColumns+` FROM timetable_sessions WHERE grading = $1 ORDER BY day, begins, id`, grading)
}

// PutSession writes a session, new or changed; it stays with its grading.
func (t *Tx) PutSession(s Session) error {
	n, err := t.exec(`INSERT INTO timetable_sessions (`+sessionColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (id) DO UPDATE SET name = excluded.name, day = excluded.day, begins = excluded.begins, minutes = excluded.minutes,
			makeup = excluded.makeup WHERE timetable_sessions.grading = excluded.grading`,
		s.ID, s.Grading, s.Name, s.Day, s.Begins, s.Minutes, s.MakeUp)
	if err == nil && n == 0 {
		return missing("session of this grading", s.ID)
	}
	return reword(err, "in_use", missing("grading", s.Grading))
}

// RemoveSession takes a session out with its sittings and the answers to it.
func (t *Tx) RemoveSession(id string) error {
	n, err := t.exec(`DELETE FROM timetable_sessions WHERE id = $1`, id)
	if err == nil && n == 0 {
		return missing("session", id)
	}
	return err
}

const sittingColumns = `id, session, mat, begins, minutes, least, most, squad, panel, mixed, ranks, lost`

func readSitting(r row) (s Sitting, err error) {
	var ranks string
	if err = r.Scan(&s.ID, &s.Session, &s.Mat, &s.Begins, &s.Minutes, &s.Least, &s.Most, &s.Squad, &s.Panel, &s.Mixed, &ranks, &s.Lost); err != nil {
		return s, err
	}
	return s, json.Unmarshal([]byte(ranks), &s.Ranks)
}

// Sittings returns the sittings of a grading in order of time, mat and id.
func (t *Tx) Sittings(grading rankwright.GradingID) ([]Sitting, error) {
	return list(t, readSitting, `SELECT w.id, w.session, w.mat, w.begins, w.minutes, w.least, w.most, w.squad, w.panel, w.mixed, w.ranks, w.lost
		FROM sittings w JOIN timetable_sessions s ON s.id = w.session WHERE s.grading = $1 ORDER BY s.day, w.begins, w.mat, w.id`, grading)
}

// PutSitting writes a sitting, new or changed.
func (t *Tx) PutSitting(s Sitting) error {
	ranks, err := json.Marshal(s.Ranks)
	if err != nil {
		return err
	}
	_, err = t.exec(`INSERT INTO sittings (`+sittingColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
		ON CONFLICT (id) DO UPDATE SET session = excluded.session, mat = excluded.mat, begins = excluded.begins, minutes = excluded.minutes,
			least = excluded.least, most = excluded.most, squad = excluded.squad, panel = excluded.panel, mixed = excluded.mixed,
			ranks = excluded.ranks, lost = excluded.lost`,
		s.ID, s.Session, s.Mat, s.Begins, s.Minutes, s.Least, s.Most, s.Squad, s.Panel, s.Mixed, string(ranks), s.Lost)
	err = reword(err, "taken", rankwright.Faultf(rankwright.Conflict, "mat_taken", "choose another time or another mat",
		"a sitting on mat %s begins at that time already", s.Mat))
	return reword(err, "in_use", missing("session", s.Session))
}

// RemoveSitting takes a sitting out.
func (t *Tx) RemoveSitting(id string) error {
	n, err := t.exec(`DELETE FROM sittings WHERE id = $1`, id)
	if err == nil && n == 0 {
		return missing("sitting", id)
	}
	return err
}

func readSessionAnswer(r row) (a SessionAnswer, err error) {
	err = r.Scan(&a.Household, &a.Session, &a.Answer, &a.Wish, &a.By, &a.At)
	return a, err
}

// SessionAnswers returns what suits whom at a grading, in order of household
// and session.
func (t *Tx) SessionAnswers(grading rankwright.GradingID) ([]SessionAnswer, error) {
	return list(t, readSessionAnswer, `SELECT a.household, a.session, a.answer, a.wish, a.said_by, a.at
		FROM session_answers a JOIN timetable_sessions s ON s.id = a.session WHERE s.grading = $1 ORDER BY a.household, a.session`, grading)
}

// PutSessionAnswer writes whether a session suits; the answer "" takes an
// earlier one back.
func (t *Tx) PutSessionAnswer(a SessionAnswer) error {
	if a.Answer == "" {
		_, err := t.exec(`DELETE FROM session_answers WHERE household = $1 AND session = $2`, a.Household, a.Session)
		return err
	}
	_, err := t.exec(`INSERT INTO session_answers (household, session, answer, wish, said_by, at) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (household, session) DO UPDATE SET answer = excluded.answer, wish = excluded.wish, said_by = excluded.said_by, at = excluded.at`,
		a.Household, a.Session, a.Answer, a.Wish, a.By, a.At)
	return reword(err, "in_use", missing("session", a.Session))
}

// ExaminerTerms returns the limits of the examiners of a grading, in order of
// person.
func (t *Tx) ExaminerTerms(grading rankwright.GradingID) ([]ExaminerTerms, error) {
	return list(t, func(r row) (x ExaminerTerms, err error) {
		var mats string
		if err = r.Scan(&x.Grading, &x.Person, &mats, &x.Most, &x.Rest); err != nil {
			return x, err
		}
		return x, json.Unmarshal([]byte(mats), &x.Mats)
	}, `SELECT grading, person, mats, most, rest FROM examiner_terms WHERE grading = $1 ORDER BY person`, grading)
}

// PutExaminerTerms writes the limits of an examiner at a grading.
func (t *Tx) PutExaminerTerms(x ExaminerTerms) error {
	mats, err := json.Marshal(x.Mats)
	if err != nil {
		return err
	}
	_, err = t.exec(`INSERT INTO examiner_terms (grading, person, mats, most, rest) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (grading, person) DO UPDATE SET mats = excluded.mats, most = excluded.most, rest = excluded.rest`,
		x.Grading, x.Person, string(mats), x.Most, x.Rest)
	return reword(err, "in_use", missing("person", x.Person))
}

// ExaminersAway returns who is not there when at a grading, in order of person
// and session.
func (t *Tx) ExaminersAway(grading rankwright.GradingID) ([]ExaminerAway, error) {
	return list(t, func(r row) (x ExaminerAway, err error) {
		err = r.Scan(&x.Person, &x.Session)
		return x, err
	}, `SELECT a.person, a.session FROM examiner_away a JOIN timetable_sessions s ON s.id = a.session
		WHERE s.grading = $1 ORDER BY a.person, a.session`, grading)
}

// SetExaminerAway says that an examiner is not there at a session, or is.
func (t *Tx) SetExaminerAway(x ExaminerAway, away bool) error {
	if !away {
		_, err := t.exec(`DELETE FROM examiner_away WHERE person = $1 AND session = $2`, x.Person, x.Session)
		return err
	}
	_, err := t.exec(`INSERT INTO examiner_away (person, session) VALUES ($1, $2) ON CONFLICT (person, session) DO NOTHING`, x.Person, x.Session)
	return reword(err, "in_use", missing("session", x.Session))
}

// OwnHouseholds returns whose relatives live where, in order of person and
// household.
func (t *Tx) OwnHouseholds() ([]OwnHousehold, error) {
	return list(t, func(r row) (o OwnHousehold, err error) {
		err = r.Scan(&o.Person, &o.Household)
		return o, err
	}, `SELECT person, household FROM own_households ORDER BY person, household`)
}

// OwnEntry is an entry whom a person never examines.
type OwnEntry struct {
	Person string
	Entry  rankwright.EntryID
}

// OwnEntries returns the entries of a grading who are of an examiner's own
// household, in order of person and entry.
func (t *Tx) OwnEntries(grading rankwright.GradingID) ([]OwnEntry, error) {
	return list(t, func(r row) (o OwnEntry, err error) {
		err = r.Scan(&o.Person, &o.Entry)
		return o, err
	}, `SELECT o.person, e.id FROM entries e JOIN students s ON s.id = e.student
		JOIN own_households o ON o.household = CASE s.household WHEN '' THEN 'student:' || s.id ELSE s.household END
		WHERE e.grading = $1 ORDER BY o.person, e.id`, grading)
}

// PutOwnHouseholds replaces where a person's relatives live.
func (t *Tx) PutOwnHouseholds(person string, households []rankwright.HouseholdID) error {
	if _, err := t.exec(`DELETE FROM own_households WHERE person = $1`, person); err != nil {
		return err
	}
	for i, h := range households {
		if slices.Contains(households[:i], h) {
			continue
		}
		if _, err := t.exec(`INSERT INTO own_households (person, household) VALUES ($1, $2)`, person, h); err != nil {
			return reword(err, "in_use", missing("person", person))
		}
	}
	return nil
}
