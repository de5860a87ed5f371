package syllabus_test

import (
	"encoding/json"
	"os"
	"testing"

	"rankwright"
	"rankwright/syllabus"
)

func parseExample(t *testing.T, name string) *syllabus.Syllabus {
	t.Helper()
	data, err := os.ReadFile("../examples/" + name)
	if err != nil {
		t.Fatal(err)
	}
	s, err := syllabus.Parse(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The club's syllabus file says what the scenario's tables say: the figures
// are those of the scenario, counted by its own generator.
func TestTheClubsSyllabusHasTheScenariosFigures(t *testing.T) {
	type figures struct {
		Items, Musts int
		Base, Bonus  string
		Cap          string
	}
	want := map[rankwright.RankID]figures{
		"reed": {19, 3, "56", "2", "2"}, "amber": {22, 4, "72", "2", "3"}, "slate": {25, 5, "83", "3", "4"},
		"copper": {28, 8, "102", "3", "5"}, "plum": {32, 9, "129", "3", "6"}, "indigo": {35, 12, "137", "5", "6"},
	}
	sections := map[rankwright.RankID]string{
		"reed":   `{"ET":"3","KB":"8","PR":"6","SM":"9","HA":"6","KI":"3","BF":"9","GU":"5","PD":"2","FI":"3","TH":"2"}`,
		"amber":  `{"ET":"3","KB":"14","PR":"6","SM":"9","HA":"6","KI":"6","BF":"12","GU":"5","PD":"3","FI":"6","TH":"2"}`,
		"slate":  `{"ET":"4","KB":"5","PR":"6","SM":"14","HA":"9","KI":"6","BF":"15","GU":"10","PD":"6","FI":"6","TH":"2"}`,
		"copper": `{"ET":"8","KB":"6","PR":"3","SM":"18","HA":"9","KI":"6","BF":"21","GU":"6","PD":"16","FI":"6","TH":"3"}`,
		"plum":   `{"ET":"10","KB":"8","PR":"6","SM":"22","HA":"12","KI":"9","BF":"21","GU":"9","PD":"23","FI":"6","TH":"3"}`,
		"indigo": `{"ET":"14","KB":"8","PR":"3","SM":"29","HA":"15","KI":"6","BF":"18","GU":"8","PD":"24","FI":"9","TH":"3"}`,
	}
	s := parseExample(t, "otterlight.yaml")
	all := 0
	for _, k := range s.Ranks {
		got := figures{Items: len(k.Requirements), Cap: k.BonusCap.String()}
		var base, bonus rankwright.Amount
		per := map[rankwright.SectionID]rankwright.Amount{}
		for _, q := range k.Requirements {
			if q.Must {
				got.Musts++
			}
			if q.Bonus {
				bonus += q.Points
			} else {
				base += q.Points
				per[q.Section] += q.Points
			}
		}
		delete(per, "CN")
		got.Base, got.Bonus = base.String(), bonus.String()
		if got != want[k.ID] {
			t.Errorf("%s: %+v, the scenario says %+v", k.ID, got, want[k.ID])
		}
		var expected map[rankwright.SectionID]string
		if err := json.Unmarshal([]byte(sections[k.ID]), &expected); err != nil {
			t.Fatal(err)
		}
		for id, points := range expected {
			if per[id].String() != points {
				t.Errorf("%s %s: %s points, the scenario says %s", k.ID, id, per[id], points)
			}
		}
		all += len(k.Requirements)
	}
	if all != 161 {
		t.Errorf("%d requirements, the scenario says 161", all)
	}
}

func TestTheOnePageSyllabusIsSound(t *testing.T) {
	s := parseExample(t, "one-page.yaml")
	if len(s.Ranks) != 2 || len(s.Ranks[0].Requirements) != 5 || !s.Ranks[0].Requirements[4].Must {
		t.Errorf("unexpected shape: %+v", s.Ranks)
	}
}
