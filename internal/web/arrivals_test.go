package web_test

import (
	"image"
	"image/color"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/piglig/go-qr"

	"rankwright/internal/app"
)

func (m *mat) arrive(v *visitor, e int, answers ...string) reply {
	v.t.Helper()
	form := url.Values{"entry": {string(m.reed[e])}}
	for i := 0; i < len(answers); i += 2 {
		form.Set(answers[i], answers[i+1])
	}
	return v.post(m.path("/arrivals"), form)
}

func TestTheListAtTheDoorIsTheSchoolsOwn(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	v.get(m.path("/arrivals")).says(t, 200, "Kit is complete", "Hands are clean", "How do you feel today?")
	m.done(t, m.App.EditSchool(t.Context(), m.Owner, app.School{Name: "Otterlight", Door: "Shoes are off\n\n  Water  bottle \nShoes are off", Feel: "Are you well?"}))
	r := v.get(m.path("/arrivals"))
	r.says(t, 200, "Shoes are off", "Water bottle", "Are you well?")
	if strings.Contains(r.body, "Kit is complete") || strings.Count(r.body, ">Shoes are off<") != 8 {
		t.Error("the list is not the school's own, a line once for each of eight children")
	}
	m.arrive(v, 0, "door-line.0", "Shoes are off", "door-was.0", "no", "door.0", "yes")
	door, err := m.App.Door(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	if !door[m.reed[0]].Ticked["Shoes are off"] || len(door) != 1 {
		t.Errorf("ticked: %+v", door)
	}
	m.arrive(v, 0, "door-line.0", "Shoes are off", "door-was.0", "yes")
	if door, _ = m.App.Door(t.Context(), m.Owner, m.grading); len(door) != 0 {
		t.Errorf("taken away, and there is %+v", door)
	}
	m.arrive(v, 0, "door-line.0", "Kit is complete", "door-was.0", "no", "door.0", "yes").says(t, 409, "not on the school&#39;s list any more")
	m.done(t, m.App.EditSchool(t.Context(), m.Owner, app.School{Name: "Otterlight", Door: "-"}))
	if r := v.get(m.path("/arrivals")); strings.Contains(r.body, "door-line") {
		t.Error("a school without a list is asked one")
	}
}

func TestSomebodyWhoIsLateIsThereWithTheTime(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	m.Now = m.Now.Add(42 * time.Minute)
	m.arrive(v, 0, "presence", "late", "presence-was", "expected")
	v.get(m.path("/arrivals")).says(t, 200, "came at 09:42", "1 here")
	m.Now = m.Now.Add(time.Hour)
	m.arrive(v, 0, "presence", "present", "presence-was", "late") // not late after all; the time stays
	door, err := m.App.Door(t.Context(), m.Owner, m.grading)
	m.done(t, err)
	if d := door[m.reed[0]]; d.Late || d.Came.Time().Local().Format("15:04") != "09:42" {
		t.Errorf("it is known as %+v", d)
	}
	m.arrive(v, 0, "presence", "absent", "presence-was", "present")
	if door, _ = m.App.Door(t.Context(), m.Owner, m.grading); len(door) != 0 {
		t.Errorf("a no-show came: %+v", door)
	}
}

func TestNotWellTodayIsUnwellInKindWordsAndNothingElseIsKept(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	m.arrive(v, 0, "feel", "unwell", "presence", "expected", "presence-was", "expected")
	v.get(m.path("/arrivals")).says(t, 200, "1 unwell", "getting well comes first", "next date offered")
	if door, _ := m.App.Door(t.Context(), m.Owner, m.grading); len(door) != 0 {
		t.Errorf("something is kept: %+v", door)
	}
}

func TestTheDeskMovesAChildToAnotherSquad(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	m.arrive(v, 0, "squad", "2", "squad-was", "1")
	v.get(m.path("/arrivals")).says(t, 200, "Squad 2")
	for _, bad := range []string{"0", "100", "two"} {
		m.arrive(v, 0, "squad", bad, "squad-was", "2").says(t, 422, "squad")
	}
	m.as(t, m.Owner).get(m.path("/board")).says(t, 200, "Squad 1", "Squad 2")
}

func TestSheetsOnPaperHoldTheRank(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	v.get(m.path("/paperwork")).says(t, 200, "Run sheet", "Score table", "for A4 paper")
	v.get(m.path("/paperwork?paper=letter")).says(t, 200, "for US Letter paper", "score-table.pdf?paper=letter&amp;part=1&amp;rank=reed")
	for _, path := range []string{"/paperwork/run-sheet.pdf?rank=reed", "/paperwork/score-table.pdf?rank=reed", "/paperwork/score-table.pdf?rank=indigo&paper=letter"} {
		if r := v.get(m.path(path)); r.status != 200 || !strings.HasPrefix(r.body, "%PDF-") {
			t.Errorf("%s: %d", path, r.status)
		}
	}
	v.get(m.path("/paperwork/score-table.pdf?rank=reed&part=2")).says(t, 404)
	v.get(m.path("/paperwork/run-sheet.pdf?rank=nowhere")).says(t, 404)
}

// The picture on the page is read back from its own path, module by module, by
// a decoder. zbarimg 0.23 read a screenshot of the page once, by hand.
func TestTheCodeOnThePageIsTheAddressBesideIt(t *testing.T) {
	m := newMat(t)
	desk := m.as(t, m.Owner)
	m.code(t, desk)
	page := desk.get(m.path("/pair")).body
	find := func(pattern string) string {
		t.Helper()
		got := regexp.MustCompile(pattern).FindStringSubmatch(page)
		if got == nil {
			t.Fatalf("the page lacks %s", pattern)
		}
		return got[1]
	}
	side, err := strconv.Atoi(find(`viewBox="0 0 (\d+) \d+" role="img"`))
	m.done(t, err)
	const scale = 6
	img := image.NewGray(image.Rect(0, 0, side*scale, side*scale))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for _, run := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(find(`<path d="([^"]+)" fill="#000000"`), -1) {
		x, _ := strconv.Atoi(run[1])
		y, _ := strconv.Atoi(run[2])
		w, _ := strconv.Atoi(run[3])
		if run[3] != run[4] || x < 4 || y < 4 || x+w > side-4 || y >= side-4 {
			t.Fatalf("the run %v leaves the code", run)
		}
		for px := x * scale; px < (x+w)*scale; px++ {
			for py := y * scale; py < (y+1)*scale; py++ {
				img.SetGray(px, py, color.Gray{})
			}
		}
	}
	got, err := go_qr.Decode(img)
	if want := find(`<p class="pair-address">([^<]+)</p>`); err != nil || got != want {
		t.Errorf("the code reads %q (%v), want %q", got, err, want)
	}
}

func TestCheckingInSavesWhatWasChangedAndNothingElse(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.assistant)
	v.get(m.path("/arrivals")).says(t, 200, "8 expected", "Ana Abara", "Home note handed in", "Guardian&#39;s tick", "Here")
	e := string(m.reed[0])
	save := func(form url.Values) reply {
		form.Set("entry", e)
		return v.post(m.path("/arrivals"), form)
	}
	if r := save(url.Values{"presence": {"present"}, "presence-was": {"expected"}, "clear-was.consent": {"no"}, "clear.consent": {"yes"}, "clear-was.home_note": {"no"}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	at := func() app.EntryView { return m.view(t).Entries[0] }
	if x := at(); x.Presence != "present" || !x.Clearances["consent"] || x.Clearances["home_note"] {
		t.Fatalf("%+v", x)
	}
	// Another person's older page does not undo it.
	save(url.Values{"presence": {"expected"}, "presence-was": {"expected"}, "clear-was.consent": {"no"}, "clear-was.home_note": {"no"}, "clear.home_note": {"yes"}})
	if x := at(); x.Presence != "present" || !x.Clearances["consent"] || !x.Clearances["home_note"] {
		t.Fatalf("an older page changed more than was changed on it: %+v", x)
	}
	save(url.Values{"presence": {"unwell"}, "presence-was": {"present"}})
	r := v.get(m.path("/arrivals"))
	r.says(t, 200, "Not examined today, next date offered.", "1 unwell")
	if strings.Contains(strings.ToLower(r.body), "temperature") {
		t.Error("the page speaks of a temperature")
	}
	save(url.Values{"presence": {"sleepy"}, "presence-was": {"unwell"}}).says(t, http.StatusUnprocessableEntity, "cannot be")
	v.post(m.path("/arrivals"), url.Values{"entry": {"none"}}).says(t, http.StatusNotFound)
	lines, err := m.App.Audit(t.Context(), m.Owner, 0, 50)
	m.done(t, err)
	n := 0
	for _, l := range lines {
		if l.Person == m.assistant.ID && l.Allowed && (l.Act == string(app.CheckIn) || l.Act == string(app.SettleClear)) {
			n++
		}
	}
	if n != 4 {
		t.Errorf("%d lines of the audit are the assistant's, want 4", n)
	}
}

// The desk is not offered what only the head instructor may do: to put a child
// back who was stopped. What is missing of that child is settled all the same.
func TestAStoppedChildIsPutBackByTheHeadInstructorAlone(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.StopChild(t.Context(), m.mira, m.grading, m.reed[0]))
	choices := func(who app.Actor) (of string) {
		t.Helper()
		_, of, _ = strings.Cut(m.as(t, who).get(m.path("/arrivals")).body, `<li id="`+string(m.reed[0])+`"`)
		of, _, _ = strings.Cut(of, "</li>")
		return of
	}
	if at := choices(m.Owner); strings.Contains(at, " disabled") || strings.Contains(at, "takes it back here") {
		t.Errorf("the head instructor cannot put the child back: %s", at)
	}
	if at := choices(m.assistant); strings.Count(at, `name="presence" value=`) != strings.Count(at, ` disabled data-say=`) || !strings.Contains(at, "the head instructor takes it back here.") {
		t.Errorf("the desk is offered to put the child back: %s", at)
	}
	r := m.as(t, m.assistant).post(m.path("/arrivals"), url.Values{"entry": {string(m.reed[0])}, "presence-was": {"stopped"}, "clear-was.consent": {"no"}, "clear.consent": {"yes"}})
	if e := m.view(t).Entries[0]; r.status != http.StatusSeeOther || e.Presence != "stopped" || !e.Clearances["consent"] {
		t.Errorf("%d, %s, %v", r.status, e.Presence, e.Clearances)
	}
}

func TestBeforeTheDayOnlyClearancesAreTicked(t *testing.T) {
	m := newMat(t)
	m.done(t, m.App.Move(t.Context(), m.Owner, m.grading, app.Timetabled))
	v := m.as(t, m.assistant)
	v.get(m.path("/arrivals")).says(t, 200, "Clearances only", "disabled")
	e := string(m.reed[0])
	v.post(m.path("/arrivals"), url.Values{"entry": {e}, "clear-was.consent": {"no"}, "clear.consent": {"yes"}})
	if !m.view(t).Entries[0].Clearances["consent"] {
		t.Error("a clearance could not be ticked before the day")
	}
	v.post(m.path("/arrivals"), url.Values{"entry": {e}, "presence": {"present"}, "presence-was": {"expected"}}).says(t, http.StatusConflict)
	if r := m.as(t, m.mira).post(m.path("/arrivals"), url.Values{"entry": {e}}); r.status != http.StatusForbidden {
		t.Errorf("an examiner checked somebody in: %d", r.status)
	}
}
