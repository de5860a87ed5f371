package roster

import (
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rankwright"
)

func kid(id, family string, household string, gs ...Guardian) Student {
	return Student{ID: rankwright.StudentID(id), GivenName: id, FamilyName: family, Household: rankwright.HouseholdID(household), Guardians: gs}
}

func TestChildrenWhoShareAGuardianShareAHousehold(t *testing.T) {
	ola := Guardian{Name: "Ola Krajewik", Email: "Ola@example.org"}
	for _, c := range []struct {
		name     string
		students []Student
		want     []rankwright.HouseholdID
	}{
		{"by e-mail in any case", []Student{kid("2", "A", "", ola), kid("1", "B", "", Guardian{Email: "ola@EXAMPLE.org"})}, []rankwright.HouseholdID{"h-1", "h-1"}},
		{"by telephone however it is grouped", []Student{kid("1", "A", "", Guardian{Phone: "+48 22 123-45-67"}), kid("2", "B", "", Guardian{Phone: "0048221234567"})}, []rankwright.HouseholdID{"h-1", "h-1"}},
		{"by guardian's name and family name", []Student{kid("1", "Krajewik", "", Guardian{Name: "Ola"}), kid("2", "krajewik", "", Guardian{Name: "OLA"})}, []rankwright.HouseholdID{"h-1", "h-1"}},
		{"not by guardian's name alone", []Student{kid("1", "Roe", "", Guardian{Name: "Ola"}), kid("2", "Poe", "", Guardian{Name: "Ola"})}, []rankwright.HouseholdID{"h-1", "h-2"}},
		{"not by a number too short to tell people apart", []Student{kid("1", "Roe", "", Guardian{Phone: "123"}), kid("2", "Poe", "", Guardian{Phone: "123"})}, []rankwright.HouseholdID{"h-1", "h-2"}},
		{"not by family name alone", []Student{kid("1", "Roe", ""), kid("2", "Roe", "")}, []rankwright.HouseholdID{"h-1", "h-2"}},
		{"through a third child", []Student{kid("1", "A", "", Guardian{Email: "a@x.org"}), kid("2", "B", "", Guardian{Email: "b@x.org"}), kid("3", "C", "", Guardian{Email: "a@x.org"}, Guardian{Email: "b@x.org"})}, []rankwright.HouseholdID{"h-1", "h-1", "h-1"}},
		{"joining the household that is written down", []Student{kid("1", "A", "mill", ola), kid("2", "A", "", ola)}, []rankwright.HouseholdID{"mill", "mill"}},
		{"never joining two that are written down", []Student{kid("1", "A", "mill", ola), kid("2", "A", "quay", ola), kid("3", "A", "", ola)}, []rankwright.HouseholdID{"mill", "quay", "h-3"}},
		{"with an id that is not taken", []Student{kid("1", "A", ""), kid("2", "B", "h-1")}, []rankwright.HouseholdID{"h-1x", "h-1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _ := FillHouseholds(c.students)
			for i, s := range got {
				if s.Household != c.want[i] {
					t.Errorf("student %s: household %s, want %s", s.ID, s.Household, c.want[i])
				}
			}
		})
	}
	_, remarks := FillHouseholds([]Student{kid("1", "A", "mill", ola), kid("2", "A", "quay", ola), kid("Ana", "Roe", "", ola)})
	if len(remarks) != 1 || remarks[0].Error() != "Ana Roe shares a guardian with the households mill and quay and got one of their own; choose the household on the student's page if one of them is right" {
		t.Errorf("remarks: %v", remarks)
	}
}

func TestTheOrderOfTheRosterDoesNotChangeHouseholds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var students []Student
		pick := func(label, of string) string {
			return rapid.SampledFrom([]string{"", "", of + "1", of + "2", of + "3"}).Draw(t, label)
		}
		for i := range rapid.IntRange(0, 12).Draw(t, "n") {
			students = append(students, kid(string(rune('a'+i)), pick("family", "f"), pick("household", "h-"),
				Guardian{pick("name", "g"), pick("mail", "m@x.org"), ""}, Guardian{"", pick("mail", "m@x.org"), ""}))
		}
		a, _ := FillHouseholds(students)
		mixed := slices.Clone(students)
		rand.New(rand.NewPCG(uint64(rapid.Int64().Draw(t, "seed")), 1)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		b, _ := FillHouseholds(mixed)
		if !slices.EqualFunc(Households(a), Households(b), func(x, y Household) bool { return x.ID == y.ID && slices.Equal(x.Students, y.Students) }) {
			t.Fatalf("%v\n%v", Households(a), Households(b))
		}
		for i, s := range students {
			if s.Household != "" && a[i].Household != s.Household || a[i].Household == "" {
				t.Fatalf("student %s had household %q and has %q", s.ID, s.Household, a[i].Household)
			}
		}
		again, _ := FillHouseholds(a)
		for i := range again {
			if again[i].Household != a[i].Household {
				t.Fatal("filling twice is not filling once")
			}
		}
	})
}

func TestAnExaminerMayExamineUnlessSomethingBars(t *testing.T) {
	ladder := []rankwright.RankID{"reed", "amber", "slate"}
	e := Examiner{ID: "anahera", Name: "Anahera Ropatini", HighestRank: "amber", Relatives: []rankwright.StudentID{"113"}}
	none := Examiner{Name: "Yusra Haddadeen"}
	for _, c := range []struct {
		name    string
		who     Examiner
		student rankwright.StudentID
		rank    rankwright.RankID
		codes   []string
	}{
		{"up to the highest rank", e, "101", "amber", nil},
		{"not above it", e, "101", "slate", []string{"rank_too_high"}},
		{"not a relative", e, "113", "reed", []string{"relative"}},
		{"with every reason", e, "113", "slate", []string{"rank_too_high", "relative"}},
		{"not without a highest rank", none, "101", "reed", []string{"no_highest_rank"}},
		{"not for a rank that is not there", e, "101", "gold", []string{"rank_unknown"}},
		{"not with a highest rank of another ladder", Examiner{HighestRank: "gold"}, "101", "reed", []string{"highest_rank_unknown"}},
	} {
		var codes []string
		for _, f := range c.who.MayExamine(c.student, c.rank, ladder) {
			codes = append(codes, f.Code)
		}
		if !slices.Equal(codes, c.codes) {
			t.Errorf("%s: %v, want %v", c.name, codes, c.codes)
		}
	}
	if got := e.MayExamine("113", "slate", ladder).Error(); got != "Anahera Ropatini may examine up to amber, and this is for slate; ask an examiner of a higher rank\nAnahera Ropatini is a relative of this student; ask another examiner" {
		t.Errorf("sentences: %s", got)
	}
}
