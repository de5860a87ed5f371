package scoring_test

import (
	"cmp"
	"flag"
	"os"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

var index = scoring.NewIndex(&syllabus.Rank{Requirements: []syllabus.Requirement{{ID: "bow"}, {ID: "kick"}, {ID: "fall"}}})

// draws makes marks of a few requirements, examiners and devices, so that
// many are about the same thing and many clocks are equal.
func draws(t *rapid.T) []scoring.Mark {
	n := rapid.IntRange(0, 12).Draw(t, "marks")
	out := make([]scoring.Mark, n)
	for i := range out {
		out[i] = scoring.Mark{
			ID:          rankwright.MarkID(rapid.SampledFrom([]string{"", "a", "b", "c"}).Draw(t, "id")),
			Device:      rankwright.DeviceID(rapid.SampledFrom([]string{"pad", "phone"}).Draw(t, "device")),
			Seq:         rapid.Int64Range(1, 3).Draw(t, "seq"),
			Clock:       rapid.Int64Range(0, 3).Draw(t, "clock"),
			Entry:       "e",
			Requirement: rankwright.RequirementID(rapid.SampledFrom([]string{"bow", "kick", "fall", "board"}).Draw(t, "requirement")),
			Examiner:    rankwright.ExaminerID(rapid.SampledFrom([]string{"ann", "ben"}).Draw(t, "examiner")),
			Try:         rapid.IntRange(0, 2).Draw(t, "try"),
			Value:       rapid.SampledFrom([]scoring.Value{{}, scoring.N(0), scoring.N(1), scoring.N(2), {Sort: scoring.Abstain}}).Draw(t, "value"),
			At:          rapid.Int64Range(0, 2).Draw(t, "at"),
			Note:        rapid.SampledFrom([]string{"", "n"}).Draw(t, "note"),
		}
	}
	return out
}

// TestMain has each property tried 3000 times, or RANKWRIGHT_CASES times,
// unless told otherwise.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		if err := f.Value.Set(cmp.Or(os.Getenv("RANKWRIGHT_CASES"), "3000")); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// Order, repetition and batches change nothing, whatever is alike.
func TestTheFoldIsAFunctionOfTheSetOfMarks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		marks := draws(t)
		kept := slices.Clone(marks)
		want := index.Fold(marks)
		if !slices.Equal(marks, kept) {
			t.Fatal("the marks were changed")
		}
		for i := rapid.IntRange(0, 3).Draw(t, "repeats"); i > 0 && len(kept) > 0; i-- {
			marks = append(marks, kept[rapid.IntRange(0, len(kept)-1).Draw(t, "repeated")])
		}
		if got := index.Fold(rapid.Permutation(marks).Draw(t, "order")); !reflect.DeepEqual(got, want) {
			t.Fatalf("became %+v, was %+v", got, want)
		}
	})
}

// A fold of the log so far, then of all of it: the card at the end does not
// depend on what was folded before. A correction keeps both marks in the log.
func TestACorrectionCountsAndTheLogKeepsBoth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := draws(t)
		before := index.Fold(log)
		m := scoring.Mark{ID: "new", Device: "pad", Seq: 9, Clock: 99, Entry: "e", Requirement: "kick", Examiner: "ann", Try: 1, Value: scoring.N(1)}
		was := seenBy(before, 1, "ann", 1)
		log = append(log, m)
		after := index.Fold(log)
		if now := seenBy(after, 1, "ann", 1); now == nil || now.Mark != "new" {
			t.Fatalf("the later mark does not count: %+v", now)
		}
		if was != nil && after.Corrected != before.Corrected+1 {
			t.Fatalf("%d corrections after one more, %d before", after.Corrected, before.Corrected)
		}
		if !slices.Contains(log, m) || len(log) == 0 {
			t.Fatal("the log lost a mark")
		}
		for i := range after.Seen {
			if i != 1 && !reflect.DeepEqual(after.Seen[i], before.Seen[i]) {
				t.Fatalf("another requirement changed: %+v", after.Seen[i])
			}
		}
	})
}

func seenBy(c *scoring.Card, place int, e rankwright.ExaminerID, try int) *scoring.Seen {
	for i, s := range c.Seen[place] {
		if s.Examiner == e && s.Try == try {
			return &c.Seen[place][i]
		}
	}
	return nil
}

// The devices' own clocks may be anything, also where two devices came to the
// same logical clock without hearing of each other.
func TestWrongDeviceClocksChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		marks := draws(t)
		want := index.Fold(marks)
		for i := range marks {
			marks[i].At = rapid.Int64().Draw(t, "wrong time")
		}
		if got := index.Fold(marks); !reflect.DeepEqual(got.Seen, want.Seen) {
			t.Fatalf("became %+v, was %+v", got.Seen, want.Seen)
		}
	})
}

// Marks that are alike in everything else are told apart by whatever is left,
// the same way in either order.
func TestEveryFieldOrders(t *testing.T) {
	base := scoring.Mark{ID: "m", Device: "pad", Seq: 5, Clock: 5, Entry: "e", Requirement: "kick", Examiner: "ann", Try: 1, Value: scoring.N(5), At: 5, Note: "m"}
	for field, counts := range map[string]struct {
		other func(m *scoring.Mark)
		wins  bool
	}{
		"a later clock":      {func(m *scoring.Mark) { m.Clock++ }, true},
		"an earlier clock":   {func(m *scoring.Mark) { m.Clock-- }, false},
		"a later time":       {func(m *scoring.Mark) { m.At++ }, true},
		"a device after it":  {func(m *scoring.Mark) { m.Device = "phone" }, true},
		"a later number":     {func(m *scoring.Mark) { m.Seq++ }, true},
		"an earlier number":  {func(m *scoring.Mark) { m.Seq-- }, false},
		"an id after it":     {func(m *scoring.Mark) { m.ID = "n" }, true},
		"not seen":           {func(m *scoring.Mark) { m.Value = scoring.Value{} }, true},
		"a smaller value":    {func(m *scoring.Mark) { m.Value = scoring.N(4) }, true},
		"a larger value":     {func(m *scoring.Mark) { m.Value = scoring.N(6) }, false},
		"a note after it":    {func(m *scoring.Mark) { m.Note = "n" }, true},
		"a note ahead of it": {func(m *scoring.Mark) { m.Note = "l" }, false},
	} {
		other := base
		counts.other(&other)
		want := base
		if counts.wins {
			want = other
		}
		for _, marks := range [][]scoring.Mark{{base, other}, {other, base}} {
			c := index.Fold(marks)
			got := seenBy(c, 1, "ann", 1)
			gone := want.Value.Sort == scoring.NotSeen
			if c.Corrected != 1 || (got == nil) != gone || !gone && (got.Mark != want.ID || got.Value != want.Value || got.Note != want.Note) {
				t.Errorf("%s: %+v counts, %d corrected", field, got, c.Corrected)
			}
		}
	}
}

func TestATryWithoutANumberIsTheFirst(t *testing.T) {
	alone := index.Fold([]scoring.Mark{{Requirement: "kick", Examiner: "ann", Clock: 1, Value: scoring.N(1)}})
	if got := alone.Seen[1]; len(got) != 1 || got[0].Try != 1 {
		t.Errorf("alone it is %+v", got)
	}
	c := index.Fold([]scoring.Mark{
		{Requirement: "kick", Examiner: "ann", Clock: 1, Value: scoring.N(1)},
		{Requirement: "kick", Examiner: "ann", Clock: 2, Try: 1, Value: scoring.N(2)},
	})
	if got := c.Seen[1]; len(got) != 1 || got[0].Value != scoring.N(2) || got[0].Try != 1 || c.Corrected != 1 {
		t.Errorf("the card has %+v, %d corrected", got, c.Corrected)
	}
}

func TestANoteAsksForASecondLook(t *testing.T) {
	for _, c := range []struct {
		note, why string
		asks      bool
	}{
		{"", "", false},
		{"Second look", "", true},
		{" second LOOK ", "", true},
		{"Needs a wider stance; Second look", "Needs a wider stance", true},
		{"Second look;; twice ; Second look", "twice", true},
		{"Second look at the stance", "Second look at the stance", false},
		{"Lovely focus", "Lovely focus", false},
	} {
		s := scoring.Seen{Note: c.note}
		if asks, why := s.AsksSecondLook(); asks != c.asks || why != c.why {
			t.Errorf("%q: %v, %q", c.note, asks, why)
		}
	}
}

func BenchmarkFold(b *testing.B) {
	var marks []scoring.Mark
	k := &syllabus.Rank{}
	for i := range 35 {
		id := rankwright.RequirementID([]byte{'a' + byte(i%26), 'a' + byte(i/26)})
		k.Requirements = append(k.Requirements, syllabus.Requirement{ID: id})
		marks = append(marks, scoring.Mark{Requirement: id, Examiner: "ann", Clock: int64(i), Value: scoring.N(2)})
	}
	ix := scoring.NewIndex(k)
	b.ReportAllocs()
	for b.Loop() {
		ix.Fold(marks)
	}
}
