package app_test

import (
	"fmt"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/scoring"
)

const seenBefore = `rankwright: syllabus 1
ladder: seen
name: Seen before
sections:
  door: At the door
  exam: Examination
pass: {total: 50%}
ranks:
  - id: first
    name: First
    belt: {colour: black, hex: "#101010"}
    asks:
      - {id: nails, section: door, show: Nails short, kind: tick, points: 1, must: yes, before_the_day: yes}
      - {id: word, section: door, show: Helps others in class, kind: recall, of: 4, points: 4, before_the_day: yes}
      - {id: form, section: exam, show: Shows the form, kind: tick, points: 5}
`

// The desk marks what is seen before the day while the grading is planned, one
// mark for each requirement whoever gives it; the rest waits for the mat, and
// the outcome counts all of it.
func TestWhatIsSeenBeforeTheDayIsMarkedBeforeTheDay(t *testing.T) {
	s := apptest.New(t)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	d, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, seenBefore)
	must(err)
	_, err = s.App.Publish(s.Ctx(), s.Owner, d.Ladder)
	must(err)
	s.Import("student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank\n1,Ari,Abara,2017-03-03,seen,,2026-02-01,30\n2,Bo,Bakker,2017-03-03,seen,,2026-02-01,30\n")
	desk, coach, examiner := s.Person("Dana Desk", app.Assistant, ""), s.Person("Cora Coach", app.Instructor, ""), s.Person("Mira Oduya", app.Examiner, "")
	g, err := s.App.CreateGrading(s.Ctx(), s.Owner, app.NewGrading{Title: "Autumn", Day: rankwright.MustDay("2026-10-10"), Ladder: "seen"})
	must(err)
	for _, id := range []rankwright.StudentID{"1", "2"} {
		must(s.App.EnterAnyway(s.Ctx(), s.Owner, g.ID, id, "for the test"))
	}
	v, err := s.App.Grading(s.Ctx(), s.Owner, g.ID)
	must(err)
	ari := v.Entries[0].Entry.ID
	give := func(who app.Actor, q rankwright.RequirementID, value scoring.Value) string {
		t.Helper()
		a, err := s.App.GiveBefore(s.Ctx(), who, g.ID, []scoring.Mark{{Entry: ari, Requirement: q, Value: value}})
		must(err)
		return a[0].Refuse
	}
	is := func(want string) {
		t.Helper()
		got, err := s.App.Before(s.Ctx(), desk, g.ID)
		must(err)
		var lines []string
		for _, q := range []rankwright.RequirementID{"nails", "word", "form"} {
			if x, ok := got[ari][q]; ok {
				lines = append(lines, fmt.Sprintf("%s %s by %s", q, x.Value, x.By))
			}
		}
		if s := strings.Join(lines, ", "); s != want {
			t.Errorf("marked before the day: %q, want %q", s, want)
		}
	}
	for _, no := range []string{give(desk, "form", scoring.N(1))} {
		if !strings.Contains(no, "“Shows the form” is marked on the mat") {
			t.Errorf("what is shown on the mat is answered with %q", no)
		}
	}
	for why, no := range map[string]string{"3": give(desk, "word", scoring.N(9)), "none": give(desk, "nothing", scoring.N(1))} {
		if no == "" {
			t.Errorf("a mark that cannot be was taken (%s)", why)
		}
	}
	for _, no := range []string{give(desk, "nails", scoring.N(0)), give(coach, "word", scoring.N(3))} {
		if no != "" {
			t.Errorf("refused: %s", no)
		}
	}
	is("nails 0 by Dana Desk, word 3 by Cora Coach")
	if no := give(coach, "nails", scoring.N(1)); no != "" { // they were cut
		t.Error(no)
	}
	is("nails 1 by Dana Desk, word 3 by Cora Coach")
	give(desk, "word", scoring.Value{}) // taken back
	is("nails 1 by Dana Desk")
	give(desk, "word", scoring.N(2))
	is("nails 1 by Dana Desk, word 2 by Cora Coach")
	if _, err := s.App.AddMarks(s.Ctx(), coach, g.ID, nil); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("marks of the mat while it is planned: %v", err)
	}

	must(s.App.SetPanel(s.Ctx(), s.Owner, g.ID, []string{examiner.ID}, examiner.ID))
	must(s.App.Move(s.Ctx(), s.Owner, g.ID, app.OnTheMat))
	if a, err := s.App.AddMarks(s.Ctx(), examiner, g.ID, []scoring.Mark{{Entry: ari, Requirement: "form", Value: scoring.N(1)}}); err != nil || a[0].Refuse != "" {
		t.Fatal(err, a)
	}
	if a, err := s.App.AddMarks(s.Ctx(), coach, g.ID, []scoring.Mark{{Entry: ari, Requirement: "form", Value: scoring.N(1)}}); err != nil || !strings.Contains(a[0].Refuse, "panel") {
		t.Errorf("somebody outside the panel marks on the mat: %v %v", a, err)
	}
	must(s.App.SetPresence(s.Ctx(), s.Owner, ari, "present"))
	must(s.App.Move(s.Ctx(), s.Owner, g.ID, app.Deciding))
	_, out, err := s.App.Outcomes(s.Ctx(), s.Owner, g.ID)
	must(err)
	found := false
	for _, o := range out {
		if o.Entry.ID == ari {
			found = true
			if got := fmt.Sprint(o.Verdict.Outcome); got != "promoted" {
				t.Errorf("with 8 of 10 points and the must met the outcome is %s", got)
			}
		}
	}
	if !found {
		t.Error("there is no outcome")
	}
}
