package roster

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// Headings lists the columns of students.csv in their order.
func Headings() []string {
	var out []string
	for _, f := range Fields() {
		if f != FullNameField {
			out = append(out, string(f))
		}
	}
	return out
}

// WriteStudents writes a roster as students.csv: UTF-8 without a BOM, dates in
// ISO 8601, lines ended by LF. Several guardians stand in one cell, parted by
// semicolons. Text that a spreadsheet program would take for a formula gets an
// apostrophe in front, which Plan takes off again.
func WriteStudents(w io.Writer, students []Student) error {
	out := csv.NewWriter(w)
	if err := out.Write(Headings()); err != nil {
		return err
	}
	for _, s := range students {
		names, emails, phones := joinGuardians(s.Guardians)
		row := []string{string(s.ID), s.GivenName, s.FamilyName, s.BirthDate.String(), string(s.Household),
			string(s.Ladder), string(s.Rank), s.RankSince.String(), strconv.Itoa(s.ClassesSinceRank),
			names, emails, phones, s.BeltSize, s.ShirtSize, s.Notes, s.Said}
		for i := range row {
			row[i] = guard(row[i])
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func joinGuardians(gs []Guardian) (names, emails, phones string) {
	var n, e, p []string
	for _, g := range gs {
		n, e, p = append(n, g.Name), append(e, g.Email), append(p, g.Phone)
	}
	join := func(parts []string) string {
		if strings.Join(parts, "") == "" {
			return ""
		}
		return strings.Join(parts, "; ")
	}
	return join(n), join(e), join(p)
}

// CSVCell is a text as it stands in a table that a spreadsheet program will
// open: one that it would take for a formula gets an apostrophe in front.
func CSVCell(s string) string { return guard(s) }
