package decide_test

import (
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// marked gives every requirement of a rank a mark by each examiner; short
// names the ones that fall short.
func marked(k *syllabus.Rank, band int, short map[rankwright.RequirementID]int, examiners ...rankwright.ExaminerID) []scoring.Mark {
	var out []scoring.Mark
	for i := range k.Requirements {
		q := &k.Requirements[i]
		v := scoring.Value{Sort: scoring.Number, Num: q.Expected(band)}
		if n, ok := short[q.ID]; ok {
			v = scoring.N(n)
		}
		for _, e := range examiners {
			out = append(out, scoring.Mark{Requirement: q.ID, Examiner: e, Value: v})
		}
	}
	return out
}

// BenchmarkDecide judges an entry of 35 requirements whose card is in memory.
func BenchmarkDecide(b *testing.B) {
	s := load(b, "otterlight.yaml")
	j := judge(b, s, "indigo")
	band := s.Band(12)
	for _, c := range []struct {
		name      string
		short     map[rankwright.RequirementID]int
		examiners []rankwright.ExaminerID
	}{
		{"promoted, one examiner", nil, []rankwright.ExaminerID{"lead"}},
		{"promoted, three examiners", nil, []rankwright.ExaminerID{"a", "b", "lead"}},
		{"not yet, one examiner", map[rankwright.RequirementID]int{"IN-BF1": 1, "IN-KI1": 0, "IN-KI2": 2}, []rankwright.ExaminerID{"lead"}},
		{"not yet, three examiners", map[rankwright.RequirementID]int{"IN-BF1": 1, "IN-KI1": 0, "IN-KI2": 2}, []rankwright.ExaminerID{"a", "b", "lead"}},
	} {
		b.Run(c.name, func(b *testing.B) {
			cs := decide.Case{Entry: "e", Day: rankwright.MustDay("2026-10-10"), Band: band, Lead: "lead",
				Card: j.Fold(marked(j.Rank(), band, c.short, c.examiners...)), Met: []rankwright.ClearanceID{"consent", "home_note"}}
			b.ReportAllocs()
			for b.Loop() {
				j.Decide(cs)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "entries/s")
		})
	}
}
