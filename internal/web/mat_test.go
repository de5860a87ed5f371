package web_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/internal/web/lean"
	weblook "rankwright/internal/web/look"
	"rankwright/scoring"
)

// mat is a grading on the mat: six beginners for Reed, two for Indigo.
type mat struct {
	*site
	grading               rankwright.GradingID
	mira, jonas, low      app.Actor // examiners; low examines up to Amber
	outside               app.Actor // an examiner who is not on the panel
	instructor, assistant app.Actor
	reed                  []rankwright.EntryID // in the order of the columns
	names                 []string
}

func newMat(t *testing.T) *mat {
	t.Helper()
	m := &mat{site: newSite(t)}
	m.Publish("otterlight.yaml")
	m.Import(`student_id,given_name,family_name,birth_date,ladder,rank,rank_since,classes_since_rank
101,Ana,Abara,2018-02-14,youth,,2026-02-01,30
102,Ben,Bakker,2017-03-03,youth,,2026-02-01,30
103,Chloé,Castellanos,2016-12-03,youth,,2026-02-01,30
104,Ana,Dupont,2018-06-09,youth,,2026-02-01,30
105,Eero,Eskola,2015-01-20,youth,,2026-02-01,30
106,Fatou,Faye,2019-05-05,youth,,2026-02-01,30
107,Gita,Ghosh,2013-05-05,youth,plum,2025-01-01,90
108,Hugo,Holm,2012-05-05,youth,plum,2025-01-01,90
`)
	m.mira = m.Person("Mira Oduya", app.Examiner, "")
	m.jonas = m.Person("Jonas Tiilikainen", app.Examiner, "")
	m.low = m.Person("Priya Ramaswamy", app.Examiner, "amber")
	m.outside = m.Person("Otto Outside", app.Examiner, "")
	m.instructor = m.Person("Iva Instructor", app.Instructor, "")
	m.assistant = m.Person("Asta Assistant", app.Assistant, "")
	g, err := m.App.CreateGrading(t.Context(), m.Owner, app.NewGrading{Title: "Autumn grading", Day: rankwright.NewDay(2026, 10, 10), Ladder: "youth", Ranks: []rankwright.RankID{"reed", "indigo"}})
	m.done(t, err)
	m.grading = g.ID
	for _, id := range []rankwright.StudentID{"101", "102", "103", "104", "105", "106", "107", "108"} {
		m.done(t, m.App.EnterAnyway(t.Context(), m.Owner, g.ID, id, "for the test"))
	}
	m.done(t, m.App.SetPanel(t.Context(), m.Owner, g.ID, []string{m.mira.ID, m.jonas.ID, m.low.ID, m.instructor.ID}, m.mira.ID))
	m.done(t, m.App.Move(t.Context(), m.Owner, g.ID, app.OnTheMat))
	v := m.view(t)
	for _, e := range v.Entries {
		if e.Rank == "reed" {
			m.reed = append(m.reed, e.Entry.ID)
			m.names = append(m.names, e.Student.GivenName)
		}
	}
	return m
}

func (m *mat) done(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (m *mat) view(t *testing.T) app.GradingView {
	t.Helper()
	v, err := m.App.Grading(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	return v
}

// log is every mark of the grading as the base has it.
func (m *mat) log(t *testing.T) (out []store.MarkRow) {
	t.Helper()
	m.done(t, m.Store.Read(t.Context(), func(tx *store.Tx) (err error) {
		out, err = tx.MarksOfGrading(m.grading)
		return err
	}))
	return out
}

func (m *mat) path(more string) string { return "/gradings/" + string(m.grading) + more }

// sent is one mark as a device sends it.
func (m *mat) sent(n int, entry rankwright.EntryID, q, value string) map[string]any {
	return map[string]any{"id": fmt.Sprintf("mark-%d", n), "device": "d-1", "seq": n, "clock": n, "entry": entry, "requirement": q, "try": 1, "value": value, "at": 1_790_000_000_000 + n, "note": ""}
}

type answers struct {
	V       int
	Answers []struct{ ID, Status, Why string }
}

func (v *visitor) send(m *mat, body any) (int, answers, string) {
	v.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		v.t.Fatal(err)
	}
	req, _ := http.NewRequest(http.MethodPost, m.URL+m.path("/marks"), bytes.NewReader(b))
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Accept", "application/json")
	r := v.read(v.c.Do(req))
	var a answers
	if r.status == http.StatusOK {
		if err := json.Unmarshal([]byte(r.body), &a); err != nil {
			v.t.Fatal(err)
		}
	}
	return r.status, a, r.body
}

func TestEachPageOfTheMatOpensForThoseWhoNeedIt(t *testing.T) {
	m := newMat(t)
	pages := []string{"/marks", "/marks/reed", "/marks/reed?row=RE-BF1", "/arrivals"}
	for _, c := range []struct {
		who  app.Actor
		want []int
	}{
		{m.Owner, []int{200, 200, 200, 200}},
		{m.instructor, []int{200, 200, 200, 200}},
		{m.mira, []int{200, 200, 200, 403}},
		{m.assistant, []int{403, 403, 403, 200}},
	} {
		v := m.as(t, c.who)
		for i, p := range pages {
			if r := v.get(m.path(p)); r.status != c.want[i] {
				t.Errorf("%s gets %d at %s, want %d", c.who.Name, r.status, p, c.want[i])
			}
		}
	}
	v := m.visit(t)
	for _, p := range pages {
		if r := v.get(m.path(p)); r.status != http.StatusSeeOther || !strings.HasPrefix(r.to, "/sign-in") {
			t.Errorf("somebody who is not signed in gets %d at %s", r.status, p)
		}
	}
	m.as(t, m.mira).get(m.path("/marks/none")).says(t, http.StatusNotFound, "no rank")
	m.as(t, m.mira).get("/gradings/none/marks").says(t, http.StatusNotFound)
	m.as(t, m.mira).get(m.path("/marks/reed?row=none")).says(t, http.StatusNotFound, "not asked for Reed")
}

func TestTheListOfRanksSaysWhatIsMarked(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	m.Mark(m.mira, m.grading, m.reed[0], "RE-ET1", scoring.N(1))
	// Six students, nineteen requirements of which one is an extra.
	v.get(m.path("/marks")).says(t, 200, "Which squad, or which rank", `<span class="num">1</span> of <span class="num">108</span> marks given`, "Indigo")
	if r := m.as(t, m.jonas).get(m.path("/marks")); strings.Contains(r.body, `<span class="num">1</span> of`) {
		t.Error("an examiner sees that another has marked")
	}
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[5], "absent"))
	v.get(m.path("/marks")).says(t, 200, `of <span class="num">90</span> marks given`)
	m.as(t, m.low).get(m.path("/marks")).says(t, 200, "above the ranks that you examine", "Which rank do you mark?") // nothing of the squad but Reed
}

func TestOneRankAloneIsOpenedAtOnce(t *testing.T) {
	m := newMat(t)
	for _, e := range m.view(t).Entries {
		if e.Rank == "indigo" {
			m.done(t, m.App.Withdraw(t.Context(), m.Owner, e.Entry.ID))
		}
	}
	if r := m.as(t, m.mira).get(m.path("/marks")); r.status != http.StatusSeeOther || r.to != m.path("/marks/reed") {
		t.Fatalf("led to %q (%d)", r.to, r.status)
	}
}

func TestTheGridShowsEveryRequirementOfEveryStudent(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.Waive(t.Context(), m.Owner, app.Waiver{Grading: m.grading, Rank: "reed", Requirement: "RE-TH1", Reason: "no theme this month"}))
	m.done(t, m.App.SetPresence(t.Context(), m.Owner, m.reed[4], "unwell"))
	m.done(t, m.App.EditSchool(t.Context(), m.Owner, app.School{Name: "Otterlight", Cautions: "Pad every corner.", Safety: "First aider: Noor."}))
	r := m.as(t, m.mira).get(m.path("/marks/reed"))
	r.says(t, 200, "Ana A.", "Ana D.", ">Ben<", "RE-CN1",
		"<del>Tells one thing done for the month&#39;s theme</del>", "no theme this month",
		`aria-label="Ben, Bows at the mat edge coming in and going out: no mark"`,
		"Eero, Bows at the mat edge coming in and going out: unwell", `class="must">must`, "extra",
		"Pad every corner.", "First aider: Noor.", "All shown", "All at level 2", "All 3 of 3")
	_, grid, _ := strings.Cut(r.body, "<table")
	if grid, _, _ = strings.Cut(grid, "</table>"); strings.Count(grid, `<section class="caution">`) != 1 {
		t.Errorf("the cautions stand in the grid %d times, want once", strings.Count(grid, `<section class="caution">`))
	}
	if strings.Index(grid, `<section class="caution">`) > strings.Index(grid, ">Falls") {
		t.Error("the cautions come after the falls")
	}
	if n := strings.Count(r.body, `<tr data-q=`); n != 19 {
		t.Errorf("%d rows, want 19", n)
	}
	// Eighteen rows for the five who are examined.
	if n := strings.Count(r.body, `<button type="button" class="tap `); n != 18*5 {
		t.Errorf("%d cells can be tapped, want %d", n, 18*5)
	}
	if strings.Contains(r.body, "Bakker") {
		t.Error("a family name stands on the mat that is not needed to tell two apart")
	}
}

func TestMarksSentByADeviceAreAnsweredOneByOne(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	batch := map[string]any{"v": 1, "marks": []any{
		m.sent(1, m.reed[0], "RE-ET1", "1"),
		m.sent(2, m.reed[0], "RE-SM1", "9"),    // no such level
		m.sent(3, "nobody", "RE-ET1", "1"),     // not entered
		m.sent(4, m.reed[1], "RE-SM3", "7.25"), // a time
		m.sent(5, m.reed[0], "RE-ET1", "0"),    // corrects the first
		m.sent(6, m.reed[0], "IN-SM1", "2"),    // of another rank
		m.sent(1, m.reed[2], "RE-ET1", "1"),    // an id that is taken
	}}
	status, a, body := v.send(m, batch)
	if status != 200 || a.V != 1 {
		t.Fatalf("%d %s", status, body)
	}
	want := []struct{ status, why string }{{"stored", ""}, {"refused", "level"}, {"refused", "not entered"}, {"stored", ""}, {"stored", ""}, {"refused", "not asked for Reed"}, {"refused", "this id"}}
	for i, w := range want {
		got := a.Answers[i]
		if got.Status != w.status || !strings.Contains(got.Why, w.why) || (w.why == "") != (got.Why == "") {
			t.Errorf("mark %d: %+v, want %s %q", i, got, w.status, w.why)
		}
	}
	if n := len(m.log(t)); n != 3 {
		t.Fatalf("%d marks in the base, want 3", n)
	}
	_, a, _ = v.send(m, map[string]any{"v": 1, "marks": []any{m.sent(1, m.reed[0], "RE-ET1", "1"), m.sent(4, m.reed[1], "RE-SM3", "7.25")}})
	if a.Answers[0].Status != "double" || a.Answers[1].Status != "double" || len(m.log(t)) != 3 {
		t.Fatalf("sent twice: %+v", a.Answers)
	}
	r := v.get(m.path("/marks/reed"))
	r.says(t, 200, "Ana A., Bows at the mat edge coming in and going out: not shown", "7.3 s, reached, 7.25 s exactly", `data-clock="5"`)
}

func TestABatchThatCannotBeReadChangesNothing(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	for name, body := range map[string]string{"no JSON": "marks please", "a later version": `{"v":2,"marks":[]}`, "an empty form": ``} {
		req, _ := http.NewRequest(http.MethodPost, m.URL+m.path("/marks"), strings.NewReader(body))
		req.Header.Set("Accept", "application/json")
		if r := v.read(v.c.Do(req)); r.status != http.StatusUnprocessableEntity || !strings.Contains(r.body, `"say"`) {
			t.Errorf("%s: %d %s", name, r.status, r.body)
		}
	}
	long := m.sent(1, m.reed[0], "RE-ET1", "1")
	long["note"] = strings.Repeat("ü", 301)
	wild := m.sent(2, m.reed[0], "RE-ET1", "1")
	wild["clock"] = int64(1) << 60
	bare := m.sent(3, m.reed[0], "RE-ET1", "1")
	bare["id"] = ""
	_, a, _ := v.send(m, map[string]any{"v": 1, "marks": []any{long, wild, bare}})
	for i, why := range []string{"note: it should be text of at most 300", "clock: it should be a whole number", "id: it should be text"} {
		if a.Answers[i].Status != "refused" || !strings.Contains(a.Answers[i].Why, why) {
			t.Errorf("%+v, want %q", a.Answers[i], why)
		}
	}
	req, _ := http.NewRequest(http.MethodPost, m.URL+m.path("/marks"), strings.NewReader(`{"v":1,"marks":[{"note":"`+strings.Repeat("a", 2<<20)+`"}]}`))
	if r := v.read(v.c.Do(req)); r.status != http.StatusRequestEntityTooLarge {
		t.Errorf("a batch of two megabytes: %d", r.status)
	}
	if n := len(m.log(t)); n != 0 {
		t.Errorf("%d marks were kept", n)
	}
}

func TestOnlyThePanelGivesMarksAndOnlyInItsTime(t *testing.T) {
	m := newMat(t)
	one := func(n int) map[string]any {
		return map[string]any{"v": 1, "marks": []any{m.sent(n, m.reed[0], "RE-ET1", "1")}}
	}
	refused := func(who app.Actor, body map[string]any, why string) {
		t.Helper()
		if status, a, text := m.as(t, who).send(m, body); status != 200 || a.Answers[0].Status != "refused" || !strings.Contains(a.Answers[0].Why, why) {
			t.Errorf("%s: %d %s, want refused for %q", who.Name, status, text, why)
		}
	}
	refused(m.outside, one(1), "panel")
	refused(m.Owner, one(2), "panel")
	high := map[string]any{"v": 1, "marks": []any{m.sent(3, m.indigo(t), "IN-ET2", "1")}}
	refused(m.low, high, "up to Amber")
	forged := m.sent(4, m.reed[0], "RE-ET1", "1")
	forged["examiner"] = m.jonas.ID
	refused(m.mira, map[string]any{"v": 1, "marks": []any{forged}}, "another examiner")
	if status, _, _ := m.as(t, m.assistant).send(m, one(5)); status != http.StatusForbidden {
		t.Errorf("an assistant gave a mark: %d", status)
	}
	if status, _, _ := m.visit(t).send(m, one(6)); status != http.StatusUnauthorized {
		t.Errorf("nobody gave a mark: %d", status)
	}
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	if status, _, text := m.as(t, m.mira).send(m, one(7)); status != http.StatusConflict || !strings.Contains(text, "On the mat") {
		t.Errorf("a mark before the day: %d %s", status, text)
	}
	if n := len(m.log(t)); n != 0 {
		t.Errorf("%d marks were kept", n)
	}
	r := m.as(t, m.mira).get(m.path("/marks/reed"))
	r.says(t, 200, "No marks now")
	if strings.Contains(r.body, "<button type=\"button\" class=\"tap") {
		t.Error("cells can be tapped before the day")
	}
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.OnTheMat))
	m.as(t, m.outside).get(m.path("/marks/reed")).says(t, 200, "You are not on this panel")
	m.as(t, m.low).get(m.path("/marks/indigo")).says(t, 200, "examines up to Amber")
	m.as(t, m.Owner).get(m.path("/marks/reed")).says(t, 200, "Whose marks?", "Mira Oduya")
}

func (m *mat) indigo(t *testing.T) rankwright.EntryID {
	for _, e := range m.view(t).Entries {
		if e.Rank == "indigo" {
			return e.Entry.ID
		}
	}
	t.Fatal("nobody is entered for Indigo")
	return ""
}

func TestExaminersJudgeApartAndTheHeadInstructorSeesWhereTheyDiffer(t *testing.T) {
	m := newMat(t)
	m.Mark(m.mira, m.grading, m.reed[0], "RE-SM1", scoring.N(3))
	m.Mark(m.jonas, m.grading, m.reed[0], "RE-SM1", scoring.N(0))
	m.Mark(m.jonas, m.grading, m.reed[1], "RE-SM1", scoring.N(2))
	stance := "Harbour stance: feet, knees, guard: "
	own := m.as(t, m.mira).get(m.path("/marks/reed"))
	own.says(t, 200, "Ana A., "+stance+"3, reached", "Ben, "+stance+"no mark")
	if strings.Contains(own.body, "differ") || strings.Contains(own.body, "Jonas") {
		t.Error("an examiner sees another's marks")
	}
	m.as(t, m.instructor).get(m.path("/marks/reed?as="+m.mira.ID)).says(t, 200, "Ana A., "+stance+"3, differ between examiners, reached", "tap-apart", "Jonas Tiilikainen: 0", "1 marked")
	// An examiner who asks for another's sheet gets their own.
	m.as(t, m.jonas).get(m.path("/marks/reed?as="+m.mira.ID)).says(t, 200, "Ana A., "+stance+"0, asked 2")
}

func TestAnInstructorTypesInAnotherExaminersPaper(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.instructor)
	mark := m.sent(1, m.reed[0], "RE-ET1", "1")
	mark["examiner"] = m.jonas.ID
	if _, a, body := v.send(m, map[string]any{"v": 1, "marks": []any{mark}}); len(a.Answers) != 1 || a.Answers[0].Status != "stored" {
		t.Fatal(body)
	}
	if l := m.log(t); string(l[0].Examiner) != m.jonas.ID {
		t.Errorf("the mark is %s's, want %s's", l[0].Examiner, m.jonas.ID)
	}
}

func TestARowIsMarkedInAPlainForm(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	form := v.get(m.path("/marks/reed?row=RE-SM3"))
	form.says(t, 200, "Stands on one leg", "asked: 4", "asked: 8", "Save and go on")
	fields := url.Values{"row": {"RE-SM3"}, "as": {m.mira.ID}}
	put := func(i int, was, value, note string) {
		k := string(m.reed[i]) + ".1"
		fields.Set("was."+k, was)
		fields.Set("value."+k, value)
		fields.Set("note-was."+k, "")
		fields.Set("note."+k, note)
	}
	put(0, "", "12,5", "left leg") // a comma is a point
	put(1, "", "", "")
	put(2, "", "ten", "")
	r := v.post(m.path("/marks/reed"), fields)
	r.says(t, http.StatusUnprocessableEntity, "seconds such as 12", `value="12.5"`, "left leg")
	if n := len(m.log(t)); n != 0 {
		t.Fatalf("%d marks were kept of a form with a mistake", n)
	}
	put(2, "", "10", "")
	if r = v.post(m.path("/marks/reed"), fields); r.status != http.StatusSeeOther || !strings.Contains(r.to, "row=RE-HA1") {
		t.Fatalf("led to %q (%d)\n%s", r.to, r.status, r.body)
	}
	l := m.log(t)
	if len(l) != 2 || l[0].Value.String() != "12.5" || l[0].Note != "left leg" || l[1].Value.String() != "10" {
		t.Fatalf("the base has %+v", l)
	}
	// What the page had shown and was not changed gives no mark; what was
	// cleared takes the mark back.
	fields = url.Values{"row": {"RE-SM3"}}
	put(0, "12.5", "12.5", "")
	put(2, "10", "", "")
	v.post(m.path("/marks/reed"), fields)
	l = m.log(t)
	if len(l) != 3 || l[2].Value.Sort != scoring.NotSeen || l[2].Entry != m.reed[2] {
		t.Fatalf("the base has %+v", l)
	}
	v.get(m.path("/marks/reed?row=RE-SM1")).says(t, 200, "guard and balance hold on most steps")
	v.get(m.path("/marks/reed?row=RE-BF1")).says(t, 200, "Before falls and partner work")
}

func TestTheStylesOfTheMatUseOnlyValuesOfTheLook(t *testing.T) {
	css, err := fs.ReadFile(weblook.Static, "mat.css")
	if err != nil {
		t.Fatal(err)
	}
	tokens, err := weblook.ReadTokens()
	if err != nil {
		t.Fatal(err)
	}
	own := map[string]bool{} // lengths that the sheet works out for itself
	for _, v := range regexp.MustCompile(`[{;\s]--([a-z0-9-]+):`).FindAllSubmatch(css, -1) {
		own[string(v[1])] = true
	}
	for _, v := range regexp.MustCompile(`var\(--([a-z0-9-]+)\)`).FindAllSubmatch(css, -1) {
		if _, ok := tokens.Light[string(v[1])]; !ok && !own[string(v[1])] {
			t.Errorf("mat.css uses --%s, which neither tokens.css nor mat.css itself defines", v[1])
		}
	}
	if x := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b`).FindAll(css, -1); x != nil {
		t.Errorf("mat.css has colours of its own: %s", x)
	}
	if n, o := bytes.Count(css, []byte("{")), bytes.Count(css, []byte("}")); n != o {
		t.Errorf("mat.css opens %d blocks and closes %d", n, o)
	}
}

func TestTheScriptsOfTheMat(t *testing.T) {
	node, err := exec.LookPath("node")
	if err != nil {
		t.Fatal("the scripts of the mat are tested with Node.js, and none is installed (on Debian: apt-get install nodejs)")
	}
	files, err := filepath.Glob("mat/test/*.test.js")
	if err != nil || len(files) < 3 {
		t.Fatalf("the tests of the scripts are not there: %v %v", files, err)
	}
	// As they are written, and as they travel.
	travel := t.TempDir()
	if err := os.CopyFS(travel, os.DirFS("mat")); err != nil {
		t.Fatal(err)
	}
	scripts, err := filepath.Glob("mat/*.js")
	if err != nil {
		t.Fatal(err)
	}
	served := lean.FS(os.DirFS("mat"))
	for _, name := range scripts {
		text, err := fs.ReadFile(served, filepath.Base(name))
		was, _ := os.ReadFile(name)
		if err != nil || len(text) >= len(was) {
			t.Errorf("%s does not become smaller: %d bytes of %d, %v", name, len(text), len(was), err)
		}
		if err := os.WriteFile(filepath.Join(travel, filepath.Base(name)), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, dir := range []string{"mat", travel} {
		cmd := exec.CommandContext(t.Context(), node, "--test", "test/")
		cmd.Dir, cmd.Env = dir, append(os.Environ(), "NODE_OPTIONS=")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", dir, err, out)
		}
	}
}
