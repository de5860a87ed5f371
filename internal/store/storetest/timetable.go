package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

func someSession() store.Session {
	return store.Session{ID: "t1", Grading: grading, Name: "Saturday morning", Day: rankwright.MustDay("2026-12-12"), Begins: 540, Minutes: 180, MakeUp: true}
}

func someSitting(id, mat string, begins int) store.Sitting {
	return store.Sitting{ID: id, Session: "t1", Mat: mat, Begins: begins, Minutes: 40, Least: 2, Most: 8, Squad: 4, Panel: 2, Mixed: 3,
		Ranks: []rankwright.RankID{"blue", "green"}, Lost: true}
}

func sittings(t *testing.T, b Base) {
	fill(t, b)
	timetable := func(tx *store.Tx) (store.Timetable, error) { return tx.Timetable(grading) }
	same(t, read(t, b, timetable), store.Timetable{Grading: grading, Seed: 1, Revision: 1})
	v := store.Timetable{Grading: grading, Weights: `{"wishes":3}`, Seed: 9, Revision: 4}
	full(t, v)
	write(t, b, func(tx *store.Tx) error { return tx.PutTimetable(v) })
	same(t, read(t, b, timetable), v)

	s, w := someSession(), someSitting("w1", "B", 540)
	full(t, s)
	full(t, w)
	early := store.Session{ID: "t2", Grading: grading, Day: s.Day - 1, Begins: 900, Minutes: 60}
	write(t, b, func(tx *store.Tx) error { return tx.PutSession(s) })
	write(t, b, func(tx *store.Tx) error { return tx.PutSession(early) })
	all := func(tx *store.Tx) ([]store.Session, error) { return tx.TimetableSessions(grading) }
	same(t, read(t, b, all), []store.Session{early, s})
	s.Name, s.Day, s.Begins, s.Minutes, s.MakeUp = "Sunday", s.Day+1, 600, 90, false
	write(t, b, func(tx *store.Tx) error { return tx.PutSession(s) })
	same(t, read(t, b, all), []store.Session{early, s})
	other := s
	other.Grading = "g404"
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.PutSession(other) })

	before, first := someSitting("w2", "B", 500), someSitting("w3", "A", 540)
	first.Ranks, first.Lost = nil, false
	for _, x := range []store.Sitting{w, before, first} {
		write(t, b, func(tx *store.Tx) error { return tx.PutSitting(x) })
	}
	sits := func(tx *store.Tx) ([]store.Sitting, error) { return tx.Sittings(grading) }
	same(t, read(t, b, sits), []store.Sitting{before, first, w})
	refused(t, b, rankwright.Conflict, "mat_taken", func(tx *store.Tx) error { return tx.PutSitting(someSitting("w9", "B", 540)) })
	w.Mat, w.Begins, w.Minutes, w.Least, w.Most, w.Squad, w.Panel, w.Mixed, w.Ranks, w.Lost = "C", 545, 30, 0, 9, 5, 3, 2, nil, false
	write(t, b, func(tx *store.Tx) error { return tx.PutSitting(w) })
	write(t, b, func(tx *store.Tx) error { return tx.RemoveSitting("w2") })
	same(t, read(t, b, sits), []store.Sitting{first, w})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.RemoveSitting("w2") })
	write(t, b, func(tx *store.Tx) error { return tx.RemoveSession("t1") }) // takes its sittings along
	same(t, len(read(t, b, sits)), 0)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.PutSitting(w) })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.RemoveSession("t1") })
}

func answers(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		return tx.PutStudents([]roster.Student{{ID: "s1", Household: "h1"}, {ID: "s2"}}, 8)
	})
	write(t, b, func(tx *store.Tx) error { return tx.PutSession(someSession()) })
	a := store.SessionAnswer{Household: "h1", Session: "t1", Answer: "if_need_be", Wish: 2, By: "p1", At: 30}
	full(t, a)
	alone := store.SessionAnswer{Household: "student:s2", Session: "t1", Answer: "yes", At: 31}
	write(t, b, func(tx *store.Tx) error { return tx.PutSessionAnswer(a) })
	write(t, b, func(tx *store.Tx) error { return tx.PutSessionAnswer(alone) })
	all := func(tx *store.Tx) ([]store.SessionAnswer, error) { return tx.SessionAnswers(grading) }
	same(t, read(t, b, all), []store.SessionAnswer{a, alone})
	a.Answer, a.Wish, a.By, a.At = "no", 0, "p2", 40
	write(t, b, func(tx *store.Tx) error { return tx.PutSessionAnswer(a) })
	same(t, read(t, b, all), []store.SessionAnswer{a, alone})
	taken := a
	taken.Answer = ""
	write(t, b, func(tx *store.Tx) error { return tx.PutSessionAnswer(taken) })
	same(t, read(t, b, all), []store.SessionAnswer{alone})
	write(t, b, func(tx *store.Tx) error { return tx.PutSessionAnswer(a) })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.PutSessionAnswer(store.SessionAnswer{Household: "h1", Session: "t404", Answer: "no"})
	})
	refused(t, b, rankwright.Invalid, "unfit", func(tx *store.Tx) error {
		return tx.PutSessionAnswer(store.SessionAnswer{Household: "h1", Session: "t1", Answer: "perhaps"})
	})

	// The last student of a household is erased, and what it said with them.
	own := func(tx *store.Tx) ([]store.OwnHousehold, error) { return tx.OwnHouseholds() }
	write(t, b, func(tx *store.Tx) error {
		return tx.PutOwnHouseholds("p1", []rankwright.HouseholdID{"student:s2", "h1", "h1"})
	})
	same(t, read(t, b, own), []store.OwnHousehold{{Person: "p1", Household: "h1"}, {Person: "p1", Household: "student:s2"}})
	same(t, read(t, b, func(tx *store.Tx) ([]store.OwnEntry, error) { return tx.OwnEntries(grading) }),
		[]store.OwnEntry{{Person: "p1", Entry: "e1"}, {Person: "p1", Entry: "e2"}})
	move := store.MoveAnswer{Grading: grading, Household: "h1", Change: "x1", Yes: true, By: "p1", At: 50}
	full(t, move)
	moves := func(tx *store.Tx) ([]store.MoveAnswer, error) { return tx.MoveAnswers(grading) }
	write(t, b, func(tx *store.Tx) error { return tx.PutMoveAnswer(move) })
	same(t, read(t, b, moves), []store.MoveAnswer{move})
	move.Yes, move.By, move.At = false, "p2", 51
	write(t, b, func(tx *store.Tx) error { return tx.PutMoveAnswer(move) })
	same(t, read(t, b, moves), []store.MoveAnswer{move})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 60) })
	same(t, read(t, b, all), []store.SessionAnswer{alone})
	same(t, read(t, b, own), []store.OwnHousehold{{Person: "p1", Household: "student:s2"}})
	same(t, len(read(t, b, moves)), 0)
}

func limits(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error { return tx.PutSession(someSession()) })
	x := store.ExaminerTerms{Grading: grading, Person: "p1", Mats: []string{"A", "B"}, Most: 4, Rest: 2}
	full(t, x)
	all := func(tx *store.Tx) ([]store.ExaminerTerms, error) { return tx.ExaminerTerms(grading) }
	write(t, b, func(tx *store.Tx) error { return tx.PutExaminerTerms(x) })
	same(t, read(t, b, all), []store.ExaminerTerms{x})
	x.Mats, x.Most, x.Rest = nil, 0, 0
	write(t, b, func(tx *store.Tx) error { return tx.PutExaminerTerms(x) })
	same(t, read(t, b, all), []store.ExaminerTerms{x})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.PutExaminerTerms(store.ExaminerTerms{Grading: grading, Person: "p404"})
	})

	away := func(tx *store.Tx) ([]store.ExaminerAway, error) { return tx.ExaminersAway(grading) }
	for _, on := range []bool{true, true, false, true} {
		write(t, b, func(tx *store.Tx) error {
			return tx.SetExaminerAway(store.ExaminerAway{Person: "p1", Session: "t1"}, on)
		})
	}
	same(t, read(t, b, away), []store.ExaminerAway{{Person: "p1", Session: "t1"}})
	write(t, b, func(tx *store.Tx) error { return tx.RemoveSession("t1") })
	same(t, len(read(t, b, away)), 0)
}

func plans(t *testing.T, b Base) {
	fill(t, b)
	p := store.Plan{Grading: grading, Kind: "draft", Facts: "{}", Revision: 3, By: "p1", At: 9,
		Placements: []store.Placement{{Entry: "e1", Sitting: "w1", Squad: 2}, {Entry: "e2"}}, Duties: []store.Duty{{Person: "p1", Sitting: "w1"}}}
	full(t, p)
	full(t, p.Placements[0])
	full(t, p.Duties[0])
	type found struct {
		plan  store.Plan
		there bool
	}
	get := func(tx *store.Tx) (f found, err error) {
		f.plan, f.there, err = tx.Plan(grading, "draft")
		return f, err
	}
	same(t, read(t, b, get), found{})
	write(t, b, func(tx *store.Tx) error { return tx.PutPlan(p) })
	same(t, read(t, b, get), found{p, true})
	published := p
	published.Kind = "published"
	write(t, b, func(tx *store.Tx) error { return tx.PutPlan(published) })
	p.Facts, p.Revision, p.By, p.At, p.Duties = `{"cost":1}`, 4, "p2", 10, nil
	p.Placements = []store.Placement{{Entry: "e2", Sitting: "w2", Squad: 1}}
	write(t, b, func(tx *store.Tx) error { return tx.PutPlan(p) })
	same(t, read(t, b, get), found{p, true})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.PutPlan(store.Plan{Grading: grading, Kind: "draft", Placements: []store.Placement{{Entry: "e404"}}})
	})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.PutPlan(store.Plan{Grading: grading, Kind: "draft", Duties: []store.Duty{{Person: "p404", Sitting: "w1"}}})
	})

	lock, wait := store.PlacementLock{Entry: "e2", By: "p1", At: 11}, store.Wait{Entry: "e2", Place: 1, At: 12}
	full(t, lock)
	full(t, wait)
	locks := func(tx *store.Tx) ([]store.PlacementLock, error) { return tx.PlacementLocks(grading) }
	waits := func(tx *store.Tx) ([]store.Wait, error) { return tx.WaitingList(grading) }
	for _, on := range []bool{true, false, true, true} {
		write(t, b, func(tx *store.Tx) error { return tx.SetPlacementLock(lock, on) })
	}
	same(t, read(t, b, locks), []store.PlacementLock{lock})
	out := store.CannotCome{Entry: "e2", By: "p1", At: 13}
	full(t, out)
	outs := func(tx *store.Tx) ([]store.CannotCome, error) { return tx.CannotCome(grading) }
	for _, on := range []bool{true, false, true, true} {
		write(t, b, func(tx *store.Tx) error { return tx.SetCannotCome(out, on) })
	}
	same(t, read(t, b, outs), []store.CannotCome{out})
	write(t, b, func(tx *store.Tx) error {
		return tx.PutWaitingList(grading, []store.Wait{{Entry: "e1", Place: 2, At: 1}, wait})
	})
	same(t, read(t, b, waits), []store.Wait{wait, {Entry: "e1", Place: 2, At: 1}})
	write(t, b, func(tx *store.Tx) error { return tx.PutWaitingList(grading, []store.Wait{wait}) })
	same(t, read(t, b, waits), []store.Wait{wait})

	write(t, b, func(tx *store.Tx) error { return tx.RemoveEntry("e2") })
	p.Placements = nil
	same(t, read(t, b, get), found{p, true})
	same(t, len(read(t, b, locks))+len(read(t, b, waits))+len(read(t, b, outs)), 0)
	write(t, b, func(tx *store.Tx) error { return tx.RemovePlan(grading, "draft") })
	write(t, b, func(tx *store.Tx) error { return tx.RemovePlan(grading, "draft") }) // there is none
	same(t, read(t, b, get).there, false)
}

func told(t *testing.T, b Base) {
	fill(t, b)
	p := store.PublishedTime{UID: "u1@rankwright", Grading: grading, Entry: "e1", Household: "h1", Person: "p1", Sitting: "w1", Mat: "A",
		Day: rankwright.MustDay("2026-12-12"), Begins: 540, Minutes: 40, Sequence: 1, Cancelled: true, At: 9}
	full(t, p)
	all := func(tx *store.Tx) ([]store.PublishedTime, error) { return tx.PublishedTimes(grading) }
	write(t, b, func(tx *store.Tx) error { return tx.PutPublishedTime(p) })
	same(t, read(t, b, all), []store.PublishedTime{p})
	refused(t, b, rankwright.Conflict, "told_already", func(tx *store.Tx) error { return tx.PutPublishedTime(p) })
	p.Sitting, p.Mat, p.Day, p.Begins, p.Minutes, p.Sequence, p.Cancelled, p.At = "w2", "B", p.Day+1, 600, 30, 2, false, 10
	write(t, b, func(tx *store.Tx) error { return tx.PutPublishedTime(p) })
	other := p
	other.Entry, other.Sequence = "e2", 3
	refused(t, b, rankwright.Conflict, "told_already", func(tx *store.Tx) error { return tx.PutPublishedTime(other) })
	write(t, b, func(tx *store.Tx) error { return tx.RemoveEntry("e1") })
	same(t, read(t, b, all), []store.PublishedTime{p}) // so that the cancellation can be told

	// With the last student of a household goes whose time it was, and no more.
	write(t, b, func(tx *store.Tx) error {
		return tx.PutStudents([]roster.Student{{ID: "s1", Household: "h1"}, {ID: "s2", Household: "h2"}}, 8)
	})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s2", 50) })
	same(t, read(t, b, all), []store.PublishedTime{p})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 51) })
	p.Household = ""
	same(t, read(t, b, all), []store.PublishedTime{p})
}
