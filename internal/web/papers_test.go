package web_test

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"rankwright/internal/app"
)

// sends posts a file, as a browser does.
func (v *visitor) sends(path, kind, name string, data []byte) reply {
	v.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	_ = w.WriteField("kind", kind)
	f, err := w.CreateFormFile("file", name)
	if err == nil {
		_, err = f.Write(data)
	}
	if err != nil {
		v.t.Fatal(err)
	}
	w.Close()
	r, err := v.c.Post(v.site.URL+path, w.FormDataContentType(), &b)
	return v.read(r, err)
}

// reads gives a PDF to a tool of poppler.
func reads(t *testing.T, tool, body string, args ...string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(file, []byte(body), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), tool, append(append(args, file), map[string][]string{"pdftotext": {"-"}}[tool]...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", tool, err, out)
	}
	return string(out)
}

func ringPNG(t *testing.T, size int) []byte {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, size, size))
	for i := range size {
		m.SetNRGBA(i, i, color.NRGBA{20, 60, 110, 255})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestASchoolsLogoDesignAndLanguageStandOnItsCertificates(t *testing.T) {
	f := newFilled(t)
	v := f.as(t, f.Owner)
	v.sends("/papers/file", "logo", "notes.txt", []byte("hello")).says(t, http.StatusUnprocessableEntity, "neither a PNG nor a JPEG", "How papers look")
	v.sends("/papers/file", "font", "font.ttf", []byte("hello")).says(t, http.StatusUnprocessableEntity, "no font file")
	for _, kind := range []string{"logo", "signature"} {
		if r := v.sends("/papers/file", kind, kind+".png", ringPNG(t, 1200)); r.status != http.StatusSeeOther {
			t.Fatal(r.status, r.body)
		}
	}
	r := v.get("/papers/preview.svg?of=logo")
	if in, err := png.DecodeConfig(strings.NewReader(r.body)); err != nil || in.Width != 1000 {
		t.Errorf("the logo is kept with %d pixels: %v", in.Width, err)
	}
	if r := f.as(t, f.people[app.Assistant]).get("/papers/preview.svg?of=" + f.Owner.ID); r.status != http.StatusNotFound {
		t.Errorf("a signature is shown to the desk by itself: %d", r.status)
	}
	v.get("/papers").says(t, 200, "logo.png", "Put this one in its place", "/papers/preview.svg?design=band")
	form := url.Values{"paper": {"letter"}, "design": {"band"}, "turn": {"upright"}, "lang": {"es"}, "second": {"own"}, "own": {""}, "more": {"Anahera Ropatini, Examiner"}}
	v.post("/papers", form).says(t, http.StatusUnprocessableEntity, "The line in your own words is empty", "Anahera Ropatini, Examiner")
	form.Set("own", "đã đạt mọi yêu cầu")
	if r := v.post("/papers", form); r.status != http.StatusSeeOther {
		t.Fatal(r.body)
	}
	v.get("/papers/preview.svg?design=plain").says(t, 200, "<svg", "data:image/png;base64,")
	at := "/gradings/" + string(f.signed)
	pdf := v.get(at + "/certificates.pdf")
	text := reads(t, "pdftotext", pdf.body)
	for _, want := range []string{"Certificado de grado", "Zofia Krajewik", "đã đạt mọi yêu cầu", "Anahera Ropatini", "de octubre de 2026"} {
		if !strings.Contains(text, want) {
			t.Errorf("the certificate lacks %q:\n%s", want, text)
		}
	}
	if info := reads(t, "pdfinfo", pdf.body); !strings.Contains(info, "612 x 792 pts (letter)") {
		t.Errorf("the sheet is\n%s", info)
	}
	if list := reads(t, "pdfimages", pdf.body, "-list"); strings.Count(list, "smask") != 2 || strings.Count(list, "rgb") != 2 {
		t.Errorf("the pictures are\n%s", list)
	}
	// Whoever asks for other paper gets it; everything else comes on the school's.
	if info := reads(t, "pdfinfo", v.get(at+"/certificates.pdf?paper=a4").body); !strings.Contains(info, "(A4)") {
		t.Errorf("on A4 it is\n%s", info)
	}
	for _, path := range []string{at + "/reading-list.pdf", "/supply/order.pdf", "/gradings/" + string(f.open) + "/paperwork/run-sheet.pdf?rank=reed", "/gradings/" + string(f.open) + "/paperwork/name-cards.pdf"} {
		if info := reads(t, "pdfinfo", v.get(path).body); !strings.Contains(info, "612 x 792 pts (letter)") {
			t.Errorf("%s is on\n%s", path, info)
		}
	}
	for _, kind := range []string{"logo", "signature"} {
		v.post("/papers/drop", url.Values{"kind": {kind}, "owner": {map[string]string{"signature": f.Owner.ID}[kind]}})
	}
	if list := reads(t, "pdfimages", v.get(at+"/certificates.pdf").body, "-list"); strings.Contains(list, "rgb") {
		t.Errorf("pictures that were taken out stand there:\n%s", list)
	}
}

func TestWhatIsReadOutSaysHowANameIsSaid(t *testing.T) {
	f := newFilled(t)
	desk := f.as(t, f.people[app.Assistant])
	desk.post("/roster/a4/sizes", url.Values{"said": {strings.Repeat("x", 101)}}).says(t, http.StatusUnprocessableEntity, "at most 100")
	if r := desk.post("/roster/a4/sizes", url.Values{"said": {"ZO-fya"}, "belt": {"2,4 m"}, "shirt": {"m"}}); r.status != http.StatusSeeOther {
		t.Fatal(r.body)
	}
	desk.get("/roster/a4").says(t, 200, "ZO-fya", "2,4 m")
	if text := reads(t, "pdftotext", desk.get("/gradings/"+string(f.signed)+"/reading-list.pdf").body, "-layout"); !regexp.MustCompile(`Amber +Zofia Krajewik +ZO-fya`).MatchString(text) {
		t.Errorf("the list to read out says\n%s", text)
	}
	desk.get("/supply?of="+string(f.signed)).says(t, 200, "Amber belt, 240 cm", "To order: 1 belt.")
	rows := rowsByPython(t, desk.get("/supply/order.csv?of="+string(f.signed)).body)
	if len(rows) != 2 || strings.Join(rows[1], " ") != "belt amber 240 1 0 0 0 1" {
		t.Errorf("the table is %q", rows)
	}
	r := desk.post("/supply/rules", url.Values{"spare_belts": {"many"}, "numbers": {"3 = 260"}})
	r.says(t, http.StatusUnprocessableEntity, "is no number of spares", "3 = 260")
	desk.post("/supply/stock", url.Values{"item": {"belt:amber"}, "size": {"240"}, "shelf": {"two"}}).says(t, http.StatusUnprocessableEntity, "is no number of things")
	desk.post("/supply/stock", url.Values{"item": {"belt:amber"}, "size": {"240"}, "shelf": {"2"}})
	at := "/gradings/" + string(f.signed) + "/hand-out"
	desk.get(at).says(t, 200, "Amber belt, 240 cm", "Everybody has theirs")
	entry := url.Values{"entry": {string(f.old)}, "do": {"give"}}
	desk.post(at, entry)
	desk.post(at, entry).says(t, http.StatusConflict, "nothing left to hand out")
	desk.get("/supply").says(t, 200, "Nobody needs a belt", `name="shelf" value="1"`)
	if r := f.as(t, f.people[app.Examiner]).get("/supply"); r.status != http.StatusForbidden {
		t.Errorf("an examiner sees the shelf: %d", r.status)
	}
}

func TestCardsAndLabelsHoldTheNamesOfThoseWhoAreEntered(t *testing.T) {
	f := newFilled(t)
	desk := f.as(t, f.people[app.Assistant])
	at := "/gradings/" + string(f.open) + "/paperwork"
	desk.get(at).says(t, 200, "Name cards", "3 × 7 on A4, 63.5 × 38.1 mm", "3 × 10 on US Letter, 2 5/8 × 1 in")
	cards := reads(t, "pdftotext", desk.get(at+"/name-cards.pdf?form=folded").body)
	for name, times := range map[string]int{"Ayotomi": 2, "Inti": 2, "Fasanwe": 0, "Reed": 4} {
		if n := strings.Count(cards, name); n != times {
			t.Errorf("%q stands on the cards %d times, want %d", name, n, times)
		}
	}
	desk.post("/roster/a1/sizes", url.Values{"belt": {"180"}})
	for path, want := range map[string]string{"?for=child&sheet=0&start=1": "Ayotomi Fasanwe\nReed\n180 cm", "?for=family&sheet=4&start=30": "Inti Quispaya", "?for=child&sheet=own&start=1&across=2&down=4&wide=90&high=60&left=10&top=10&gap_x=5&gap_y=0,5": "Inti Quispaya"} {
		r := desk.get(at + "/labels.pdf" + path)
		if text := reads(t, "pdftotext", r.body); !strings.Contains(text, want) {
			t.Errorf("%s says\n%s", path, text)
		}
	}
	for path, want := range map[string]string{"?sheet=99&start=1": "no such sheet", "?sheet=0&start=22": "There is no label 22", "?sheet=0&start=x": "no number of things", "?sheet=own&start=1&across=9&down=4&wide=90&high=60&left=10&top=10&gap_x=5&gap_y=0": "mm wide", "?sheet=own&start=1&across=2&down=4&wide=broad": "is no length"} {
		desk.get(at+"/labels.pdf"+path).says(t, http.StatusUnprocessableEntity, want)
	}
}
