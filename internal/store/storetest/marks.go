package storetest

import (
	"fmt"
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
)

func appendMarks(t *testing.T, b Base, ms ...store.MarkRow) (got []store.MarkStatus) {
	t.Helper()
	write(t, b, func(tx *store.Tx) (err error) {
		got, err = tx.AppendMarks(ms)
		return err
	})
	return got
}

func marksOf(t *testing.T, b Base, id rankwright.EntryID) []store.MarkRow {
	t.Helper()
	return read(t, b, func(tx *store.Tx) ([]store.MarkRow, error) { return tx.MarksOf(id) })
}

// kinds writes each status in a word.
func kinds(statuses []store.MarkStatus) string {
	out := ""
	for _, s := range statuses {
		switch {
		case s.Stored && !s.Double && s.Refuse == "":
			out += " stored"
		case s.Double && !s.Stored && s.Refuse == "":
			out += " double"
		case s.Refuse != "" && !s.Stored && !s.Double:
			out += " refused"
		default:
			out += fmt.Sprintf(" muddled %+v", s)
		}
	}
	return out
}

func marks(t *testing.T, b Base) {
	fill(t, b)
	m := mark("m1", "d1", 1)
	full(t, m.Mark)
	full(t, m.Mark.Value)
	third := mark("m2", "d1", 2)
	third.Value = scoring.Value{Sort: scoring.Number, Num: rankwright.One * 25 / 10}
	unseen := mark("m3", "d1", 1<<62)
	unseen.Value, unseen.Note, unseen.At = scoring.Value{}, "", -5
	same(t, kinds(appendMarks(t, b, m, third, unseen)), " stored stored stored")
	m.Arrival, third.Arrival, unseen.Arrival = 1, 2, 3
	full(t, m)
	same(t, marksOf(t, b, "e1"), []store.MarkRow{m, third, unseen})
	same(t, read(t, b, func(tx *store.Tx) ([]store.MarkRow, error) { return tx.MarksOfGrading(grading) }), []store.MarkRow{m, third, unseen})
}

func repeated(t *testing.T, b Base) {
	fill(t, b)
	m, n := mark("m1", "d1", 1), mark("m2", "d1", 2)
	same(t, kinds(appendMarks(t, b, m, n, m)), " stored stored double")
	before := marksOf(t, b, "e1")
	again := m
	again.Received += 1000 // the server's time is not part of the mark
	again.Grading = ""
	same(t, kinds(appendMarks(t, b, n, again, m)), " double double double")
	same(t, marksOf(t, b, "e1"), before)

	later := mark("m3", "d1", 3)
	same(t, kinds(appendMarks(t, b, m, later)), " double stored")
	same(t, marksOf(t, b, "e1")[2].Arrival, 3) // doubles leave no gap
}

func badMarks(t *testing.T, b Base) {
	fill(t, b)
	appendMarks(t, b, mark("m1", "d1", 1))
	before := marksOf(t, b, "e1")

	with := func(id rankwright.MarkID, seq int64, change func(*store.MarkRow)) store.MarkRow {
		m := mark(id, "d1", seq)
		change(&m)
		return m
	}
	bad := map[string]store.MarkRow{
		"same id, other value":       with("m1", 1, func(m *store.MarkRow) { m.Value = scoring.N(0) }),
		"same id, other note":        with("m1", 1, func(m *store.MarkRow) { m.Note = "" }),
		"same id, other number":      mark("m1", "d1", 2),
		"same number, other id":      mark("m9", "d1", 1),
		"an entry that is not there": with("m8", 8, func(m *store.MarkRow) { m.Entry = "e404" }),
		"an entry of another grading": with("m8", 8, func(m *store.MarkRow) {
			m.Grading = "g404"
		}),
		"no id":     mark("", "d1", 8),
		"no device": mark("m8", "", 8),
		"no number": mark("m8", "d1", 0),
	}
	n := int64(0)
	for name, m := range bad {
		n++
		good := mark(rankwright.MarkID("good"+name), "d2", n)
		got := appendMarks(t, b, m, good)
		if kinds(got) != " refused stored" || got[0].ID != m.ID || got[1].ID != good.ID {
			t.Errorf("%s: %+v", name, got)
		}
	}
	same(t, marksOf(t, b, "e1")[:1], before)
	same(t, len(marksOf(t, b, "e1")), 1+len(bad))
	same(t, len(appendMarks(t, b)), 0)
}

func devices(t *testing.T, b Base) {
	fill(t, b)
	same(t, kinds(appendMarks(t, b, mark("m1", "d1", 1), mark("m2", "d1", 2))), " stored stored")
	same(t, kinds(appendMarks(t, b, mark("m3", "d2", 1), mark("m1", "d2", 2))), " stored refused")
	// A mark whose id and whose number belong to two different marks.
	same(t, kinds(appendMarks(t, b, mark("m1", "d2", 1))), " refused")
	var got []string
	for _, m := range marksOf(t, b, "e1") {
		got = append(got, fmt.Sprintf("%s=%s/%d", m.ID, m.Device, m.Seq))
	}
	same(t, got, []string{"m1=d1/1", "m2=d1/2", "m3=d2/1"})
}

func since(t *testing.T, b Base) {
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
	for i := range int64(6) {
		m := mark(rankwright.MarkID(fmt.Sprint("m", 9-i)), "d1", 9-i) // ids and numbers fall
		if i == 2 {
			m.Entry, m.Grading = "e3", ""
		}
		m.Received = store.Moment(100 - i) // and so does the server's own clock
		appendMarks(t, b, m)
	}
	arrivals := func(after int64, limit int) (got []int64) {
		for _, m := range read(t, b, func(tx *store.Tx) ([]store.MarkRow, error) { return tx.MarksSince(grading, after, limit) }) {
			got = append(got, m.Arrival)
		}
		return got
	}
	same(t, arrivals(0, 100), []int64{1, 2, 4, 5, 6})
	same(t, arrivals(2, 2), []int64{4, 5})
	same(t, arrivals(6, 100), nil)
	same(t, marksOf(t, b, "e3")[0].Grading, "g2")
	for g, want := range map[rankwright.GradingID]int64{grading: 9, "g2": 7, "g404": 0} {
		same(t, read(t, b, func(tx *store.Tx) (int64, error) { return tx.MaxClock(g) }), want)
	}
	latest := func(g rankwright.GradingID) []store.LatestMark {
		return read(t, b, func(tx *store.Tx) ([]store.LatestMark, error) { return tx.LatestMarks(g) })
	}
	of := func(e rankwright.EntryID) rankwright.RequirementID { return marksOf(t, b, e)[0].Requirement }
	same(t, latest("g2"), []store.LatestMark{{Entry: "e3", Requirement: of("e3"), At: 98}})
	same(t, latest(grading), []store.LatestMark{{Entry: "e1", Requirement: of("e1"), At: 100}})
	same(t, latest("g404"), nil)
}

func immutable(t *testing.T, b Base) {
	fill(t, b)
	appendMarks(t, b, mark("m1", "d1", 1))
	before := marksOf(t, b, "e1")
	keeps(t, b, `UPDATE marks SET note = 'x'`, `UPDATE marks SET arrival = 9`, `DELETE FROM marks`,
		`DELETE FROM entries WHERE id = 'e1'`, `DELETE FROM gradings`, `DELETE FROM students WHERE id = 's1'`,
		`UPDATE entries SET id = 'e9' WHERE id = 'e1'`)
	same(t, marksOf(t, b, "e1"), before)
}
