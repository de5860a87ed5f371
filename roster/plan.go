package roster

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

// Status says what an import would do with a row.
type Status uint8

// The statuses. A doubtful row has a Question; a row that was answered with
// "leave it out" is LeftOut.
const (
	New Status = iota + 1
	Changed
	Same
	Doubtful
	Refused
	LeftOut
)

func (s Status) String() string {
	return [...]string{"", "new", "changed", "same", "doubtful", "refused", "left out"}[s]
}

// Good says whether Apply takes a row of this status.
func (s Status) Good() bool { return s == New || s == Changed || s == Same }

// School is what the rows are checked against.
type School struct {
	// Ladders names the ranks. Where it is empty, ladders and ranks are taken
	// as they are written.
	Ladders []Ladder
	// UsedIDs are ids that no new student may get: those of people who have
	// left or were erased.
	UsedIDs []rankwright.StudentID
}

// Ladder names a ladder and its ranks from the lowest to the highest.
type Ladder struct {
	ID    rankwright.LadderID
	Names []string
	Ranks []RankName
}

// RankName is a rank and the names under which tables may write it: its name
// in each language, its belt colour. The first one is used in sentences.
type RankName struct {
	ID    rankwright.RankID
	Names []string
}

// Answers holds a person's answers to the questions of an earlier plan: the
// question's id and the chosen value.
type Answers map[string]string

// Question is something that only a person can decide.
type Question struct {
	ID      string
	Where   rankwright.Place
	Ask     string
	Choices []Choice
}

// Choice is one answer, with what it would mean.
type Choice struct {
	Value, Label string
}

// Change is one field before and after.
type Change struct {
	Field         Field
	Before, After string
}

// PlanRow is one row and what would become of it.
type PlanRow struct {
	Line   int
	Status Status
	// Student is the record as it would be. Its household may still be empty:
	// Apply fills it in.
	Student Student
	// Was is the record in the roster, if the row belongs to one.
	Was     *Student
	Changes []Change
	// Faults says why the row is doubtful or refused, by column.
	Faults rankwright.Faults
	// Remarks are worth reading and stop nothing.
	Remarks  []string
	Question *Question
}

// ImportPlan says what an import would do. Nothing has happened yet.
type ImportPlan struct {
	File string
	Rows []PlanRow
	// Questions concern whole columns; those of single rows are with the row.
	Questions []Question
	// Faults stand in the way of reading the table at all; then there are no
	// rows.
	Faults rankwright.Faults
	// Notes say how the table was read.
	Notes []string
	// NotInFile are the students whom no row names. They stay as they are.
	NotInFile []rankwright.StudentID
	// Mapping is the one to keep for next time: with the orders and the rule
	// for names that were found or answered.
	Mapping Mapping
}

// Count says how many rows have a status.
func (p ImportPlan) Count(s Status) int {
	n := 0
	for _, r := range p.Rows {
		if r.Status == s {
			n++
		}
	}
	return n
}

// Problems lists every fault in the order of the file.
func (p ImportPlan) Problems() rankwright.Faults {
	out := slices.Clone(p.Faults)
	for _, r := range p.Rows {
		out = append(out, r.Faults...)
	}
	return out
}

// Summary is the plan in one sentence.
func (p ImportPlan) Summary() string {
	var parts []string
	for s := New; s <= LeftOut; s++ {
		if n := p.Count(s); n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, s))
		}
	}
	if n := len(p.NotInFile); n > 0 {
		parts = append(parts, fmt.Sprintf("%d not in the file", n))
	}
	if len(parts) == 0 {
		return "nothing to read"
	}
	return listOf(parts)
}

const (
	redo  = "correct it in the spreadsheet and choose the file again"
	addIt = "add it in the spreadsheet and choose the file again"
)

// importing is the state of one Plan.
type importing struct {
	current []Student
	table   Table
	head    Row
	body    []Row
	mapping Mapping
	school  School
	answers Answers
	today   rankwright.Day

	at    map[Field][]int
	dates map[Field]*dateColumn
	names NameRule
	plan  ImportPlan
}

// Plan compares a table with the roster as of today and says, row by row,
// what an import would do and why. It changes nothing, and the same input
// gives the same plan. An empty cell changes nothing in a record, and a
// student whom the table lacks is listed and never removed.
//
// Rows are matched by student id, else by name and birth date together.
func Plan(current []Student, t Table, m Mapping, school School, answers Answers, today rankwright.Day) ImportPlan {
	im := &importing{current: copyOf(current), table: t, mapping: m, school: school, answers: answers, today: today,
		dates: map[Field]*dateColumn{}}
	im.plan.File = t.File
	im.head, im.body = t.Head()
	if len(t.Rows) == 0 || len(im.body) == 0 {
		f := rankwright.Faultf(rankwright.Invalid, "empty", "choose the file with the students", "the file has no rows below its headings")
		f.Where.File = t.File
		im.plan.Faults = rankwright.Faults{f}
		return im.plan
	}
	if im.at, im.plan.Faults = m.fit(t, im.head); len(im.plan.Faults) > 0 {
		return im.plan
	}
	im.readColumns()
	drafts := make([]*draft, len(im.body))
	for i := range im.body {
		drafts[i] = im.person(i)
	}
	im.match(drafts)
	for _, d := range drafts {
		im.complete(d)
	}
	im.findDoubles(drafts)
	im.finish(drafts)
	return im.plan
}

// copyOf keeps the plan apart from what becomes of the roster later.
func copyOf(students []Student) []Student {
	out := slices.Clone(students)
	for i := range out {
		out[i].Guardians = slices.Clone(out[i].Guardians)
	}
	return out
}

// readColumns decides what concerns whole columns.
func (im *importing) readColumns() {
	keep := im.mapping
	keep.DateOrder = map[Field]Order{}
	for f, o := range im.mapping.DateOrder {
		keep.DateOrder[f] = o
	}
	for _, f := range []Field{BirthDateField, RankSinceField} {
		if len(im.at[f]) == 0 {
			continue
		}
		dc := im.decide(f, im.at[f][0])
		im.dates[f] = dc
		im.plan.Notes = append(im.plan.Notes, dc.notes(func(i int) int { return im.body[i].Line })...)
		if dc.question != nil {
			im.plan.Questions = append(im.plan.Questions, *dc.question)
		}
		if dc.order != UnknownOrder {
			keep.DateOrder[f] = dc.order
		}
	}
	if cols := im.at[FullNameField]; len(cols) > 0 {
		im.askNames(cols[0])
		keep.NameRule = im.names
	}
	im.plan.Mapping = keep
}

// finish turns the drafts into the rows of the plan.
func (im *importing) finish(drafts []*draft) {
	used := map[rankwright.StudentID]bool{}
	named := map[rankwright.StudentID]bool{}
	for _, s := range im.current {
		used[s.ID] = true
	}
	for _, id := range im.school.UsedIDs {
		used[id] = true
	}
	for _, d := range drafts {
		used[d.given.ID] = true
		if d.was != nil {
			named[d.was.ID] = true
		}
		for _, c := range d.candidates {
			named[c.ID] = true
		}
	}
	next := 1
	for _, d := range drafts {
		row := im.judge(d)
		if row.Status == New && row.Student.ID == "" {
			for used[newID(next)] {
				next++
			}
			row.Student.ID = newID(next)
			used[row.Student.ID] = true
		}
		im.plan.Rows = append(im.plan.Rows, row)
	}
	for _, s := range im.current {
		if !named[s.ID] {
			im.plan.NotInFile = append(im.plan.NotInFile, s.ID)
		}
	}
	im.remarkOnDates()
}

func newID(n int) rankwright.StudentID {
	return rankwright.StudentID(fmt.Sprintf("s%04d", n))
}

// judge weighs a draft's problems and the answer that was given for its row.
func (im *importing) judge(d *draft) PlanRow {
	row := PlanRow{Line: d.row.Line, Student: d.student, Was: d.was, Remarks: d.remarks}
	slices.SortStableFunc(d.problems, func(a, b problem) int { return a.col - b.col })
	worst := fine
	for _, p := range d.problems {
		worst = max(worst, p.weight)
	}
	id := rowQuestion(d.row.Line)
	answer := im.answers[id]
	switch {
	case answer == "skip":
		row.Status = LeftOut
		return row
	case d.repeats > 0:
		row.Status, row.Was = Same, nil
		row.Remarks = []string{fmt.Sprintf("repeats line %d", d.repeats)}
		return row
	case worst == refusal:
		row.Status = Refused
	case worst == waiting:
		row.Status = Doubtful
	case worst == doubt && !d.settled(answer):
		row.Status = Doubtful
		row.Question = d.question(im, id)
	default:
		d.problems = nil
	}
	for _, p := range d.problems {
		row.Faults = append(row.Faults, p.fault)
	}
	if row.Status != 0 {
		return row
	}
	switch {
	case d.was == nil:
		row.Status = New
	default:
		row.Changes = changes(*d.was, d.student)
		row.Status = Same
		if len(row.Changes) > 0 {
			row.Status = Changed
		}
	}
	return row
}

func rowQuestion(line int) string { return "row " + strconv.Itoa(line) }

// settled says whether the answer given for a doubtful row decides it.
func (d *draft) settled(answer string) bool {
	if len(d.candidates) == 0 {
		return answer == "accept" || answer == "new" || strings.HasPrefix(answer, "is ")
	}
	return false
}

func (d *draft) question(im *importing, id string) *Question {
	q := &Question{ID: id, Where: im.table.place(d.row, im.head, -1), Ask: "What shall be done with " + d.title() + "?"}
	for _, c := range d.candidates {
		q.Choices = append(q.Choices, Choice{"is " + string(c.ID),
			"this is " + inRoster(*c) + " of the roster"})
	}
	switch {
	case len(d.candidates) > 0 && d.student.BirthDate.IsZero():
	case len(d.candidates) > 0:
		q.Choices = append(q.Choices, Choice{"new", "this is somebody new"})
	default:
		q.Choices = append(q.Choices, Choice{"accept", "take the row as it stands"})
	}
	q.Choices = append(q.Choices, Choice{"skip", "leave the row out"})
	return q
}

// inRoster names a student so that nobody else is meant: name, id, birth date.
func inRoster(s Student) string {
	if s.BirthDate.IsZero() {
		return fmt.Sprintf("%s (%s)", s.FullName(), s.ID)
	}
	return fmt.Sprintf("%s (%s, born %s)", s.FullName(), s.ID, short(s.BirthDate))
}

func bornOn(d rankwright.Day) string {
	if d.IsZero() {
		return ""
	}
	return " (born " + short(d) + ")"
}

// remarkOnDates counts the new students whose time in rank cannot be counted.
func (im *importing) remarkOnDates() {
	n := 0
	for _, r := range im.plan.Rows {
		if r.Status == New && r.Student.RankSince.IsZero() {
			n++
		}
	}
	switch {
	case n == 1:
		im.plan.Notes = append(im.plan.Notes, "1 new student has no date since when the rank is held; time in rank cannot be counted until it is filled in")
	case n > 1:
		im.plan.Notes = append(im.plan.Notes, fmt.Sprintf("%d new students have no date since when the rank is held; time in rank cannot be counted until it is filled in", n))
	}
}
