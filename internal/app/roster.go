package app

import (
	"context"
	"encoding/json"
	"slices"

	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
	"rankwright/roster/table"
)

// Students lists the roster by family name, then given name.
func (a *App) Students(ctx context.Context, who Actor) (out []roster.Student, err error) {
	err = a.see(ctx, who, SeeRoster, on{kind: "roster"}, func(tx *store.Tx) error {
		out, err = students(tx)
		return err
	})
	byName(out)
	return out, err
}

// students reads the roster without what only the store needs.
func students(tx *store.Tx) ([]roster.Student, error) {
	records, err := tx.Students()
	out := make([]roster.Student, len(records))
	for i := range records {
		out[i] = records[i].Student
	}
	return out, err
}

// student reads one student; somebody erased is not found.
func student(tx *store.Tx, id rankwright.StudentID) (roster.Student, error) {
	r, err := tx.Student(id)
	if err == nil && r.Erased != 0 {
		err = rankwright.Faultf(rankwright.NotFound, "erased", "go back to the roster", "this student was erased")
	}
	return r.Student, err
}

func byName(list []roster.Student) {
	c := collate.New(language.Und)
	slices.SortStableFunc(list, func(x, y roster.Student) int {
		if d := c.CompareString(x.FamilyName, y.FamilyName); d != 0 {
			return d
		}
		return c.CompareString(x.GivenName, y.GivenName)
	})
}

// byText sorts by a text as people expect it, whatever the letters.
func byText[T any](list []T, text func(T) string) {
	c := collate.New(language.Und)
	slices.SortStableFunc(list, func(x, y T) int { return c.CompareString(text(x), text(y)) })
}

// StudentView is a student with household, entries and promotions.
type StudentView struct {
	roster.Student
	Siblings []roster.Student
	Ledger   []store.LedgerLine
	Entries  []StudentEntry // the latest grading first
}

// StudentEntry is an entry with its grading. Outcome is what stands, for those
// who may see outcomes, once the grading is signed.
type StudentEntry struct {
	store.Entry
	Grading store.Grading
	Outcome string
}

// Student returns one student.
func (a *App) Student(ctx context.Context, who Actor, id rankwright.StudentID) (v StudentView, err error) {
	err = a.see(ctx, who, SeeRoster, on{kind: "student", id: string(id)}, func(tx *store.Tx) error {
		if v.Student, err = student(tx, id); err != nil {
			return err
		}
		all, err := students(tx)
		if err != nil {
			return err
		}
		for _, s := range all {
			if s.Household != "" && s.Household == v.Household && s.ID != id {
				v.Siblings = append(v.Siblings, s)
			}
		}
		if v.Ledger, err = tx.LedgerOf(id); err != nil {
			return err
		}
		v.Entries, err = entriesOf(tx, who, id)
		return err
	})
	return v, err
}

func entriesOf(tx *store.Tx, who Actor, id rankwright.StudentID) (out []StudentEntry, err error) {
	entries, err := tx.EntriesOf(id)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		x := StudentEntry{Entry: e}
		if x.Grading, err = tx.Grading(e.Grading); err != nil {
			return nil, err
		}
		if State(x.Grading.State) == Closed && who.Role.May(SeeOutcomes) {
			d, err := tx.Decision(e.ID)
			if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
				return nil, err
			}
			x.Outcome = d.Outcome
		}
		out = append(out, x)
	}
	slices.SortStableFunc(out, func(x, y StudentEntry) int { return int(y.Grading.Day - x.Grading.Day) })
	return out, nil
}

// Import is a table that somebody chose, with what they answered so far.
type Import struct {
	File    string
	Data    []byte
	Options table.Options
	Mapping *roster.Mapping // the person's own, nil to recognise or recall one
	Answers roster.Answers
	// Columns are the meanings that the person chose for the headings with
	// this fingerprint, from left to right; with other headings they are
	// passed over.
	Columns  []roster.Field
	Headings string
}

// Preview is what an import would do. Nothing has happened yet.
type Preview struct {
	Read     table.Result
	Recalled bool // the mapping is one that was used before
	// Mapping has one column for each heading, in their order.
	Mapping roster.Mapping
	Plan    roster.ImportPlan
}

// PreviewImport reads a table and says row by row what it would change.
func (a *App) PreviewImport(ctx context.Context, who Actor, im Import) (p Preview, err error) {
	err = a.see(ctx, who, EditRoster, on{kind: "roster"}, func(tx *store.Tx) error {
		p, _, err = a.plan(tx, im)
		return err
	})
	return p, err
}

func (a *App) plan(tx *store.Tx, im Import) (p Preview, current []roster.Student, err error) {
	im.Options.File = im.File
	if p.Read, err = table.Read(im.Data, im.Options); err != nil {
		return p, nil, err
	}
	if current, err = students(tx); err != nil {
		return p, nil, err
	}
	var m roster.Mapping
	head, _ := p.Read.Table.Head()
	if im.Mapping != nil {
		m = *im.Mapping
	} else {
		var saved []roster.Mapping
		text, ok, err := tx.Mapping(roster.Fingerprint(head))
		if err != nil {
			return p, nil, err
		}
		if ok {
			var one roster.Mapping
			if json.Unmarshal([]byte(text), &one) == nil {
				saved = append(saved, one)
			}
		}
		m, p.Recalled = roster.Choose(p.Read.Table, saved)
		m = inOrder(m, head)
	}
	if im.Headings == roster.Fingerprint(head) && len(im.Columns) == len(m.Columns) {
		m = choose(m, im.Columns)
	}
	p.Mapping = m
	school, err := a.school(tx)
	if err != nil {
		return p, nil, err
	}
	p.Plan = roster.Plan(current, p.Read.Table, m, school, im.Answers, a.Today())
	return p, current, nil
}

// inOrder returns the mapping with its columns in the order of the headings.
func inOrder(m roster.Mapping, head roster.Row) roster.Mapping {
	left := slices.Clone(m.Columns)
	m.Columns = make([]roster.Column, len(head.Cells))
	for i, c := range head.Cells {
		m.Columns[i].Heading = c.Text
		at := slices.IndexFunc(left, func(x roster.Column) bool { return roster.Fold(x.Heading) == roster.Fold(c.Text) })
		if at >= 0 {
			m.Columns[i] = left[at]
			left = slices.Delete(left, at, at+1)
		}
	}
	return m
}

// choose gives the columns other meanings. What was kept of a field's dates is
// forgotten where another column has it now.
func choose(m roster.Mapping, fields []roster.Field) roster.Mapping {
	order := map[roster.Field]roster.Order{}
	for f, o := range m.DateOrder {
		order[f] = o
	}
	for i, f := range fields {
		if m.Columns[i].Field != f {
			delete(order, f)
			m = m.With(i, f)
		}
	}
	m.DateOrder = order
	return m
}

// school is what rows of a table are checked against: every published ladder,
// or the drafts where nothing is published yet.
func (a *App) school(tx *store.Tx) (roster.School, error) {
	var out roster.School
	all, err := a.current(tx)
	if err != nil {
		return out, err
	}
	for _, s := range all {
		lad := roster.Ladder{ID: s.Ladder, Names: []string{s.Name, string(s.Ladder)}}
		for _, k := range s.Ranks {
			names := []string{k.Name, string(k.ID)}
			if k.Belt.Colour != "" {
				names = append(names, k.Belt.Colour)
			}
			lad.Ranks = append(lad.Ranks, roster.RankName{ID: k.ID, Names: names})
		}
		out.Ladders = append(out.Ladders, lad)
	}
	out.UsedIDs, err = tx.UsedStudentIDs()
	return out, err
}

// ApplyImport does what the preview of the same import said. With onlyGood
// the rows that are new, changed or the same are taken and the others left;
// without, one bad row stops it all.
func (a *App) ApplyImport(ctx context.Context, who Actor, im Import, onlyGood bool) (p Preview, err error) {
	err = a.do(ctx, who, EditRoster, on{kind: "roster"}, func(tx *store.Tx) (any, error) {
		var current []roster.Student
		if p, current, err = a.plan(tx, im); err != nil {
			return nil, err
		}
		if len(p.Plan.Faults) > 0 {
			return nil, p.Plan.Faults
		}
		next, err := roster.Apply(p.Plan, current, onlyGood)
		if err != nil {
			return nil, err
		}
		if err := tx.PutStudents(changed(current, next), a.moment()); err != nil {
			return nil, err
		}
		text, err := json.Marshal(p.Plan.Mapping)
		if err != nil {
			return nil, err
		}
		if err := tx.PutMapping(p.Plan.Mapping.Fingerprint, string(text)); err != nil {
			return nil, err
		}
		return map[string]int{"new": p.Plan.Count(roster.New), "changed": p.Plan.Count(roster.Changed), "refused": p.Plan.Count(roster.Refused)}, nil
	})
	return p, err
}

// changed returns the records of next that are not in current as they are.
func changed(current, next []roster.Student) []roster.Student {
	was := map[rankwright.StudentID]roster.Student{}
	for _, s := range current {
		was[s.ID] = s
	}
	var out []roster.Student
	for _, s := range next {
		if old, ok := was[s.ID]; !ok || !old.Equal(s) {
			out = append(out, s)
		}
	}
	return out
}

// EraseStudent takes a person's name, birth date, contacts and notes out of
// the base for good. Anonymous marks and the count in the ledger stay.
func (a *App) EraseStudent(ctx context.Context, who Actor, id rankwright.StudentID) error {
	err := a.do(ctx, who, EraseStudent, on{kind: "student", id: string(id)}, func(tx *store.Tx) (any, error) {
		return nil, tx.EraseStudent(id, a.moment())
	})
	if err != nil {
		return err
	}
	// Until the log is folded in, it still holds what was erased.
	err = a.st.Checkpoint(ctx)
	if rankwright.KindOf(err) == rankwright.Conflict {
		return rankwright.Faultf(rankwright.Conflict, "erased_busy", "send the form once more in a minute, so that the last traces go too",
			"the student is erased, but somebody was reading at that moment and traces are still on the disk")
	}
	return err
}

// Export gives out everything that is kept about one student.
type Export struct {
	Student    roster.Student          `json:"student"`
	Entries    []store.Entry           `json:"entries"`
	Marks      []store.MarkRow         `json:"marks"`
	Clearances []store.ClearanceRecord `json:"clearances"`
	Decisions  []ExportedDecision      `json:"decisions"`
	Ledger     []store.LedgerLine      `json:"ledger"`
	HandedOut  []store.HandedOut       `json:"handed_out"` // belts and shirts
	Signatures []store.Signature       `json:"signatures"`
	Asked      []store.FamilyMessage   `json:"asked"`    // by the household at the child's gradings, with the answers
	Notes      []store.FamilyNote      `json:"notes"`    // of the household, beside its wishes for times
	Messages   []store.Message         `json:"messages"` // that were sent or handed to the household
	OffTheDoor bool                    `json:"off_the_door"`
}

// ExportedDecision is a decision with its verdict as it can be read.
type ExportedDecision struct {
	store.Decision
	Verdict json.RawMessage
}

// ExportStudent collects what is kept about one student, marks and outcomes
// among it: it is for those who may see outcomes.
func (a *App) ExportStudent(ctx context.Context, who Actor, id rankwright.StudentID) (e Export, err error) {
	err = a.see(ctx, who, SeeOutcomes, on{kind: "student", id: string(id)}, func(tx *store.Tx) error {
		if e.Student, err = student(tx, id); err != nil {
			return err
		}
		if e.Entries, err = tx.EntriesOf(id); err != nil {
			return err
		}
		for _, en := range e.Entries {
			marks, err := tx.MarksOf(en.ID)
			if err != nil {
				return err
			}
			if marks, err = a.unsealed(tx, en, marks, who); err != nil {
				return err
			}
			e.Marks = append(e.Marks, marks...)
			cl, err := tx.ClearancesOf(en.ID)
			if err != nil {
				return err
			}
			e.Clearances = append(e.Clearances, cl...)
			handed, err := tx.HandedOutOf(en.ID)
			if err != nil {
				return err
			}
			e.HandedOut = append(e.HandedOut, handed...)
			d, err := tx.Decision(en.ID)
			if err == nil {
				x := ExportedDecision{Decision: d, Verdict: d.Verdict}
				if len(d.Verdict) == 0 {
					x.Verdict = json.RawMessage("null")
				}
				e.Decisions = append(e.Decisions, x)
			} else if rankwright.KindOf(err) != rankwright.NotFound {
				return err
			}
		}
		if err := familyExport(tx, who, &e); err != nil {
			return err
		}
		e.Ledger, err = tx.LedgerOf(id)
		return err
	})
	return e, err
}
