package roster

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"rankwright"
)

// Student is one child or adult of the school, with the least that an
// examination needs to know.
type Student struct {
	ID         rankwright.StudentID
	GivenName  string
	FamilyName string
	// BirthDate may be unknown (zero) in a roster typed in by hand; rules of
	// age cannot be answered then.
	BirthDate rankwright.Day
	Household rankwright.HouseholdID
	Ladder    rankwright.LadderID
	// Rank is "" for somebody who holds no rank yet.
	Rank rankwright.RankID
	// RankSince is the date of the rank, or the start date where there is no
	// rank yet. Zero is unknown: time in rank cannot be counted then.
	RankSince        rankwright.Day
	ClassesSinceRank int
	Guardians        []Guardian
	BeltSize         string
	ShirtSize        string
	Notes            string
	// Said is how the name is said, for whoever reads it out, such as
	// "SHEE-oh-fra"; "" where it needs no help.
	Said string
}

// Guardian is a grown-up who answers for a student.
type Guardian struct {
	Name, Email, Phone string
}

// Limits on the length of texts, in characters.
const (
	maxName      = 100
	maxID        = 64
	maxEmail     = 254
	maxPhone     = 40
	maxSize      = 30
	maxNotes     = 2000
	maxGuardians = 6
	maxClasses   = 10000
	minAge       = 2
	maxAge       = 110
)

// FullName is the name as it is read aloud: given name, then family name.
func (s Student) FullName() string {
	return strings.TrimSpace(s.GivenName + " " + s.FamilyName)
}

// Equal says whether two records hold the same.
func (s Student) Equal(o Student) bool {
	if len(s.Guardians) != len(o.Guardians) {
		return false
	}
	for i, g := range s.Guardians {
		if g != o.Guardians[i] {
			return false
		}
	}
	s.Guardians, o.Guardians = nil, nil
	return equalFlat(s, o)
}

func equalFlat(a, b Student) bool {
	return a.ID == b.ID && a.GivenName == b.GivenName && a.FamilyName == b.FamilyName &&
		a.BirthDate == b.BirthDate && a.Household == b.Household && a.Ladder == b.Ladder &&
		a.Rank == b.Rank && a.RankSince == b.RankSince && a.ClassesSinceRank == b.ClassesSinceRank &&
		a.BeltSize == b.BeltSize && a.ShirtSize == b.ShirtSize && a.Notes == b.Notes && a.Said == b.Said
}

// Clean returns the record in the form in which it is kept: no control or
// invisible characters, single spaces, nothing where there is only a dash or
// a question mark, no empty guardians.
func (s Student) Clean() Student {
	s.ID = rankwright.StudentID(cleanValue(string(s.ID)))
	s.GivenName, s.FamilyName = cleanValue(s.GivenName), cleanValue(s.FamilyName)
	s.Household = rankwright.HouseholdID(cleanValue(string(s.Household)))
	s.Ladder = rankwright.LadderID(cleanValue(string(s.Ladder)))
	s.Rank = rankwright.RankID(cleanValue(string(s.Rank)))
	s.BeltSize, s.ShirtSize, s.Said = cleanValue(s.BeltSize), cleanValue(s.ShirtSize), cleanValue(s.Said)
	if s.Notes = cleanText(s.Notes); isBlank(s.Notes) {
		s.Notes = ""
	}
	var gs []Guardian
	for _, g := range s.Guardians {
		if g = g.clean(); g != (Guardian{}) {
			gs = append(gs, g)
		}
	}
	s.Guardians = gs
	return s
}

// clean keeps ';' out of guardians' fields, where it parts one from the next,
// and so the Greek question mark, which Unicode holds to be the same.
func (g Guardian) clean() Guardian {
	one := func(s string) string { return cleanValue(strings.NewReplacer(";", ",", "\u037e", ",").Replace(s)) }
	return Guardian{one(g.Name), one(g.Email), one(g.Phone)}
}

func cleanValue(s string) string {
	if s = cleanLine(s); isBlank(s) {
		return ""
	}
	return s
}

// cleanLine takes out what cannot be seen and makes every run of white space
// one space. The two joiners that Persian and Indic names need stay.
func cleanLine(s string) string {
	return strings.Join(strings.Fields(strings.Map(visible, s)), " ")
}

// cleanText is cleanLine for text of several lines.
func cleanText(s string) string {
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u2028", "\n", "\u2029", "\n").Replace(s), "\n")
	for i := range lines {
		lines[i] = cleanLine(lines[i])
	}
	return strings.Trim(strings.Join(lines, "\n"), "\n")
}

func visible(r rune) rune {
	switch {
	case r == '\u200c' || r == '\u200d':
		return r
	case unicode.IsSpace(r):
		return ' '
	case unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
		return -1
	}
	return r
}

// Validate names everything that is wrong with a record as of today, in the
// order of the fields. It does not know which ranks exist; Plan does.
func (s Student) Validate(today rankwright.Day) rankwright.Faults {
	var fs rankwright.Faults
	add := func(code, do, say string, args ...any) {
		fs = append(fs, rankwright.Faultf(rankwright.Invalid, code, do, say, args...))
	}
	if s.ID == "" {
		add("no_id", "give each student an id of their own", "the student has no id")
	}
	if s.FullName() == "" {
		add("no_name", "write the student's name", "the student has no name")
	}
	if code, say := birthTrouble(s.BirthDate, today); code != "" {
		add(code, "correct the birth date", "%s", say)
	}
	if code, say := sinceTrouble(s.RankSince, s.BirthDate, today); code != "" {
		add(code, "correct the date", "%s", say)
	}
	if s.ClassesSinceRank < 0 || s.ClassesSinceRank > maxClasses {
		add("classes_range", "correct the number of classes",
			"%d classes since the rank cannot be; the number runs from 0 to %d", s.ClassesSinceRank, maxClasses)
	}
	for _, t := range s.texts() {
		if n := utf8.RuneCountInString(t.text); n > t.limit {
			add("too_long", "shorten it", "the %s has %d characters, and at most %d are kept", t.what, n, t.limit)
		}
	}
	if len(s.Guardians) > maxGuardians {
		add("guardians", "keep the ones to reach first",
			"there are %d guardians, and at most %d are kept", len(s.Guardians), maxGuardians)
	}
	return fs
}

type textField struct {
	field Field
	what  string
	text  string
	limit int
}

func (s Student) texts() []textField {
	ts := []textField{
		{StudentIDField, "student id", string(s.ID), maxID},
		{GivenNameField, "given name", s.GivenName, maxName},
		{FamilyNameField, "family name", s.FamilyName, maxName},
		{HouseholdField, "household", string(s.Household), maxID},
		{BeltSizeField, "belt size", s.BeltSize, maxSize},
		{ShirtSizeField, "shirt size", s.ShirtSize, maxSize},
		{NotesField, "note", s.Notes, maxNotes},
		{SaidField, "note on how the name is said", s.Said, maxName},
	}
	for _, g := range s.Guardians {
		ts = append(ts,
			textField{GuardianNameField, "guardian's name", g.Name, maxName},
			textField{GuardianEmailField, "guardian's e-mail address", g.Email, maxEmail},
			textField{GuardianPhoneField, "guardian's telephone number", g.Phone, maxPhone})
	}
	return ts
}

func birthTrouble(birth, today rankwright.Day) (code, say string) {
	switch {
	case birth.IsZero():
		return "", ""
	case birth > today:
		return "birth_future", "a birth date of " + short(birth) + " lies in the future"
	case rankwright.Age(birth, today, rankwright.LastDay) > maxAge:
		return "birth_age", "a birth date of " + short(birth) + " would make the student older than 110 years"
	}
	return "", ""
}

func sinceTrouble(since, birth, today rankwright.Day) (code, say string) {
	switch {
	case since.IsZero():
		return "", ""
	case since > today:
		return "since_future", "the rank is said to be held since " + short(since) + ", which lies in the future"
	case since < birth:
		return "since_before_birth", "the rank is said to be held since " + short(since) +
			", before the birth date " + short(birth)
	}
	return "", ""
}

// short writes a date so that nobody can mistake the month: 3 April 2017.
func short(d rankwright.Day) string {
	_, rest, _ := strings.Cut(d.Long(), " ")
	return rest
}
