package pdf

import (
	"bytes"
	"image"
	"image/jpeg"
	"strings"
	"testing"
)

func jpegOf(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestAPictureStandsInTheFileOnceWithItsWords(t *testing.T) {
	data := jpegOf(t, image.NewRGBA(image.Rect(0, 0, 40, 20)))
	doc := New(Info{Title: "t", Plain: true})
	for range 2 {
		pic, err := ReadPicture(data)
		if err != nil {
			t.Fatal(err)
		}
		if pic.Width != 40 || pic.Height != 20 {
			t.Errorf("%d by %d pixels, want 40 by 20", pic.Width, pic.Height)
		}
		page := doc.Page(100, 100)
		page.Outline(1, "A page", 5)
		page.Outline(2, "A part (of it)", 8)
		page.Tag(doc.Elem(nil, "Figure").Alt("A stance"))
		page.Picture(pic, 10, 10, 40, 20)
	}
	var b bytes.Buffer
	if err := doc.Write(&b); err != nil {
		t.Fatal(err)
	}
	for text, times := range map[string]int{
		"/Subtype /Image": 1, "/Filter /DCTDecode": 1, string(data): 1, "/P1 Do": 2, "/Alt (A stance)": 2, "/BBox [28.346 198.425 141.732 255.118]": 2,
		"/Title (A part \\(of it\\))": 2, "/PageMode /UseOutlines": 1,
	} {
		if n := strings.Count(b.String(), text); n != times {
			t.Errorf("%.40q stands there %d times, want %d", text, n, times)
		}
	}
}

func TestWhatIsNoGreyOrColouredJPEGIsRefused(t *testing.T) {
	if _, err := ReadPicture(jpegOf(t, image.NewGray(image.Rect(0, 0, 8, 8)))); err != nil {
		t.Errorf("a grey one is refused: %v", err)
	}
	for name, data := range map[string][]byte{"nothing": nil, "a text": []byte("hello"), "half a picture": jpegOf(t, image.NewGray(image.Rect(0, 0, 8, 8)))[:20]} {
		if _, err := ReadPicture(data); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}
