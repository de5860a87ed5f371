package roster

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"rankwright"
)

// Mapping says what each column of a school's table means, and how its dates
// and names are written. It is plain data that can be kept as JSON and used
// again for the next file with the same headings.
type Mapping struct {
	// Fingerprint is that of the headings for which the mapping was made.
	Fingerprint string
	Columns     []Column
	// DateOrder holds, by field, the order that was decided or answered.
	DateOrder map[Field]Order
	// NameRule says how one column with the whole name is split.
	NameRule NameRule
}

// Column is a heading and its meaning. A heading that occurs twice means the
// second time what its second Column says.
type Column struct {
	Heading string
	Field   Field
}

// Recognise makes a mapping for a table from the headings that this package
// knows. What it does not know is left as Ignored for a person to fill in.
func Recognise(t Table) Mapping {
	head, _ := t.Head()
	return Mapping{Fingerprint: Fingerprint(head), Columns: recognise(head)}
}

// Choose returns the saved mapping that was made for the headings of this
// table, in whatever order the columns stand, or else what Recognise finds.
func Choose(t Table, saved []Mapping) (m Mapping, found bool) {
	head, _ := t.Head()
	print := Fingerprint(head)
	for _, m := range saved {
		if m.Fingerprint == print {
			return m, true
		}
	}
	return Recognise(t), false
}

// Fingerprint tells one set of headings from another: a hash of the headings
// without regard to case, marks, punctuation and order.
func Fingerprint(head Row) string {
	keys := make([]string, 0, len(head.Cells))
	for _, c := range head.Cells {
		if k := Fold(c.Text); k != "" {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	sum := sha256.Sum256([]byte(strings.Join(keys, "\n")))
	return hex.EncodeToString(sum[:12])
}

// NotRead lists the headings that the mapping leaves aside.
func (m Mapping) NotRead() []string {
	var out []string
	for _, c := range m.Columns {
		if c.Field == Ignored && c.Heading != "" {
			out = append(out, c.Heading)
		}
	}
	return out
}

// With returns a copy in which the n-th column (from 0) has another meaning.
func (m Mapping) With(n int, f Field) Mapping {
	m.Columns = slices.Clone(m.Columns)
	m.Columns[n].Field = f
	return m
}

// fit finds the mapping's columns among the headings: for each field the
// positions from 0. It names what stands in the way of reading at all.
func (m Mapping) fit(t Table, head Row) (map[Field][]int, rankwright.Faults) {
	free := map[string][]int{}
	for i, c := range head.Cells {
		k := Fold(c.Text)
		free[k] = append(free[k], i)
	}
	at := map[Field][]int{}
	var fs rankwright.Faults
	fault := func(code, do, say string, args ...any) {
		f := rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
		f.Where = rankwright.Place{File: t.File, Line: head.Line}
		fs = append(fs, f)
	}
	for _, c := range m.Columns {
		k := Fold(c.Heading)
		if len(free[k]) == 0 {
			if c.Field != Ignored {
				fault("column_gone", "choose which column holds it now",
					"the column %q, which was read as %s last time, is not in this file", c.Heading, c.Field.Label())
			}
			continue
		}
		i := free[k][0]
		free[k] = free[k][1:]
		if c.Field == Ignored {
			continue
		}
		if !slices.Contains(Fields(), c.Field) {
			fault("field_unknown", "choose a meaning from the list", "the column %q is to be read as %q, which is nothing that a student has", c.Heading, c.Field)
			continue
		}
		if len(at[c.Field]) > 0 && !c.Field.ofGuardian() {
			fault("field_twice", "leave one of them out", "the columns %q and %q are both to be read as %s",
				cleanLine(head.Text(at[c.Field][0])), c.Heading, c.Field.Label())
			continue
		}
		at[c.Field] = append(at[c.Field], i)
	}
	if len(at[StudentIDField]) == 0 && len(at[FullNameField]) == 0 && len(at[GivenNameField]) == 0 {
		fault("no_name_column", "choose which column holds the name",
			"no column holds a student's name or id; the headings found are %s", headingsOf(head))
	}
	return at, fs
}

func headingsOf(head Row) string {
	var hs []string
	for _, c := range head.Cells {
		if h := cleanLine(c.Text); h != "" {
			hs = append(hs, `"`+h+`"`)
		}
	}
	if len(hs) > 12 {
		hs = append(hs[:11:11], "more")
	}
	return listOf(hs)
}
