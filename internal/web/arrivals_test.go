package web_test

import (
	"image"
	"image/color"
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
