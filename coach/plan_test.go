package coach_test

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/coach"
	"rankwright/examples"
	"rankwright/syllabus"
)

// The intervals 1, 6, 15 and 38 days for an easiness of 2.5: I(1) = 1,
// I(2) = 6, I(n) = I(n-1) times EF, fractions rounded up (Wozniak 1990, SM-2,
// as printed at super-memory.com/english/ol/sm2.htm; the same four stand in the
// table of usecalcpro.com's spaced repetition calculator). Those for 1.3, the
// least easiness of SM-2, follow by hand: 7.8, 10.4 and 14.3 rounded up.
func TestIntervalsAreThoseOfSM2(t *testing.T) {
	for easiness, want := range map[int][]int{coach.Easy: {1, 6, 15, 38}, coach.Hard: {1, 6, 8, 11, 15}} {
		for i, days := range want {
			if got := coach.Interval(i+1, easiness); got != days {
				t.Errorf("the interval before repetition %d at %d tenths is %d days, want %d", i+1, easiness, got, days)
			}
		}
	}
}

var exam = rankwright.MustDay("2026-12-12") // a Saturday

func otterlight() *syllabus.Syllabus {
	text, err := examples.Files.ReadFile("otterlight.yaml")
	if err != nil {
		panic(err)
	}
	s, faults := syllabus.Parse("otterlight.yaml", text)
	if s == nil {
		panic(faults)
	}
	return s
}

func asked(k *syllabus.Rank) (out []*syllabus.Requirement) {
	for i := range k.Requirements {
		out = append(out, &k.Requirements[i])
	}
	return out
}

// What is for home and what is for class, of the first rank of the invented
// club, read against the syllabus by hand.
func TestFallsAndPartnerWorkAreLeftToClassAndOnlyTheirWordsAreForHome(t *testing.T) {
	s := otterlight()
	reed, _ := s.Rank("reed")
	tasks, class := coach.Home(s, asked(reed), coach.Weak{Requirements: []rankwright.RequirementID{"RE-BF2"}, Sections: []rankwright.SectionID{"SM"}})
	if want := []rankwright.RequirementID{"RE-HA1", "RE-BF1", "RE-PD1"}; !slices.Equal(class, want) {
		t.Errorf("left to class is %v, want %v", class, want)
	}
	got := map[rankwright.RequirementID]coach.Task{}
	for _, x := range tasks {
		got[x.Requirement] = x
	}
	for _, want := range []coach.Task{
		{"RE-BF2", coach.Say, false, 2, true}, {"RE-PR1", coach.Say, false, 2, false}, {"RE-KB2", coach.SayAndDo, false, 2, false},
		{"RE-SM1", coach.Do, false, 2, true}, {"RE-TH1", coach.Think, false, 1, false}, {"RE-ET1", coach.Do, false, 1, false},
	} {
		if got[want.Requirement] != want {
			t.Errorf("got %+v, want %+v", got[want.Requirement], want)
		}
	}
	for _, no := range []rankwright.RequirementID{"RE-BX1", "RE-CN1"} {
		if _, ok := got[no]; ok {
			t.Errorf("%s is an extra or a note and nothing to practise", no)
		}
	}
	// A hold whose steps are written out is said and not done; one whose steps
	// are not, and a fall, are for class.
	hold := syllabus.Requirement{ID: "x", Section: "PD", Kind: syllabus.Steps, Of: 2, Parts: []string{"frame", "hips away"}}
	bare := syllabus.Requirement{ID: "y", Section: "PD", Kind: syllabus.Steps, Of: 2}
	tasks, class = coach.Home(s, []*syllabus.Requirement{&hold, &bare}, coach.Weak{})
	if len(tasks) != 1 || tasks[0] != (coach.Task{"x", coach.Say, true, 2, false}) || !slices.Equal(class, []rankwright.RequirementID{"y"}) {
		t.Errorf("got %+v and %v", tasks, class)
	}
	for caution, home := range map[syllabus.Caution]bool{syllabus.Falls: false, syllabus.Partner: false, syllabus.Contact: false, syllabus.Fitness: true} {
		own := syllabus.Requirement{ID: "z", Section: "SM", Kind: syllabus.Leveled, Cautions: []syllabus.Caution{caution}}
		if tasks, class = coach.Home(s, []*syllabus.Requirement{&own}, coach.Weak{}); len(tasks) == 1 != home || len(class) == 1 == home {
			t.Errorf("with a caution for %s: home %v, class %v", caution, tasks, class)
		}
	}
}

// Whatever the tasks, the days and the weekday off: no day has more than ten
// minutes, the last ones at most five and nothing new; what is learned by heart
// comes no sooner than its interval; nothing comes twice a day or on the day
// off; what fell short begins first; and everything begins where there is room.
func TestAPlanKeepsItsMeasure(t *testing.T) {
	s := otterlight()
	var ranks [][]*syllabus.Requirement
	for i := range s.Ranks {
		ranks = append(ranks, asked(&s.Ranks[i]))
	}
	rapid.Check(t, func(t *rapid.T) {
		list := ranks[rapid.IntRange(0, len(ranks)-1).Draw(t, "rank")]
		var weak coach.Weak
		for _, q := range list {
			if rapid.IntRange(0, 6).Draw(t, "weak") == 0 {
				weak.Requirements = append(weak.Requirements, q.ID)
			}
		}
		tasks, _ := coach.Home(s, list, weak)
		if rapid.Bool().Draw(t, "any tasks") { // more or larger ones than any rank has
			tasks = nil
			for i := range rapid.IntRange(0, 60).Draw(t, "tasks") {
				tasks = append(tasks, coach.Task{Requirement: rankwright.RequirementID(fmt.Sprint("t", i)), How: coach.How(rapid.IntRange(0, 3).Draw(t, "how")),
					Minutes: rapid.IntRange(1, 4).Draw(t, "minutes"), Weak: rapid.IntRange(0, 3).Draw(t, "weak") == 0})
			}
		}
		from := exam - rankwright.Day(rapid.IntRange(-2, 80).Draw(t, "days"))
		off := time.Weekday(rapid.IntRange(-1, 6).Draw(t, "off"))
		if rapid.Bool().Draw(t, "just enough time") {
			need := 0
			for _, x := range tasks {
				need += x.Minutes
			}
			off = -1
			from = exam - coach.LightDays - rankwright.Day((need+6)/7+rapid.IntRange(0, 2).Draw(t, "more"))
		}
		p := coach.NewPlan(tasks, from, exam, off)
		if again := coach.NewPlan(tasks, from, exam, off); !reflect.DeepEqual(p, again) {
			t.Fatal("the same again is another plan")
		}
		check(t, tasks, p, from, off)
	})
}

func check(t *rapid.T, tasks []coach.Task, p coach.Plan, from rankwright.Day, off time.Weekday) {
	seen := make([][]rankwright.Day, len(tasks))
	last := from - 1
	for _, d := range p.Days {
		most := coach.MostMinutes
		if d.On >= exam-coach.LightDays {
			most = coach.LightMinutes
		}
		minutes := 0
		for _, i := range d.Tasks {
			minutes += tasks[i].Minutes
			if n := len(seen[i]); n > 0 && seen[i][n-1] == d.On {
				t.Fatalf("%s comes twice on %s", tasks[i].Requirement, d.On)
			}
			seen[i] = append(seen[i], d.On)
			if most == coach.LightMinutes && !tasks[i].How.Memory() {
				t.Fatalf("%s is no last look", tasks[i].Requirement)
			}
		}
		if minutes != d.Minutes || minutes > most || minutes == 0 {
			t.Fatalf("%s has %d minutes, said to be %d, at most %d", d.On, minutes, d.Minutes, most)
		}
		if d.On <= last || d.On >= exam || d.On < exam-coach.MostDays || d.On.Weekday() == off {
			t.Fatalf("%s comes after %s, before %s, weekday off %v", d.On, last, exam, off)
		}
		last = d.On
	}
	room, need, lastWeak, firstOther := 0, 0, rankwright.Day(0), exam
	for d := max(from, exam-coach.MostDays); d < exam-coach.LightDays; d++ {
		if d.Weekday() != off {
			room += 7 // ten, less the three into which a task of four does not go
		}
	}
	for _, x := range tasks {
		need += x.Minutes
	}
	for i, x := range tasks {
		if len(seen[i]) == 0 {
			if !slices.Contains(p.Left, i) {
				t.Fatalf("%s is nowhere", x.Requirement)
			}
			continue
		}
		if slices.Contains(p.Left, i) {
			t.Fatalf("%s is said to be left and is not", x.Requirement)
		}
		if x.Weak {
			lastWeak = max(lastWeak, seen[i][0])
		} else {
			firstOther = min(firstOther, seen[i][0])
		}
		easiness := coach.Easy
		if x.Weak {
			easiness = coach.Hard
		}
		for n := 1; n < len(seen[i]); n++ {
			gap := int(seen[i][n] - seen[i][n-1])
			if least := coach.Interval(n, easiness); x.How.Memory() && seen[i][n] < exam-coach.LightDays && gap < least {
				t.Fatalf("%s comes after %d days, and no sooner than %d", x.Requirement, gap, least)
			}
			if !x.How.Memory() && gap < 2 {
				t.Fatalf("%s comes on two days running", x.Requirement)
			}
		}
		if x.How.Memory() && need <= room && seen[i][0] >= exam-coach.LightDays {
			t.Fatalf("%s is new on the last days", x.Requirement)
		}
	}
	if need <= room {
		if len(p.Left) > 0 {
			t.Fatalf("%d minutes have room in %d, and %v is left", need, room, p.Left)
		}
		if lastWeak > firstOther {
			t.Fatalf("something weak begins on %s, after another on %s", lastWeak, firstOther)
		}
	}
}

// Six weeks for the first rank: each thing by heart comes at least four times,
// with a last look at the end, and the weeks hold the days of the plan.
func TestSixWeeksBringEverythingBackOftenEnough(t *testing.T) {
	s := otterlight()
	for i := range s.Ranks {
		k := &s.Ranks[i]
		t.Run(k.Name, func(t *testing.T) {
			tasks, _ := coach.Home(s, asked(k), coach.Weak{})
			p := coach.NewPlan(tasks, exam-42, exam, time.Sunday)
			times := map[int]int{}
			for _, d := range p.Days {
				for _, x := range d.Tasks {
					times[x]++
				}
			}
			for j, x := range tasks {
				if x.How.Memory() && times[j] < 4 || times[j] < 3 {
					t.Errorf("%s comes %d times", x.Requirement, times[j])
				}
			}
			for first := range time.Weekday(7) {
				var flat []coach.Day
				weeks := p.Weeks(first)
				for n, w := range weeks {
					if w.Begins.Weekday() != first || n > 0 && w.Begins != weeks[n-1].Begins+7 {
						t.Errorf("week %d begins on %s", n, w.Begins.Long())
					}
					for place, d := range w.Days {
						if d == nil {
							continue
						}
						if d.On != w.Begins+rankwright.Day(place) {
							t.Errorf("%s stands in the week of %s", d.On, w.Begins)
						}
						flat = append(flat, *d)
					}
				}
				if !reflect.DeepEqual(flat, p.Days) {
					t.Error("the weeks are not the days")
				}
			}
		})
	}
}

func TestAPlanBeginsWhenItIsAskedForAndIsEmptyWhenTheDayHasCome(t *testing.T) {
	s := otterlight()
	reed, _ := s.Rank("reed")
	tasks, _ := coach.Home(s, asked(reed), coach.Weak{})
	for _, tt := range []struct {
		from  rankwright.Day
		first string
	}{{exam - 200, "2026-10-17"}, {exam - 20, "2026-11-22"}, {exam - 1, "2026-12-11"}, {exam, ""}, {exam + 9, ""}} {
		p := coach.NewPlan(tasks, tt.from, exam, -1)
		first := ""
		if len(p.Days) > 0 {
			first = p.Days[0].On.String()
		}
		if first != tt.first || first == "" && len(p.Left) != len(tasks) {
			t.Errorf("from %s the plan begins on %q, want %q, and leaves %d", tt.from, first, tt.first, len(p.Left))
		}
	}
}

func BenchmarkPlan(b *testing.B) {
	s := otterlight()
	tasks, _ := coach.Home(s, asked(&s.Ranks[5]), coach.Weak{})
	for b.Loop() {
		if len(coach.NewPlan(tasks, exam-56, exam, time.Sunday).Days) == 0 {
			b.Fatal(fmt.Sprint("no plan for ", len(tasks)))
		}
	}
}
