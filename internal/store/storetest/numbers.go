package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
)

func counts(t *testing.T, b Base) {
	fill(t, b)
	c := store.Count{Grading: grading, Log: "log-1", Paired: "d-1", Person: "p1", Since: 3, Seq: 9, Unsent: 2, Seen: 50}
	full(t, c)
	bare := c // a page of before says no numbers
	bare.Since, bare.Seq = -1, 0
	write(t, b, func(tx *store.Tx) error { return tx.PutCount(bare) })
	write(t, b, func(tx *store.Tx) error { return tx.PutCount(c) })
	later := c
	later.Since, later.Seq, later.Unsent, later.Seen, later.Paired = 7, 8, 0, 60, "d-2" // its numbers do not go back, nor where they began
	write(t, b, func(tx *store.Tx) error { return tx.PutCount(later) })
	later.Since, later.Seq = 3, 9
	same(t, read(t, b, func(tx *store.Tx) ([]store.Count, error) { return tx.Counts(grading) }), []store.Count{later})
	said := func(log rankwright.DeviceID) (c store.Count, ok bool) {
		read(t, b, func(tx *store.Tx) (int, error) {
			var err error
			c, ok, err = tx.Count(grading, log)
			return 0, err
		})
		return c, ok
	}
	if got, ok := said("log-1"); !ok || got != later {
		t.Errorf("got %+v, %v", got, ok)
	}
	if _, ok := said("log-2"); ok {
		t.Error("a device that has said nothing is told to have")
	}
}

func numbers(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		g := someGrading()
		g.ID = "g2"
		if err := tx.PutGrading(g); err != nil {
			return err
		}
		e := entry("e3", "s1")
		e.Grading = "g2"
		return tx.PutEntry(e)
	})
	other := mark("m3", "d1", 3)
	other.Entry, other.Grading = "e3", ""
	same(t, kinds(appendMarks(t, b, mark("m2", "d1", 2), other, mark("m6", "d1", 6), mark("m1", "d2", 1))), " stored stored stored stored")
	no := store.Refusal{Mark: mark("m5", "d1", 5).Mark, Grading: grading, Why: "no such level", Sender: "p1", Received: 70}
	bare := store.Refusal{Mark: scoring.Mark{ID: "m9"}, Grading: grading, Why: "it cannot be read", Sender: "p1", Received: 71}
	write(t, b, func(tx *store.Tx) error { return tx.AddRefusals([]store.Refusal{no, bare, no}) })
	came := func(after, last int64) []int64 {
		return read(t, b, func(tx *store.Tx) ([]int64, error) { return tx.Came("d1", after, last) })
	}
	same(t, came(0, 99), []int64{2, 3, 5, 6}) // at both gradings, kept or refused
	same(t, came(2, 5), []int64{3, 5})
	same(t, read(t, b, func(tx *store.Tx) ([]store.Reach, error) { return tx.Reaches(grading) }), []store.Reach{{Log: "d1", First: 2, Last: 6}, {Log: "d2", First: 1, Last: 1}})
	elsewhere := func(g rankwright.GradingID, want int64) {
		t.Helper()
		same(t, read(t, b, func(tx *store.Tx) (int64, error) { return tx.CountedElsewhere("d1", g) }), want)
	}
	elsewhere(grading, 3)
	elsewhere("g2", 6)
	elsewhere("g404", 6)
	write(t, b, func(tx *store.Tx) error {
		return tx.PutCount(store.Count{Grading: "g2", Log: "d1", Person: "p1", Seq: 8})
	})
	elsewhere(grading, 8)
	same(t, read(t, b, func(tx *store.Tx) (string, error) { p, _, err := tx.MarkedLast(grading, "d1"); return p, err }), "p1")
}

func elsewhere(t *testing.T, b Base) {
	fill(t, b)
	tell := func(spans ...scoring.Span) {
		t.Helper()
		write(t, b, func(tx *store.Tx) error { return tx.AddElsewhere(grading, "log-1", spans) })
	}
	know := func(log rankwright.DeviceID, g rankwright.GradingID) []scoring.Span {
		return read(t, b, func(tx *store.Tx) ([]scoring.Span, error) { return tx.Elsewhere(g, log) })
	}
	tell()
	tell(scoring.Span{From: 5, To: 7}, scoring.Span{From: 9, To: 9})
	tell(scoring.Span{From: 6, To: 7}, scoring.Span{From: 8, To: 12}) // some were sent, others made
	same(t, know("log-1", grading), []scoring.Span{{From: 5, To: 7}, {From: 8, To: 8}, {From: 9, To: 9}, {From: 10, To: 12}})
	same(t, len(know("log-2", grading))+len(know("log-1", "g404")), 0)
	var many []scoring.Span
	for i := range int64(1100) {
		many = append(many, scoring.Span{From: 100 + 2*i, To: 100 + 2*i})
	}
	tell(many...)
	same(t, len(know("log-1", grading)), 1000)
}

func refusals(t *testing.T, b Base) {
	fill(t, b)
	sent := mark("m5", "d1", 5)
	no := store.Refusal{Mark: sent.Mark, Grading: grading, Why: "no such level", Sender: "p1", Received: 70}
	odd := store.Refusal{Mark: scoring.Mark{ID: "m\x00", Device: "d\xff", Seq: -4, Entry: "e404", Examiner: "p404"}, Grading: grading, Why: "\x00", Sender: "p1", Received: 71}
	write(t, b, func(tx *store.Tx) error { return tx.AddRefusals([]store.Refusal{no, odd}) })
	open := func() []store.Refusal {
		return read(t, b, func(tx *store.Tx) ([]store.Refusal, error) { return tx.Refusals(grading) })
	}
	no.No, no.Mark.Clock, no.Mark.Note = 1, 0, ""
	odd.No, odd.Mark, odd.Why = 2, scoring.Mark{Entry: "e404", Examiner: "p404"}, "the mark has characters that are no text"
	same(t, open(), []store.Refusal{no, odd})
	settle := func(tx *store.Tx) error { return tx.SettleRefusal(grading, 2, "p1", 80) }
	write(t, b, settle)
	same(t, open(), []store.Refusal{no})
	refused(t, b, rankwright.NotFound, "not_found", settle)
	// Refused again, it is open again, and tells the newer reason.
	odd.Why, odd.Received = "still not", 90
	write(t, b, func(tx *store.Tx) error { return tx.AddRefusals([]store.Refusal{odd}) })
	same(t, open(), []store.Refusal{no, odd})
	// Another mark under its id does not settle it; the same one, kept, does.
	other := sent
	other.Value = scoring.N(0)
	same(t, kinds(appendMarks(t, b, other)), " stored")
	same(t, len(open()), 2)
	again := store.Refusal{Mark: mark("m6", "d1", 6).Mark, Grading: grading, Why: "too early", Sender: "p1", Received: 91}
	write(t, b, func(tx *store.Tx) error { return tx.AddRefusals([]store.Refusal{again}) })
	same(t, len(open()), 3)
	same(t, kinds(appendMarks(t, b, mark("m6", "d1", 6))), " stored")
	same(t, len(open()), 2)
	keeps(t, b, `DELETE FROM refusals`)
}

func acceptances(t *testing.T, b Base) {
	fill(t, b)
	a := store.Acceptance{Grading: grading, Missing: `[{"log":"d1"}]`, Reason: "the phone is broken", By: "p1", At: 80}
	later := a
	later.Reason, later.At = "it stays lost", 90
	write(t, b, func(tx *store.Tx) error { return tx.AddAcceptance(a) })
	write(t, b, func(tx *store.Tx) error { return tx.AddAcceptance(later) })
	a.No, later.No = 1, 2
	full(t, a)
	same(t, read(t, b, func(tx *store.Tx) ([]store.Acceptance, error) { return tx.Acceptances(grading) }), []store.Acceptance{a, later})
	keeps(t, b, `DELETE FROM acceptances`, `UPDATE acceptances SET reason = 'x'`)
}
