package roster_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/roster"
	"rankwright/roster/table"
)

// A spreadsheet kept since before a promotion still counts its classes for the
// rank before; it is doubted rather than believed.
func TestClassesForTheRankBeforeAreDoubted(t *testing.T) {
	current := []roster.Student{{ID: "s1", GivenName: "Ayse", FamilyName: "Demirsoy", BirthDate: rankwright.MustDay("2017-05-04"), Ladder: "youth", Rank: "reed", RankSince: rankwright.MustDay("2026-11-21")}}
	school := roster.School{Ladders: []roster.Ladder{{ID: "youth", Names: []string{"Youth"}, Ranks: []roster.RankName{{ID: "reed", Names: []string{"Reed"}}}}}}
	for classes, want := range map[string]roster.Status{"20": roster.Doubtful, "10": roster.Changed} {
		read, err := table.Read([]byte("student_id,given_name,family_name,birth_date,classes_since_rank\ns1,Ayse,Demirsoy,2017-05-04,"+classes+"\n"), table.Options{File: "old.csv"})
		if err != nil {
			t.Fatal(err)
		}
		p := roster.Plan(current, read.Table, roster.Recognise(read.Table), school, nil, rankwright.MustDay("2026-11-25"))
		if p.Rows[0].Status != want {
			t.Errorf("%s classes in four days: %s, want %s", classes, p.Rows[0].Status, want)
		}
		if want == roster.Doubtful && !strings.Contains(p.Rows[0].Faults.Error(), "more than two a day") {
			t.Errorf("the doubt says %s", p.Rows[0].Faults)
		}
	}
}
