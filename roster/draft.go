package roster

import (
	"strings"
	"unicode/utf8"

	"rankwright"
)

// weight says how much a problem stops.
type weight uint8

const (
	fine weight = iota
	doubt
	waiting // for the answer to a question about the whole column
	refusal
)

type problem struct {
	col    int
	weight weight
	fault  *rankwright.Fault
}

// draft is a row on its way into the plan.
type draft struct {
	index int
	row   Row
	// given is what the row says; student is what the record would be.
	given   Student
	sure    bool // the name was not split by guess
	student Student
	was     *Student
	// candidates are the students this might be, where a person must choose.
	candidates []*Student
	repeats    int
	problems   []problem
	remarks    []string
}

func (d *draft) title() string {
	if n := d.given.FullName(); n != "" {
		return n
	}
	return "the student with id " + string(d.given.ID)
}

func (d *draft) add(im *importing, w weight, f Field, code, do, say string, args ...any) {
	col := -1
	if cols := im.at[f]; len(cols) > 0 {
		col = cols[0]
	} else if f == GivenNameField || f == FamilyNameField {
		if cols := im.at[FullNameField]; len(cols) > 0 {
			col = cols[0]
		}
	}
	fault := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
	fault.Where = im.table.place(d.row, im.head, col)
	d.problems = append(d.problems, problem{col, w, fault})
}

func (d *draft) refuse(im *importing, f Field, code, do, say string, args ...any) {
	d.add(im, refusal, f, code, do, say, args...)
}

func (d *draft) doubt(im *importing, f Field, code, do, say string, args ...any) {
	d.add(im, doubt, f, code, do, say, args...)
}

func (d *draft) wait(im *importing, f Field, say string, args ...any) {
	d.add(im, waiting, f, "waits", "answer the question about this column", say, args...)
}

// cell is what the row says in a column, cleaned; "" where it says nothing.
func (im *importing) cell(d *draft, f Field) string {
	cols := im.at[f]
	if len(cols) == 0 {
		return ""
	}
	return cleanValue(unguard(cleanLine(d.row.Text(cols[0]))))
}

// person reads who a row is about: id, name, birth date.
func (im *importing) person(i int) *draft {
	d := &draft{index: i, row: im.body[i], sure: true}
	d.given.ID = rankwright.StudentID(im.cell(d, StudentIDField))
	d.given.GivenName, d.given.FamilyName = im.cell(d, GivenNameField), im.cell(d, FamilyNameField)
	if full := im.cell(d, FullNameField); full != "" && d.given.FullName() == "" {
		d.given.GivenName, d.given.FamilyName, d.sure = splitName(full, im.names)
	}
	d.given.BirthDate = im.date(d, BirthDateField)
	if d.given.ID == "" && d.given.FullName() == "" {
		d.refuse(im, GivenNameField, "no_name", addIt, "the row has no name")
	}
	return d
}

// complete reads the rest of the row on top of the record that it belongs to.
func (im *importing) complete(d *draft) {
	if d.was != nil {
		d.student = *d.was
		d.student.Guardians = append([]Guardian(nil), d.was.Guardians...)
	}
	s := &d.student
	if d.given.ID != "" && d.was == nil {
		s.ID = d.given.ID
	}
	im.name(d)
	if b := d.given.BirthDate; !b.IsZero() {
		s.BirthDate = b
	}
	if h := im.cell(d, HouseholdField); h != "" {
		s.Household = rankwright.HouseholdID(h)
	}
	im.rank(d)
	if c := im.cell(d, ClassesField); c != "" {
		im.classes(d, c)
		im.manyClasses(d)
	}
	im.guardians(d)
	if v := im.cell(d, BeltSizeField); v != "" {
		s.BeltSize = v
	}
	if v := im.cell(d, ShirtSizeField); v != "" {
		s.ShirtSize = v
	}
	if v := im.cell(d, SaidField); v != "" {
		s.Said = v
	}
	if cols := im.at[NotesField]; len(cols) > 0 {
		if v := cleanText(unguard(cleanText(d.row.Text(cols[0])))); !isBlank(v) {
			s.Notes = v
		}
	}
	im.check(d)
}

// name takes the name over unless the roster has the same one split in
// another place.
func (im *importing) name(d *draft) {
	g, f := d.given.GivenName, d.given.FamilyName
	s := &d.student
	if g == "" && f == "" {
		return
	}
	fromOne := len(im.at[FullNameField]) > 0 && im.cell(d, GivenNameField) == "" && im.cell(d, FamilyNameField) == ""
	if fromOne && d.was != nil && nameKey(*d.was) == nameKey(d.given) {
		return
	}
	if g != "" {
		s.GivenName = g
	}
	if f != "" {
		s.FamilyName = f
	}
	if !d.sure {
		do := "accept it or choose a rule for the whole column"
		if f == "" {
			d.doubt(im, GivenNameField, "name_one_word", "accept it if that is the whole name", "%s is one word, so there is no family name", cut(g))
			return
		}
		d.doubt(im, GivenNameField, "name_split", do, "%s %s can be split in more than one place; it would be read as given name %s, family name %s",
			cut(g), cut(f), cut(g), cut(f))
	}
}

// manyClasses doubts more than two classes a day since the rank: a spreadsheet
// from before a promotion still counts for the rank before.
func (im *importing) manyClasses(d *draft) {
	s := &d.student
	days := int(im.today - s.RankSince)
	if s.RankSince.IsZero() || days < 0 || s.ClassesSinceRank <= 2*(days+1) {
		return
	}
	d.doubt(im, ClassesField, "classes_many", "accept it, or correct the number for the rank that is held now",
		"%d classes since %s would be more than two a day", s.ClassesSinceRank, short(s.RankSince))
}

func (im *importing) classes(d *draft, c string) {
	digits := strings.TrimSuffix(c, ".0")
	neg := strings.HasPrefix(digits, "-")
	digits = strings.TrimPrefix(digits, "-")
	switch {
	case !allDigits(digits):
		d.refuse(im, ClassesField, "classes_form", redo, "%s is not a whole number of classes", shown(c))
	case neg && atoi(digits) > 0:
		d.refuse(im, ClassesField, "classes_negative", redo, "the number of classes is %s, and it cannot be less than 0", c)
	case len(digits) > 9 || atoi(digits) > maxClasses:
		d.refuse(im, ClassesField, "classes_range", redo, "%s classes are more than anybody can have had; the most is 10,000", shown(c))
	default:
		d.student.ClassesSinceRank = atoi(digits)
	}
}

// check looks at the record as a whole. What was so in the roster already is
// not held against the row.
func (im *importing) check(d *draft) {
	s, was := d.student, Student{}
	if d.was != nil {
		was = *d.was
	}
	if d.was == nil && s.BirthDate.IsZero() && len(d.candidates) == 0 && !d.troubled(BirthDateField, im) {
		d.refuse(im, BirthDateField, "no_birth", addIt, "%s is new and has no birth date, without which no rule of age can be checked", d.title())
	}
	if d.was == nil && s.FullName() == "" && s.ID != "" {
		d.refuse(im, GivenNameField, "no_name", addIt, "no student of the roster has the id %s, and the row has no name to begin one", s.ID)
	}
	if s.BirthDate != was.BirthDate {
		if code, say := birthTrouble(s.BirthDate, im.today); code != "" {
			d.refuse(im, BirthDateField, code, redo, "%s", say)
		} else if rankwright.Age(s.BirthDate, im.today, rankwright.LastDay) < minAge {
			d.doubt(im, BirthDateField, "birth_young", "accept it, or "+redo, "a birth date of %s would make %s younger than 2 years", short(s.BirthDate), d.title())
		}
	}
	if _, say := birthTrouble(s.BirthDate, im.today); say == "" && (s.RankSince != was.RankSince || s.BirthDate != was.BirthDate) {
		if code, say := sinceTrouble(s.RankSince, s.BirthDate, im.today); code != "" {
			d.refuse(im, RankSinceField, code, redo, "%s", say)
		}
	}
	before := map[string]bool{}
	for _, t := range was.texts() {
		before[t.what+t.text] = true
	}
	for _, t := range s.texts() {
		n := utf8.RuneCountInString(t.text)
		switch {
		case before[t.what+t.text]:
		case n > t.limit:
			d.refuse(im, t.field, "too_long", redo, "the %s has %d characters, and at most %d are kept", t.what, n, t.limit)
		case strings.ContainsRune(t.text, utf8.RuneError):
			d.doubt(im, t.field, "damaged", "choose the right encoding, or "+redo, "the %s %s has a damaged character", t.what, cut(t.text))
		}
	}
	if len(s.Guardians) > maxGuardians && len(s.Guardians) > len(was.Guardians) {
		d.refuse(im, GuardianNameField, "guardians", redo, "there would be %d guardians, and at most %d are kept", len(s.Guardians), maxGuardians)
	}
}

// troubled says whether a problem with the field's column is named already.
func (d *draft) troubled(f Field, im *importing) bool {
	cols := im.at[f]
	for _, p := range d.problems {
		if len(cols) > 0 && p.col == cols[0] {
			return true
		}
	}
	return false
}
