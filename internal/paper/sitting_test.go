package paper

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
)

func runSheet(squads int) SittingSheet {
	s := SittingSheet{
		Title: "Run sheet", When: "Saturday 10 October 2026, 10:20 to 11:10, mat B", School: "Otterlight Youth Karate and Self-Defence, Pellmarrow Quay",
		Cautions: "Mats without gaps, room to fall, an adult at every station. Falls before throws. Stop on a knock to the head: the child does not go on that day without a health professional’s clearance. Local rules and licensed practitioners come first.",
		Stations: []SheetStation{
			{Name: "Stance and steps", Minutes: "8 min", Examiners: []string{"Tomek Wielgosek"}},
			{Name: "Hands and kicks", Minutes: "8 min", Examiners: []string{"Dilnozakhon Rahimbek", "Yusra Haddadeen"}, Caution: "Contact: pads held away from faces, light taps, arm’s length until told."},
			{Name: "Breakfalls", Minutes: "8 min", Examiners: []string{"Anahera Ropatini"}, Caution: "Falls: chin tucked, head off the mat; one child at a time on each mat."},
			{Name: "Partner drills", Minutes: "8 min", Examiners: []string{"Kaito Barretto-Sato"}, Caution: "Partner work: even sizes, a tap or “Pause!” ends it at once."},
		},
		Footer: "For the helpers of this sitting; hand it back to the desk afterwards.",
	}
	belts := []Belt{{Base: "#cfe8c0"}, {Base: "#e0a02c"}, {Base: "#6d8296", Tip: "#ffffff"}, {Base: "#b4643c"}}
	ranks := []string{"Reed", "Amber", "Slate", "Copper"}
	names := inventedNames()
	for i := range squads {
		q := SheetSquad{Name: fmt.Sprintf("Squad %d", i+1)}
		for k := range 5 {
			q.Children = append(q.Children, SheetChild{Name: names[(i*5+k)%len(names)], Rank: ranks[(i+k/3)%4], Belt: belts[(i+k/3)%4]})
		}
		for k := range 4 {
			at := 10*60 + 20 + 9*k
			q.Visits = append(q.Visits, SheetVisit{at, at + 8, (k + i) % 4})
			if k == 3 && i == 0 {
				q.Visits = append(q.Visits, SheetVisit{at + 8, at + 13, -1})
			}
		}
		s.Squads = append(s.Squads, q)
	}
	return s
}

func clockOf(m int) string { return fmt.Sprintf("%02d:%02d", m/60, m%60) }

func doorList(sittings, each int) DoorList {
	d := DoorList{Title: "Times", When: "Saturday 10 October 2026", School: "Otterlight Youth Karate and Self-Defence, in the Netloft",
		Note: "Please come to the desk fifteen minutes before. If you do not find your name, the desk will help."}
	names := inventedNames()
	for i := range sittings {
		s := DoorSitting{Time: clockOf(570 + 50*i), Where: "mat " + string(rune('A'+i%2))}
		for k := range each {
			given, family, _ := strings.Cut(names[(i*each+k)%len(names)], " ")
			s.Names = append(s.Names, DoorName(given, family))
		}
		d.Sittings = append(d.Sittings, s)
	}
	return d
}

// Both sizes of paper, few and many squads: every name, station and time is
// read back by poppler, and qpdf finds no fault.
func TestTheSheetsOfASittingHoldEverySquadStationAndTime(t *testing.T) {
	for _, paper := range []Sheet{A4, Letter} {
		for _, squads := range []int{1, 4, 9} {
			s := runSheet(squads)
			var b bytes.Buffer
			if err := WriteSittingSheets(&b, []SittingSheet{s, runSheet(1)}, Options{Paper: paper}); err != nil {
				t.Fatal(err)
			}
			keep(t, fmt.Sprintf("run-%d-%d.pdf", paper, squads), b.Bytes())
			qpdfCheck(t, save(t, b.Bytes()))
			text := strings.Join(strings.Fields(strings.Join(pageTexts(t, b.Bytes()), " ")), " ")
			for _, q := range s.Squads {
				for _, c := range q.Children {
					if !strings.Contains(text, c.Name) {
						t.Errorf("%s is not on the sheet", c.Name)
					}
				}
				for _, v := range q.Visits {
					if !strings.Contains(text, clockOf(v.From)+"–"+clockOf(v.Until)) {
						t.Errorf("%s of %s is not on the sheet", clockOf(v.From), q.Name)
					}
				}
			}
			for _, st := range s.Stations {
				for _, want := range append([]string{st.Name + " · 8 min", st.Caution}, st.Examiners...) {
					if !strings.Contains(text, want) {
						t.Errorf("%q is not on the sheet", want)
					}
				}
			}
			if squads == 4 && !strings.Contains(text, "10:20 Squad 2 · 10:29 Squad 1 · 10:38 Squad 4 · 10:47 Squad 3") {
				t.Error("the squads of a station are not in the order of time")
			}
			if !strings.Contains(text, "Stop on a knock to the head") {
				t.Error("the cautions are not on the sheet")
			}
		}
	}
}

func TestTheListOnTheDoorShowsGivenNamesAndTimesAlone(t *testing.T) {
	for _, paper := range []Sheet{A4, Letter} {
		d := doorList(7, 9)
		var b bytes.Buffer
		if err := WriteDoorList(&b, d, Options{Paper: paper}); err != nil {
			t.Fatal(err)
		}
		keep(t, fmt.Sprintf("door-%d.pdf", paper), b.Bytes())
		qpdfCheck(t, save(t, b.Bytes()))
		text := strings.Join(strings.Fields(strings.Join(pageTexts(t, b.Bytes()), " ")), " ")
		for _, s := range d.Sittings {
			for _, want := range append([]string{s.Time, s.Where}, s.Names...) {
				if !strings.Contains(text, want) {
					t.Errorf("%q is not on the list", want)
				}
			}
		}
	}
}

func TestANameOnTheDoorIsGivenNamesAndOneLetter(t *testing.T) {
	for _, c := range []struct{ given, family, want string }{
		{"Zofia", "Krajewik", "Zofia K."},
		{"Mary Ann", "O’Neill", "Mary Ann O."},
		{"Linh-Đan", "Phùng", "Linh-Đan P."},
		{"Eva", "S\u030Cimek", "Eva S\u030C."},
		{"Yusra", "", "Yusra"},
		{"", "Okafor", "O."},
		{"Maya", "‘t Hart", "Maya t."},
		{"ياسمين", "حداد", "ياسمين ح."},
	} {
		if got := DoorName(c.given, c.family); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestWhatCannotBePrintedIsToldBeforeAnythingIs(t *testing.T) {
	s := runSheet(1)
	s.Squads[0].Children[0].Name = "王小明"
	s.Squads[0].Visits[0].Station = 9
	var b bytes.Buffer
	err := WriteSittingSheets(&b, []SittingSheet{s}, Options{})
	if err == nil || !strings.Contains(err.Error(), "王小明") || !strings.Contains(err.Error(), "Squad 1 is sent to station 10") || b.Len() > 0 {
		t.Errorf("%v", err)
	}
	if err := WriteDoorList(&b, DoorList{Title: "Times"}, Options{}); err == nil || b.Len() > 0 {
		t.Error("a list without times was printed")
	}
	if err := WriteSittingSheets(&b, nil, Options{}); err == nil || b.Len() > 0 {
		t.Error("no sheets were printed")
	}
}

// keep leaves the file for a person to look at, where RANKWRIGHT_LOOK names a
// folder.
func keep(t *testing.T, name string, data []byte) {
	t.Helper()
	if dir := os.Getenv("RANKWRIGHT_LOOK"); dir != "" {
		if err := os.WriteFile(dir+"/"+name, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
