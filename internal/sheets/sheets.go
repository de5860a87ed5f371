// Package sheets words what is printed beforehand, so that an examination goes
// on without a device: run sheets for whoever leads a rank round the stations,
// and score tables to mark by hand. Where everything stands on the paper,
// package paper knows.
package sheets

import (
	"slices"
	"strconv"
	"strings"

	"rankwright"
	"rankwright/internal/paper"
	"rankwright/syllabus"
)

// Head is what stands over and under every sheet of a grading.
type Head struct {
	Title  string // of the grading
	Day    rankwright.Day
	School string // "" prints none
	// Cautions are printed in a frame before the list of a run sheet.
	Cautions string
}

// A Child is one line of a run sheet, or one column of a score table.
type Child struct {
	Given, Family string
	Squad         int      // 0 is none yet
	Missing       []string // names of clearances that are not met
	// Waived are not asked of this child.
	Waived []rankwright.RequirementID
	// Close and CloseIn are requirements and sections that were not yet there
	// last time, for whoever examines now. A score table names the child there.
	Close   []rankwright.RequirementID
	CloseIn []rankwright.SectionID
}

// Name is the whole name.
func (c Child) Name() string { return strings.TrimSpace(c.Given + " " + c.Family) }

// PerTable is how many children stand side by side on a score table: with
// more, a name is cut into pieces.
const PerTable = 8

// penHigh is how high a row is that is written into, in millimetres.
const penHigh = 11

// Belt is the belt of a rank as paper draws it.
func Belt(k *syllabus.Rank) paper.Belt { return paper.Belt{Base: k.Belt.Hex, Tip: k.Belt.TipHex} }

func (h Head) foot() string { return strings.Trim(h.School+" – "+h.Title, " –") }

func (h Head) under() string { return h.Title + ", " + h.Day.Long() }

// Run is the run sheet of a rank: who is here, what is still missing, and room
// for notes.
func Run(k *syllabus.Rank, h Head, list []Child) paper.Table {
	t := paper.Table{Form: &paper.Form{RowHeight: penHigh + 3, Belt: Belt(k)}, Title: "Run sheet: " + k.Name, Subtitle: h.under(), Footer: h.foot(), Note: h.Cautions,
		Columns: []paper.Column{{Head: "Squad", Share: 1.8}, {Head: "Name", Share: 4, Bold: true}, {Head: "Here", Share: 1.4}, {Head: "Still missing", Share: 3.4}, {Head: "Notes", Share: 6}}}
	for _, c := range list {
		squad := ""
		if c.Squad > 0 {
			squad = strconv.Itoa(c.Squad)
		}
		t.Rows = append(t.Rows, []string{squad, c.Name(), "", strings.Join(c.Missing, "\n"), ""})
	}
	return t
}

// Score is a blank score table of a rank for at most PerTable children:
// requirements down, children across. It is to be printed on its side.
func Score(s *syllabus.Syllabus, k *syllabus.Rank, h Head, list []Child) paper.Table {
	form := &paper.Form{RowHeight: penHigh, Belt: Belt(k), Legend: legend(k), Bands: map[int]string{}, Tall: map[int]float64{}}
	t := paper.Table{Form: form, Title: "Score table: " + k.Name, Subtitle: h.under() + ".  Examiner: ______________________________",
		Footer: h.foot(), Columns: []paper.Column{{Head: "Requirement", Share: 4.6}, {Head: "Mark", Share: 1.5}}}
	for _, c := range list {
		t.Columns = append(t.Columns, paper.Column{Head: short(c), Share: 1.5})
	}
	looks := false
	closely := func(is func(Child) bool) string {
		var names []string
		for _, c := range list {
			if is(c) {
				names = append(names, short(c))
			}
		}
		if len(names) == 0 {
			return ""
		}
		looks = true
		return "look closely: " + strings.Join(names, ", ")
	}
	var section rankwright.SectionID
	for i := range k.Requirements {
		r := &k.Requirements[i]
		row := []string{r.Show, mark(r)}
		if r.Must {
			row[0] += " (must)"
		}
		if at := closely(func(c Child) bool { return slices.Contains(c.Close, r.ID) }); at != "" {
			row[0] += "\n" + at
		}
		if r.Section != section {
			section = r.Section
			if x := s.Section(section); x != nil {
				form.Bands[i] = x.Name
				if at := closely(func(c Child) bool { return slices.Contains(c.CloseIn, section) }); at != "" {
					form.Bands[i] += "  –  " + at
				}
			}
		}
		if r.Tries > 1 {
			row[1] += ", " + strconv.Itoa(r.Tries) + " tries"
			form.Tall[i] = penHigh * float64(r.Tries)
		}
		for _, c := range list {
			cell := ""
			if slices.Contains(c.Waived, r.ID) {
				cell = "not asked"
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	if looks {
		form.Legend = append(form.Legend, "Look closely: not yet there last time. Mark what is shown today. This sheet is for examiners' eyes only.")
	}
	form.Tall[len(t.Rows)] = 2.5 * penHigh
	t.Rows = append(t.Rows, append([]string{"Notes", ""}, make([]string, len(list))...))
	return t
}

// Scores is Score for as many children as there are, in as many tables as that
// takes.
func Scores(s *syllabus.Syllabus, k *syllabus.Rank, h Head, list []Child) (out []paper.Table) {
	for part := range slices.Chunk(list, PerTable) {
		out = append(out, Score(s, k, h, part))
	}
	return out
}

// legend says what is written into the table of a rank, and what its levels
// mean.
func legend(k *syllabus.Rank) []string {
	var out []string
	var scales []*syllabus.Scale
	tick, must := false, false
	for i := range k.Requirements {
		r := &k.Requirements[i]
		tick, must = tick || r.Kind == syllabus.Tick, must || r.Must
		if r.Scale != nil && r.Kind == syllabus.Leveled && !slices.Contains(scales, r.Scale) {
			scales = append(scales, r.Scale)
		}
	}
	if tick {
		out = append(out, "1 shown, 0 not shown; leave a box empty where nothing was seen.")
	}
	for _, s := range scales {
		name := "Levels"
		if len(scales) > 1 && s.Name != "" {
			name = "Levels, " + s.Name
		}
		var levels []string
		for _, l := range s.Levels {
			levels = append(levels, strconv.Itoa(l.Value)+" "+l.Words)
		}
		out = append(out, name+": "+strings.Join(levels, "; ")+".")
	}
	if must {
		out = append(out, "Must: no total makes up for it.")
	}
	return out
}

// short is a name for the head of a narrow column.
func short(c Child) string {
	for _, r := range c.Family {
		return c.Given + " " + string(r) + "."
	}
	return c.Given
}

// mark says how a requirement is marked, as short as it can be told.
func mark(r *syllabus.Requirement) string {
	switch r.Kind {
	case syllabus.Tick:
		return "1 or 0"
	case syllabus.Leveled:
		l := r.Scale.Levels
		return strconv.Itoa(l[0].Value) + " to " + strconv.Itoa(l[len(l)-1].Value)
	case syllabus.Steps, syllabus.Recall:
		return "of " + strconv.Itoa(r.Of)
	case syllabus.Timed:
		return "seconds"
	case syllabus.Consent:
		return "yes / no"
	}
	if r.Of > 0 {
		return "of " + strconv.Itoa(r.Of)
	}
	return "how many"
}
