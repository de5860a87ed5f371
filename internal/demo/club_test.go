package demo_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/demo"
	"rankwright/internal/store"
	"rankwright/ready"
	"rankwright/roster"
	"rankwright/syllabus"
)

// dice is a random source that always throws the same from its start.
type dice struct{ start, n uint64 }

func (d *dice) Read(b []byte) (int, error) {
	for i := 0; i < len(b); d.n++ {
		sum := sha256.Sum256(binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint64(nil, d.start), d.n))
		i += copy(b[i:], sum[:])
	}
	return len(b), nil
}

// The day on which the demo starts for its coming grading to be on the
// scenario's own day.
var scenarioStart = time.Date(2026, 9, 30, 10, 0, 0, 0, time.UTC)

type filled struct {
	demo.Club
	app *app.App
	st  *store.Store
}

func fill(dir string, start time.Time, rand io.Reader) (filled, error) {
	st, err := store.Open(context.Background(), dir)
	if err != nil {
		return filled{}, err
	}
	clock := demo.NewClock(func() time.Time { return start })
	a := app.New(st, app.Options{Now: clock.Now, Rand: rand})
	c, err := demo.Fill(context.Background(), a, clock)
	if err == nil && !clock.Now().Equal(start) {
		err = fmt.Errorf("after filling it is %v", clock.Now())
	}
	return filled{c, a, st}, err
}

func fillNew(t *testing.T, start time.Time, rand io.Reader) filled {
	t.Helper()
	f, err := fill(t.TempDir(), start, rand)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.st.Close() })
	return f
}

// shared is the club that the tests only look at.
var shared struct {
	filled
	err error
}

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "rankwright-demo-test-")
	if err != nil {
		panic(err)
	}
	shared.filled, shared.err = fill(dir, scenarioStart, &dice{start: 1})
	code := m.Run()
	if shared.st != nil {
		shared.st.Close()
	}
	os.RemoveAll(dir)
	os.Exit(code)
}

func story(t *testing.T) filled {
	t.Helper()
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.filled
}

func (f filled) students(t *testing.T) []roster.Student {
	t.Helper()
	all, err := f.app.Students(t.Context(), f.Owner)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func (f filled) outcomes(t *testing.T, g rankwright.GradingID) (app.GradingView, []app.Outcome) {
	t.Helper()
	v, out, err := f.app.Outcomes(t.Context(), f.Owner, g)
	if err != nil {
		t.Fatal(err)
	}
	return v, out
}

func TestTheClubHasItsChildrenAndHouseholds(t *testing.T) {
	f := story(t)
	all := f.students(t)
	if len(all) != 74 {
		t.Errorf("%d students, want 74", len(all))
	}
	names := map[string]bool{}
	for _, s := range all {
		if age := rankwright.Age(s.BirthDate, f.app.Today(), rankwright.FirstOfNext); age < 5 || age > 15 {
			t.Errorf("%s is %d years old", s.FullName(), age)
		}
		if names[s.FullName()] {
			t.Errorf("two children are called %s", s.FullName())
		}
		names[s.FullName()] = true
		if len(s.Guardians) == 0 || !strings.HasSuffix(s.Guardians[0].Email, "@example.org") || !strings.HasSuffix(s.BeltSize, " cm") {
			t.Errorf("%s has guardians %v and belt size %q", s.FullName(), s.Guardians, s.BeltSize)
		}
		if faults := s.Validate(f.app.Today()); len(faults) > 0 {
			t.Error(faults)
		}
	}
	if n := len(roster.Households(all)); n < 45 || n > 55 {
		t.Errorf("%d households, want about 50", n)
	}
}

func TestTheStoryIsOnlyPutOnAnEmptyBase(t *testing.T) {
	f := story(t)
	if _, err := demo.Fill(t.Context(), f.app, demo.NewClock(func() time.Time { return scenarioStart })); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("a base with a school was filled once more: %v", err)
	}
}

// The expected answers are those of the scenario that was written before the
// program, kept word for word in testdata.
func TestTheCandidatesOfTheStoryGetTheAnswersWrittenForThem(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "candidates.json"))
	if err != nil {
		t.Fatal(err)
	}
	var want []struct {
		Name, Rank, Band, Since, Eligible string
		Age, Sessions                     int
		Born, Last                        rankwright.Day
	}
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	if len(want) != 18 {
		t.Fatalf("%d candidates, want 18", len(want))
	}
	f := story(t)
	list, err := f.app.Candidates(t.Context(), f.Owner, f.Coming)
	if err != nil {
		t.Fatal(err)
	}
	v, err := f.app.Grading(t.Context(), f.Owner, f.Coming)
	if err != nil {
		t.Fatal(err)
	}
	if v.Day != rankwright.MustDay("2026-10-10") {
		t.Fatalf("the coming grading is on %s", v.Day)
	}
	got := map[string]app.Candidate{}
	for _, c := range list {
		got[c.Student.FullName()] = c
	}
	for _, w := range want {
		t.Run(w.Name, func(t *testing.T) {
			c, ok := got[w.Name]
			if !ok {
				t.Fatal("is not among the candidates")
			}
			s := c.Student
			if s.BirthDate != w.Born || s.RankSince != w.Last || s.ClassesSinceRank != w.Sessions || c.Rank.Name != w.Rank || c.Answer.AgeOnDay != w.Age {
				t.Errorf("born %s, since %s, %d classes, sits %s at %d; want %+v", s.BirthDate, s.RankSince, s.ClassesSinceRank, c.Rank.Name, c.Answer.AgeOnDay, w)
			}
			if b := v.Syllabus.Bands[v.Syllabus.Band(c.Answer.AgeOnDay)].ID; b != w.Band {
				t.Errorf("age band %s, want %s", b, w.Band)
			}
			days := int(v.Day - s.RankSince)
			if since := fmt.Sprintf("%dw%dd", days/7, days%7); since != w.Since {
				t.Errorf("time since %s, want %s", since, w.Since)
			}
			if answer := answerOf(c.Answer); answer != w.Eligible {
				t.Errorf("the answer is %q, want %q", answer, w.Eligible)
			}
		})
	}
}

// answerOf writes an answer in the scenario's words.
func answerOf(a ready.Answer) string {
	if a.Yes {
		return "yes"
	}
	word := map[ready.Kind]string{ready.ByTime: "weeks", ready.ByClasses: "sessions", ready.ByAge: "age"}
	var short []string
	for _, r := range a.Unmet() {
		short = append(short, word[r.Kind])
	}
	return "no: " + strings.Join(short, ", ")
}

// This demo has its grading on a 29 February; birthdays on all other days are
// tested with the clock.
func TestTheAnswersDoNotDependOnTheDayOfTheDemo(t *testing.T) {
	answers := func(f filled) map[string]string {
		list, err := f.app.Candidates(t.Context(), f.Owner, f.Coming)
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]string{}
		for _, c := range list {
			out[c.Student.FullName()] = fmt.Sprintf("%s for %s at %d", answerOf(c.Answer), c.Rank.Name, c.Answer.AgeOnDay)
		}
		return out
	}
	want := answers(story(t))
	for _, day := range []string{"2028-02-19"} {
		start, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		got := answers(fillNew(t, start, &dice{start: 1}))
		for name, w := range want {
			if got[name] != w {
				t.Errorf("with the demo of %s: %s: %s, and %s in the story", day, name, got[name], w)
			}
		}
	}
}

func TestEveryOutcomeOccursInThePast(t *testing.T) {
	f := story(t)
	count, labels := map[syllabus.Outcome]int{}, map[string]int{}
	late, total := 0, 0
	for _, id := range []rankwright.GradingID{f.First, f.Second} {
		v, out := f.outcomes(t, id)
		if app.State(v.State) != app.Closed {
			t.Errorf("%s is %s", v.Title, v.State)
		}
		for _, o := range out {
			total++
			count[o.Stands()]++
			labels[o.Decision.Label]++
			if o.Entry.Presence == "unwell" {
				labels["unwell"]++
			}
			if o.Decision.At > v.Signed {
				late++
			}
		}
	}
	for _, o := range []syllabus.Outcome{syllabus.Promoted, syllabus.Held, syllabus.NotYet, syllabus.Absent, syllabus.Stopped} {
		if count[o] == 0 {
			t.Errorf("nobody was %s: %v", o, count)
		}
	}
	if count[syllabus.Incomplete] > 0 {
		t.Errorf("%d were left without an outcome", count[syllabus.Incomplete])
	}
	for _, l := range []string{"commendation", "with follow-up", "part", "whole", "unwell"} {
		if labels[l] == 0 {
			t.Errorf("nobody has the label %q: %v", l, labels)
		}
	}
	if late == 0 {
		t.Error("no held promotion was released afterwards")
	}
	if share := 100 * count[syllabus.Promoted] / total; share < 60 || share > 85 {
		t.Errorf("%d%% were promoted, which nobody would believe", share)
	}
}

func TestTheComingGradingIsHalfPrepared(t *testing.T) {
	f := story(t)
	v, err := f.app.Grading(t.Context(), f.Owner, f.Coming)
	if err != nil {
		t.Fatal(err)
	}
	if v.Day != f.app.Today()+10 || app.State(v.State) != app.Families || v.Theme != "noticing" || len(v.Panel) != 5 || v.Lead != f.Owner.ID {
		t.Errorf("day %s, state %s, theme %q, %d examiners", v.Day, v.State, v.Theme, len(v.Panel))
	}
	if len(v.Waivers) != 1 || v.Waivers[0].Reason == "" {
		t.Errorf("waivers %+v", v.Waivers)
	}
	met, missing, overruled := 0, 0, 0
	for _, e := range v.Entries {
		for _, c := range v.Syllabus.Clearances {
			if e.Clearances[c.ID] {
				met++
			} else {
				missing++
			}
		}
		if e.OverruleWhy != "" {
			overruled++
			if e.Student.GivenName != "Siosifa" {
				t.Errorf("%s was let in against the rule", e.Student.FullName())
			}
		}
	}
	if len(v.Entries) < 18 || met == 0 || missing == 0 || overruled != 1 {
		t.Errorf("%d entries, %d clearances met, %d missing, %d overruled", len(v.Entries), met, missing, overruled)
	}
	hanae := false
	_, out := f.outcomes(t, f.Coming)
	for _, o := range out {
		if o.Entry.Student.GivenName == "Hanae" {
			hanae = true
			if len(o.Case.Kept) == 0 {
				t.Error("nothing that Hanae showed in July is kept")
			}
			for _, k := range o.Case.Kept {
				if s := o.Rank.Requirement(k.Requirement).Section; s == "BF" || s == "GU" {
					t.Errorf("%s is kept, and should be shown again", k.Requirement)
				}
				if k.Until != v.Day {
					t.Errorf("what is kept stands until %s, not until the day of the grading", k.Until)
				}
			}
		}
	}
	if !hanae {
		t.Error("Hanae is not entered")
	}
}

// Of the levels that two examiners gave to the same thing shown, the strict
// one's are lower by a third of a level or more on average, and no other's are.
func TestOneExaminerIsStricter(t *testing.T) {
	f := story(t)
	names := map[string]string{}
	type sum struct{ thousandths, n int }
	apart := map[string]*sum{}
	both := 0
	for _, id := range []rankwright.GradingID{f.First, f.Second} {
		v, out := f.outcomes(t, id)
		for _, p := range v.Panel {
			names[p.Person] = p.Name
		}
		for _, o := range out {
			for i, q := range o.Rank.Requirements {
				seen := o.Case.Card.Seen[i]
				if q.Kind != syllabus.Leveled || len(seen) < 2 {
					continue
				}
				both++
				for _, x := range seen {
					others := 0
					for _, y := range seen {
						if y.Examiner != x.Examiner {
							others += y.Value.Num.Int()
						}
					}
					s := apart[names[string(x.Examiner)]]
					if s == nil {
						s = &sum{}
						apart[names[string(x.Examiner)]] = s
					}
					s.n++
					s.thousandths += 1000*x.Value.Num.Int() - 1000*others/(len(seen)-1)
				}
			}
		}
	}
	if both < 200 {
		t.Fatalf("only %d things were seen by two examiners", both)
	}
	for name, s := range apart {
		mean := s.thousandths / s.n
		if strict := name == "Kaito Barretto-Sato"; strict != (mean < -333) {
			t.Errorf("%s is %d thousandths of a level from the others", name, mean)
		}
	}
	if len(apart) != 4 {
		t.Errorf("%d examiners marked beside others, want 4", len(apart))
	}
}

func TestEveryMarkSignatureAndLineOfTheBaseHolds(t *testing.T) {
	f := story(t)
	got, err := f.app.Verify(t.Context(), f.Owner)
	if err != nil {
		t.Fatal(err)
	}
	if got.Gradings != 2 || got.Outcomes < 50 || len(got.Differ) > 0 {
		t.Errorf("%+v", got)
	}
}

func TestEverybodyCanSignInWithThePrintedPassword(t *testing.T) {
	f := story(t)
	roles := map[app.Role]bool{}
	for _, p := range demo.People {
		who, err := f.app.SignIn(t.Context(), p.Name, p.Password)
		if err != nil || who.Role != p.Role {
			t.Errorf("%s: %v, %v", p.Name, who.Role, err)
		}
		roles[p.Role] = true
	}
	if len(roles) != len(app.Roles()) {
		t.Errorf("the demo shows the roles %v only", roles)
	}
}

// The ids that a base makes are left to chance; what happened is not.
func TestTheStoryIsAlwaysTheSame(t *testing.T) {
	tell := func(f filled) string {
		var b strings.Builder
		for _, s := range f.students(t) {
			fmt.Fprintf(&b, "%+v\n", s)
		}
		for _, g := range []rankwright.GradingID{f.First, f.Second, f.Coming} {
			_, out := f.outcomes(t, g)
			lines := make([]string, len(out))
			for i, o := range out {
				doc := o.Verdict.Document()
				doc.Entry = ""
				for k := range doc.SecondLook {
					doc.SecondLook[k].Examiner = ""
				}
				text, err := json.Marshal(doc)
				if err != nil {
					t.Fatal(err)
				}
				lines[i] = fmt.Sprintf("%s %v %s\n", o.Entry.Student.FullName(), o.Entry.Clearances, text)
			}
			slices.Sort(lines)
			b.WriteString(strings.Join(lines, ""))
		}
		ledger, err := f.app.Ledger(t.Context(), f.Owner)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range ledger {
			fmt.Fprintln(&b, l.Line.Certificate, l.Name, l.Line.RankName, l.Line.Label)
		}
		return b.String()
	}
	if tell(story(t)) != tell(fillNew(t, scenarioStart, &dice{start: 2})) {
		t.Error("the same story was told in two ways")
	}
}
