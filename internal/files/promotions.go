package files

import (
	"io"

	"rankwright"
)

// Promotion is one line of promotions.csv: a rank that somebody got, for a
// certificate.
type Promotion struct {
	Name, Rank string
	// Belt and Tip are colours as #rrggbb; "" where none is given.
	Belt, Tip string
	Day       rankwright.Day
	Number    string
	Signer    string
	// Label is a word of the result; see promote.Commended.
	Label string
	Place string
}

// ReadPromotions reads promotions.csv. The lines stay in their order, which is
// the order of the certificates.
func ReadPromotions(name string, r io.Reader) ([]Promotion, error) {
	t, err := open(name, r, []string{"name", "rank", "date", "number", "signer"}, []string{"belt", "tip", "label", "place"})
	if err != nil {
		return nil, err
	}
	var out []Promotion
	numbers := map[string]int{}
	for t.next() {
		get := func(heading string) string { return string([]byte(t.get(t.column(heading)))) } // good beyond the row
		p := Promotion{Name: get("name"), Rank: get("rank"), Belt: get("belt"), Tip: get("tip"), Number: get("number"), Signer: get("signer"), Label: get("label"), Place: get("place")}
		for _, heading := range []string{"name", "rank", "number", "signer"} {
			if get(heading) == "" {
				t.fault(t.column(heading), "missing", "write it, or take the line out", "the %s is missing", heading)
			}
		}
		if line, twice := numbers[p.Number]; twice && p.Number != "" {
			t.fault(t.column("number"), "double_number", "give each certificate a number of its own", "the number %q is that of line %d too", p.Number, line)
		}
		numbers[p.Number] = t.line
		if p.Day, err = rankwright.ParseDay(get("date")); err != nil || p.Day.IsZero() {
			t.fault(t.column("date"), "bad_date", "write it as 2026-10-31", "%q is not a date", get("date"))
		}
		out = append(out, p)
	}
	if err := t.err(); err != nil {
		return nil, err
	}
	if len(out) == 0 {
		return nil, t.at(t.line, "", "empty", "write a line for each certificate", "the table has no lines")
	}
	return out, nil
}
