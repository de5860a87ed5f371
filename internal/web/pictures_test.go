package web_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
)

// drawn is a picture that the tests draw themselves.
func drawn(wide, high int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			m.SetNRGBA(x, y, color.NRGBA{uint8(x * 255 / wide), uint8(y * 255 / high), 90, 255})
		}
	}
	return m
}

func jpegFile(t *testing.T, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngFile(t *testing.T, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func clipFile(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile("../clip/testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// addedPicture adds a small picture or clip to the ladder of a site.
func addedPicture(t *testing.T, s *site, about, kind string) app.Picture {
	t.Helper()
	what, id, _ := strings.Cut(about, " ")
	n := app.NewPicture{Ladder: "youth", Kind: what, About: id, Alt: "A " + kind + " of " + id, Caption: "Look at the feet", Agreed: true}
	p, err := app.Picture{}, error(nil)
	if kind == "clip" {
		p, err = s.App.AddClip(t.Context(), s.Owner, n, bytes.NewReader(clipFile(t, "square.mp4")))
	} else {
		p, err = s.App.AddPicture(t.Context(), s.Owner, n, bytes.NewReader(jpegFile(t, drawn(60, 40))))
	}
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// sent is the form of a picture as a browser sends it.
func (v *visitor) sent(file []byte, fields ...string) reply {
	v.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for i := 0; i < len(fields); i += 2 {
		if err := w.WriteField(fields[i], fields[i+1]); err != nil {
			v.t.Fatal(err)
		}
	}
	part, err := w.CreateFormFile("file", "kick.bin")
	if err != nil {
		v.t.Fatal(err)
	}
	if _, err := part.Write(file); err != nil {
		v.t.Fatal(err)
	}
	w.Close()
	r, err := v.c.Post(v.site.URL+"/syllabus/pictures/youth", w.FormDataContentType(), &b)
	return v.read(r, err)
}

func (s *site) files(t *testing.T) (out []string) {
	t.Helper()
	found, err := os.ReadDir(filepath.Join(s.Dir, "pictures"))
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	for _, e := range found {
		out = append(out, e.Name())
	}
	return out
}

var whole = []string{"about", "section KI", "alt", "The knee comes up first", "caption", "From the side", "agreed", "yes"}

// with puts in a field another value.
func with(name, value string) []string {
	out := slices.Clone(whole)
	out[slices.Index(out, name)+1] = value
	return out
}

// Each way to get it wrong is told at its field, what was typed stays, and no
// file does.
func TestWhatIsNoPictureOrClipIsRefusedAndNothingStays(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	v := s.as(t, s.Owner)
	picture := jpegFile(t, drawn(30, 20))
	// A PNG of 60000 by 60000 pixels in a hundred bytes: its size alone is read.
	bomb := pngFile(t, image.NewGray(image.Rect(0, 0, 1, 1)))
	binary.BigEndian.PutUint32(bomb[16:], 60000)
	binary.BigEndian.PutUint32(bomb[20:], 60000)
	binary.BigEndian.PutUint32(bomb[29:], crc32.ChecksumIEEE(bomb[12:29]))
	for name, tt := range map[string]struct {
		file   []byte
		fields []string
		status int
		says   string
	}{
		"no words":               {picture, with("alt", " "), 422, "Nobody who cannot see it would know what it shows. Write one sentence"},
		"a long caption":         {picture, with("caption", strings.Repeat("x", 201)), 422, "The caption is too long."},
		"nobody was asked":       {picture, with("agreed", ""), 422, "Nothing is added before those who are shown have agreed."},
		"no place":               {picture, with("about", ""), 422, "on this ladder. Choose a section or a requirement"},
		"a note of the school":   {picture, with("about", "requirement RE-CN1"), 422, "on this ladder. Choose a section or a requirement"},
		"no file":                {nil, whole, 422, "No file was chosen. Choose one first."},
		"a text":                 {[]byte("hello, this is neither of them"), whole, 422, "This is neither an MP4 nor a WebM clip."},
		"half a picture":         {picture[:len(picture)-40], whole, 422, "This picture is damaged."},
		"a bomb":                 {bomb, whole, 413, "The picture has 60000 × 60000 pixels, and at most 25 million are read."},
		"a picture of 11 MB":     {append(slices.Clone(picture), make([]byte, 11<<20)...), whole, 413, "The picture has more than 10 MB."},
		"half a clip":            {clipFile(t, "square.mp4")[:2000], whole, 422, "The clip ends in the middle."},
		"a clip of 25 MB":        {append(clipFile(t, "square.mp4"), make([]byte, 25<<20)...), whole, 413, "The file has more than 24 MB. Make it shorter or smaller."},
		"more than is looked at": {append(clipFile(t, "square.mp4"), make([]byte, 41<<20)...), whole, 413, "The file has more than 24 MB."},
	} {
		r := v.sent(tt.file, tt.fields...)
		text := strings.Join(strings.Fields(r.body), " ")
		if r.status != tt.status || !strings.Contains(text, tt.says) {
			t.Errorf("%s: %d, want %d and %q\n%.3000s", name, r.status, tt.status, tt.says, text)
		}
		if name != "no words" && !strings.Contains(text, `value="The knee comes up first"`) {
			t.Errorf("%s: what was typed is gone", name)
		}
		if left := s.files(t); left != nil {
			t.Errorf("%s leaves %v", name, left)
		}
	}
	if list, err := s.App.Pictures(t.Context(), s.Owner, "youth"); err != nil || len(list) != 0 {
		t.Errorf("kept is %v, %v", list, err)
	}
}

// A picture is written anew: what stood beside it and behind it is gone, and so
// is the half of a page that hid in it.
func TestAPictureIsKeptWithoutWhatStoodBesideIt(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	v := s.as(t, s.Owner)
	plain := jpegFile(t, drawn(3000, 500))
	exif := append([]byte("Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x00\x00\x00\x00"), "GPS 47.3769"...)
	segment := append([]byte{0xff, 0xe1, byte((len(exif) + 2) >> 8), byte(len(exif) + 2)}, exif...)
	file := slices.Concat(plain[:2], segment, plain[2:], []byte("<script>alert(1)</script>PK\x03\x04"))
	if r := v.sent(file, whole...); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	clear := image.NewNRGBA(image.Rect(0, 0, 20, 20))
	if r := v.sent(pngFile(t, clear), with("about", "requirement RE-KI1")...); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	list, err := s.App.Pictures(t.Context(), s.Owner, "youth")
	if err != nil || len(list) != 2 {
		t.Fatal(list, err)
	}
	if list[0].Width != 233 || list[0].Height != 1400 { // turned upright and made smaller
		t.Errorf("it is %d by %d pixels", list[0].Width, list[0].Height)
	}
	for i, p := range list {
		r := v.get("/syllabus/picture/" + p.ID)
		if r.status != 200 || r.head.Get("Content-Type") != "image/jpeg" || r.head.Get("X-Content-Type-Options") != "nosniff" || r.head.Get("Cache-Control") != "private, max-age=3600" ||
			!strings.HasPrefix(r.head.Get("Content-Security-Policy"), "default-src 'self'") {
			t.Errorf("it is given out with %d %v", r.status, r.head)
		}
		for _, secret := range []string{"GPS", "Exif", "<script>", "PK\x03\x04"} {
			if strings.Contains(r.body, secret) {
				t.Errorf("%q is still in it", secret)
			}
		}
		m, err := jpeg.Decode(strings.NewReader(r.body))
		if err != nil {
			t.Fatal(err)
		}
		if red, _, _, _ := m.At(10, 10).RGBA(); i == 1 && red < 0xfe00 {
			t.Errorf("what is clear in a PNG becomes %x", red)
		}
		etag := r.head.Get("ETag")
		req, _ := http.NewRequest(http.MethodGet, s.URL+"/syllabus/picture/"+p.ID, nil)
		req.Header.Set("If-None-Match", etag)
		if again := v.read(v.c.Do(req)); again.status != http.StatusNotModified {
			t.Errorf("asked again it is %d", again.status)
		}
	}
	if left := s.files(t); len(left) != 2 {
		t.Errorf("kept are %v", left)
	}
	// Other words, and taken back: the file goes with it.
	v.post("/syllabus/pictures/youth/words", url.Values{"picture": {list[0].ID}, "alt." + list[0].ID: {""}})
	v.get("/syllabus/pictures/youth").says(t, 200, "Nobody who cannot see it would know", "From the side", "Show instructors rather than children")
	v.post("/syllabus/pictures/youth/words", url.Values{"picture": {list[0].ID}, "alt." + list[0].ID: {"The shin is turned"}, "caption." + list[0].ID: {"<i>Slowly</i>"}})
	v.get("/syllabus/pictures/youth").says(t, 200, "The words are kept.", `alt="The shin is turned"`, "&lt;i&gt;Slowly&lt;/i&gt;")
	v.post("/syllabus/pictures/youth/remove", url.Values{"picture": {list[0].ID}})
	v.get("/syllabus/picture/"+list[0].ID).says(t, 404, "Nothing here")
	if left := s.files(t); len(left) != 1 || left[0] != list[1].File {
		t.Errorf("left is %v", left)
	}
	// A file that is lost is told, and the guide stands without it.
	if err := os.Remove(filepath.Join(s.Dir, "pictures", list[1].File)); err != nil {
		t.Fatal(err)
	}
	v.get("/syllabus/pictures/youth").says(t, 200, "The file is missing.")
	v.get("/syllabus/picture/"+list[1].ID).says(t, 404, "The file of this picture or clip is missing.")
}

func TestAClipIsGivenOutInParts(t *testing.T) {
	s := newSite(t)
	v0 := s.Publish("otterlight.yaml")
	p := addedPicture(t, s, "section BF", "clip")
	v := s.as(t, s.Owner)
	file := clipFile(t, "square.mp4")
	req, _ := http.NewRequest(http.MethodGet, s.URL+"/syllabus/clip/"+p.ID, nil)
	req.Header.Set("Range", "bytes=4-11")
	req.Header.Set("Accept-Encoding", "gzip")
	r := v.read(v.c.Do(req))
	if r.status != http.StatusPartialContent || r.body != string(file[4:12]) || r.head.Get("Content-Type") != "video/mp4" || r.head.Get("Content-Encoding") != "" || !strings.HasPrefix(r.head.Get("Content-Range"), "bytes 4-11/") {
		t.Errorf("a part is %d %q %v", r.status, r.body, r.head)
	}
	if r = v.get("/syllabus/clip/" + p.ID); len(r.body) != len(file) {
		t.Errorf("the whole is %d bytes of %d", len(r.body), len(file))
	}
	v.get("/syllabus/version/"+v0.ID+"/guide/reed").says(t, 200, `src="/syllabus/clip/`+p.ID+`"`, "<video", "Look at the feet")
}

// There is room for six at one place.
func TestThereIsRoomForAFewPicturesAtOnePlace(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	for range 6 {
		addedPicture(t, s, "section BF", "picture")
	}
	s.as(t, s.Owner).sent(jpegFile(t, drawn(9, 9)), with("about", "section BF")...).says(t, 422, "There are 6 pictures and clips at this place, and there is room for 6. Take one back first.")
	if left := s.files(t); len(left) != 1 { // the same bytes six times
		t.Errorf("kept are %v", left)
	}
}

// A family sees the guides and pictures of its child's ladder, of every rank of
// it, and none of another ladder; whoever only looks cannot add any.
func TestAFamilySeesTheGuidesOfItsOwnLadder(t *testing.T) {
	h := newHome(t)
	own, clip := addedPicture(t, h.site, "requirement AM-SM1", "picture"), addedPicture(t, h.site, "section BF", "clip")
	text, err := os.ReadFile("../../examples/one-page.yaml")
	h.must(err)
	_, _, err = h.App.SaveDraft(t.Context(), h.Owner, string(text))
	h.must(err)
	ladder := rankwright.LadderID(regexp.MustCompile(`(?m)^ladder: (.*)$`).FindStringSubmatch(string(text))[1])
	other, err := h.App.AddPicture(t.Context(), h.Owner, app.NewPicture{Ladder: ladder, Kind: app.OfRequirement, About: "bow", Alt: "A bow", Agreed: true}, bytes.NewReader(jpegFile(t, drawn(8, 8))))
	h.must(err)

	v := h.family("Krajewik")
	at := "/family/child/" + h.entry["Zofia"] + "/guide"
	home := v.get("/family")
	home.says(t, 200, "Guide to Amber", `href="`+at+`/amber"`)
	page := v.get(at)
	page.says(t, 200, "Guide to Amber", "always needed", "Aged 6 to 7"[1:], "The steps in their order", "middle of the belt on the tummy", "by the clock", "What the levels mean", "chin tucked, round, arms place",
		"When the rank is given", "up to 1 may fall short, but not below 40% of the points, and never “Falls” and “Partner work”", "What comes at Slate", "practised in class only",
		`src="/family/picture/`+own.ID+`" alt="A picture of AM-SM1" width="60" height="40"`, `src="/family/clip/`+clip.ID, "Falls, throws and work with a partner are for class", "Guide to Slate")
	for _, secret := range []string{"Coach note", "Zofia", "Igor", other.ID} {
		if strings.Contains(page.body, secret) {
			t.Errorf("the guide says %q", secret)
		}
	}
	v.get(at+"/indigo").says(t, 200, "Guide to Indigo")
	v.get(at+"/black").says(t, 404, "There is no such rank on this ladder.")
	v.get("/family/child/"+h.entry["Ayotomi"]+"/guide").says(t, 404, "nothing here for your family")
	if r := v.get("/family/picture/" + own.ID); r.status != 200 || r.head.Get("Content-Type") != "image/jpeg" || r.head.Get("X-Robots-Tag") == "" {
		t.Errorf("its picture is %d %v", r.status, r.head)
	}
	if r := v.get("/family/clip/" + clip.ID); r.status != 200 || r.head.Get("Content-Type") != "video/mp4" {
		t.Errorf("its clip is %d %v", r.status, r.head)
	}
	for _, path := range []string{"/family/picture/" + other.ID, "/family/clip/" + other.ID, "/family/picture/none"} {
		if r := v.get(path); r.status != 404 || strings.Contains(r.body, "bow") {
			t.Errorf("%s is %d", path, r.status)
		}
	}
	if r := v.get("/syllabus/picture/" + own.ID); r.status != http.StatusSeeOther || !strings.HasPrefix(r.to, "/sign-in") {
		t.Errorf("the school's address gives a family %d %s", r.status, r.to)
	}
	h.visit(t).get("/family/picture/"+own.ID).says(t, 404, "This link does not open anything")
	// In the family's language, and on paper with the picture and a line on the
	// clip.
	v.post("/family/language", url.Values{"lang": {"es"}, "to": {at}})
	v.get(at).says(t, 200, "Guía de Amber", "Cuándo se da el grado", "siempre necesario")
	pdf := v.get(at + "/amber/pdf?paper=letter")
	if pdf.status != 200 || pdf.head.Get("Content-Type") != "application/pdf" {
		t.Fatalf("on paper it is %d %v", pdf.status, pdf.head)
	}
	file := filepath.Join(t.TempDir(), "guide.pdf")
	h.must(os.WriteFile(file, []byte(pdf.body), 0o600))
	text, err = exec.Command("pdftotext", "-layout", file, "-").Output()
	h.must(err)
	for _, want := range []string{"Guía de Amber", "En la página hay un vídeo corto", "Look at the feet"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("on paper there is no %q", want)
		}
	}
	images, err := exec.Command("pdfimages", "-list", file).Output()
	h.must(err)
	if n := strings.Count(string(images), " jpeg "); n != 1 {
		t.Errorf("on paper are %d pictures:\n%s", n, images)
	}
	// Who may look at the school's pages and who may add.
	for _, role := range []app.Role{app.Assistant, app.Examiner} {
		w := h.as(t, h.Person("Perpetua "+string(role), role, ""))
		page := w.get("/syllabus/pictures/youth")
		page.says(t, 200, "A picture of AM-SM1")
		if strings.Contains(page.body, "<form method=\"post\" action=\"/syllabus") {
			t.Errorf("%s is offered to add one", role)
		}
		w.sent(jpegFile(t, drawn(9, 9)), whole...).says(t, http.StatusForbidden)
		if r := w.post("/syllabus/pictures/youth/remove", url.Values{"picture": {own.ID}}); r.status != http.StatusForbidden {
			t.Errorf("%s takes one back: %d", role, r.status)
		}
	}
	w := h.as(t, h.Person("Duarte Linnankivi", app.Instructor, ""))
	if r := w.sent(jpegFile(t, drawn(9, 9)), whole...); r.status != http.StatusSeeOther {
		t.Errorf("an instructor cannot add one: %d", r.status)
	}
}

// What arrives is taken in as it comes: a line that is cut leaves nothing.
func TestAnUploadThatIsCutLeavesNothing(t *testing.T) {
	s := newSite(t)
	s.Publish("otterlight.yaml")
	v := s.as(t, s.Owner)
	r, w := io.Pipe()
	form := multipart.NewWriter(w)
	go func() {
		for i := 0; i < len(whole); i += 2 {
			_ = form.WriteField(whole[i], whole[i+1])
		}
		part, _ := form.CreateFormFile("file", "clip.mp4")
		_, _ = part.Write(clipFile(t, "square.mp4")[:1500])
		w.CloseWithError(io.ErrUnexpectedEOF)
	}()
	resp, err := v.c.Post(s.URL+"/syllabus/pictures/youth", form.FormDataContentType(), r)
	if err == nil {
		resp.Body.Close()
	}
	for i := 0; len(s.files(t)) > 0; i++ {
		if i == 500 {
			t.Fatalf("left is %v", s.files(t))
		}
		time.Sleep(10 * time.Millisecond)
	}
	if list, err := s.App.Pictures(t.Context(), s.Owner, "youth"); err != nil || len(list) != 0 {
		t.Errorf("kept is %v, %v", list, err)
	}
}
