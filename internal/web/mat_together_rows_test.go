package web

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Whatever the ranks of a squad ask, each of their requirements is in the grid
// once for each of their children, in a row of its own words, and the rows of a
// rank stand in its own order. Ids are a rank's own: two may use one for other
// things.
func TestTheRowsOfRanksTogetherAreTheRowsOfEach(t *testing.T) {
	scales := []*syllabus.Scale{{ID: "move", Levels: []syllabus.Level{{Value: 0}, {Value: 1}, {Value: 2}}, Enough: 2}, nil}
	rapid.Check(t, func(r *rapid.T) {
		syl := &syllabus.Syllabus{Sections: []syllabus.Section{{ID: "a", Name: "A"}, {ID: "b", Name: "B"}, {ID: "c", Name: "C"}}}
		var parts []matSheet
		for n := range rapid.IntRange(2, 4).Draw(r, "ranks") {
			k := &syllabus.Rank{ID: rankwright.RankID(rune('p' + n)), Name: string(rune('P' + n))}
			for range rapid.IntRange(0, 7).Draw(r, "asked") {
				q := syllabus.Requirement{ID: rankwright.RequirementID("q" + string(rune('0'+len(k.Requirements)))), Tries: 1,
					Section: rapid.SampledFrom(syl.Sections).Draw(r, "section").ID, Show: rapid.SampledFrom([]string{"bow", "kick", "fall"}).Draw(r, "show"), Must: rapid.Bool().Draw(r, "must")}
				if q.Scale = rapid.SampledFrom(scales).Draw(r, "scale"); q.Scale != nil {
					q.Kind = syllabus.Leveled
					q.Expect = rankwright.Whole(rapid.IntRange(1, 2).Draw(r, "expect"))
				}
				k.Requirements = append(k.Requirements, q)
			}
			s := matSheet{May: true}
			s.Grading.Syllabus, s.Rank, s.Cards = syl, k, map[rankwright.EntryID]*scoring.Card{}
			for i := range rapid.IntRange(1, 3).Draw(r, "children") {
				var e app.EntryView
				e.Entry.ID = rankwright.EntryID(string(k.ID) + string(rune('A'+i)))
				s.Entries = append(s.Entries, e)
				s.names = append(s.names, string(e.Entry.ID))
				s.columns = append(s.columns, matColumn{Entry: e.Entry.ID, Name: string(e.Entry.ID)})
				s.Cards[e.Entry.ID] = &scoring.Card{Seen: make([][]scoring.Seen, len(k.Requirements))}
			}
			parts = append(parts, s)
		}
		list := matJoin("", parts)
		keys := map[string]bool{}
		for _, sec := range list {
			for _, row := range sec.Rows {
				if keys[row.Key] {
					r.Fatalf("two rows are called %q", row.Key)
				}
				keys[row.Key] = true
			}
		}
		from := 0
		for _, s := range parts {
			var got []rankwright.RequirementID // of the rank's first child, from top to bottom
			for _, sec := range list {
				for _, row := range sec.Rows {
					for j := range s.Entries {
						c := row.Cells[from+j]
						if c.None != row.Cells[from].None {
							r.Fatalf("%q is asked of some of %s only", row.Show, s.Rank.Name)
						}
						if c.None {
							continue
						}
						id := c.Q
						if id == "" {
							id = rankwright.RequirementID(row.Key)
						}
						q := s.Rank.Requirement(id)
						if q == nil || q.Section != sec.ID || q.Show != row.Show || q.Must != row.Must || q.Scale != row.Requirement.Scale || !strings.HasPrefix(c.Label, string(s.Entries[j].Entry.ID)+", "+q.Show) {
							r.Fatalf("the row %q of %s has %q for %s: %+v", row.Show, sec.ID, c.Label, id, q)
						}
						if j == 0 {
							got = append(got, id)
						}
					}
					if one := len(row.Ranks) == 0; one == slices.ContainsFunc(row.Cells, func(c matGridCell) bool { return c.None }) {
						r.Fatalf("%q names %q", row.Show, row.Ranks)
					}
				}
			}
			var want []rankwright.RequirementID // section by section, as the syllabus has them
			for _, sec := range syl.Sections {
				for _, q := range s.Rank.Requirements {
					if q.Section == sec.ID {
						want = append(want, q.ID)
					}
				}
			}
			if !slices.Equal(got, want) {
				r.Fatalf("%s is asked for %q, want %q", s.Rank.Name, got, want)
			}
			from += len(s.Entries)
		}
	})
}

// What two ranks ask in the same words is one row, and their own rows stand in
// the order in which they are called.
func TestWhatRanksShareIsOneRow(t *testing.T) {
	sheet := func(name string, shows ...string) matSheet {
		s := matSheet{May: true, names: []string{name}, columns: []matColumn{{Name: name}}}
		s.Grading.Syllabus = &syllabus.Syllabus{Sections: []syllabus.Section{{ID: "a"}}}
		s.Rank = &syllabus.Rank{ID: rankwright.RankID(name), Name: name}
		for _, show := range shows {
			s.Rank.Requirements = append(s.Rank.Requirements, syllabus.Requirement{ID: rankwright.RequirementID(name + " " + show), Section: "a", Show: show, Tries: 1})
		}
		s.Entries = make([]app.EntryView, 1)
		s.Cards = map[rankwright.EntryID]*scoring.Card{"": {Seen: make([][]scoring.Seen, len(shows))}}
		return s
	}
	for name, c := range map[string]struct {
		of   [][]string
		want string
	}{
		"nothing is shared": {[][]string{{"bow", "kick"}, {"fall"}}, "bow:Reed kick:Reed fall:Teal"},
		"all is shared":     {[][]string{{"bow", "kick"}, {"bow", "kick"}}, "bow: kick:"},
		"what comes before a shared one stands before it": {[][]string{{"bow", "kick"}, {"fall", "kick", "form"}}, "bow:Reed fall:Teal kick: form:Teal"},
		"another order takes a second row":                {[][]string{{"bow", "kick"}, {"kick", "bow"}}, "bow:Reed kick: bow:Teal"},
		"of three":                                        {[][]string{{"bow", "kick"}, {"bow", "fall"}, {"bow", "fall", "kick"}}, "bow: kick:Reed fall:Teal,Moss kick:Moss"},
	} {
		var parts []matSheet
		for i, shows := range c.of {
			parts = append(parts, sheet([]string{"Reed", "Teal", "Moss"}[i], shows...))
		}
		var got []string
		for _, row := range matJoin("", parts)[0].Rows {
			got = append(got, row.Show+":"+strings.Join(row.Ranks, ","))
		}
		if x := strings.Join(got, " "); x != c.want {
			t.Errorf("%s: %s, want %s", name, x, c.want)
		}
	}
}
