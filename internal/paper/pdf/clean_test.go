package pdf

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"rankwright"
)

var (
	red   = color.NRGBA{200, 20, 20, 255}
	green = color.NRGBA{20, 160, 40, 255}
)

// corner is a red picture whose top left quarter is green.
func corner(w, h int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	draw.Draw(m, m.Rect, image.NewUniform(red), image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(0, 0, w/2, h/2), image.NewUniform(green), image.Point{}, draw.Src)
	return m
}

func pngOf(t *testing.T, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// photograph is a JPEG as a camera writes it that was held on its side, with
// a place in it.
func photograph(t *testing.T, m image.Image, turn uint16) []byte {
	t.Helper()
	var exif bytes.Buffer
	exif.WriteString("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01")
	for _, v := range []any{uint16(274), uint16(3), uint32(1), turn, uint16(0), uint32(0)} {
		_ = binary.Write(&exif, binary.BigEndian, v)
	}
	exif.WriteString("57.1N 2.1W")
	whole := jpegOf(t, m)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, byte((exif.Len()+2)>>8), byte(exif.Len()+2))
	return append(append(out, exif.Bytes()...), whole[2:]...)
}

func near(a color.Color, b color.NRGBA) bool {
	c := color.NRGBAModel.Convert(a).(color.NRGBA)
	d := func(x, y uint8) int { return max(int(x)-int(y), int(y)-int(x)) }
	return d(c.R, b.R) < 40 && d(c.G, b.G) < 40 && d(c.B, b.B) < 40 && d(c.A, b.A) < 10
}

// Where the top left corner of the stored picture is looked at, by Exif 2.3,
// table of tag 274 (4.6.4).
func TestAPhotographIsTurnedAsItIsLookedAt(t *testing.T) {
	places := map[uint16][2]float64{1: {0.25, 0.25}, 2: {0.75, 0.25}, 3: {0.75, 0.75}, 4: {0.25, 0.75}, 5: {0.25, 0.25}, 6: {0.75, 0.25}, 7: {0.75, 0.75}, 8: {0.25, 0.75}, 9: {0.25, 0.25}}
	for turn, place := range places {
		data, media, err := Clean(photograph(t, corner(64, 32), turn), Cleaning{Width: 100, Height: 100})
		if err != nil || media != "image/jpeg" {
			t.Fatal(media, err)
		}
		if bytes.Contains(data, []byte("57.1N")) || bytes.Contains(data, []byte("Exif")) {
			t.Error("where it was taken is kept")
		}
		m, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		w, h := m.Bounds().Dx(), m.Bounds().Dy()
		if turned := turn >= 5 && turn <= 8; turned != (w == 32) {
			t.Errorf("turn %d: %d by %d pixels", turn, w, h)
		}
		for _, x := range []float64{0.25, 0.75} {
			for _, y := range []float64{0.25, 0.75} {
				want := red
				if place == [2]float64{x, y} {
					want = green
				}
				if got := m.At(int(x*float64(w)), int(y*float64(h))); !near(got, want) {
					t.Errorf("turn %d: at %v, %v it is %v", turn, x, y, got)
				}
			}
		}
	}
}

func TestALargePictureIsMadeSmallerAndKeepsItsProportions(t *testing.T) {
	for _, in := range [][]byte{pngOf(t, corner(900, 300)), jpegOf(t, corner(900, 300))} {
		data, _, err := Clean(in, Cleaning{Width: 300, Height: 300})
		if err != nil {
			t.Fatal(err)
		}
		pic, err := ReadPicture(data)
		if err != nil || pic.Width != 300 || pic.Height != 100 {
			t.Errorf("%d by %d, %v", pic.Width, pic.Height, err)
		}
	}
}

func TestPaperIsTakenFromUnderHandwriting(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 200, 100))
	for y := range 100 {
		for x := range 200 { // paper in uneven light, with a stroke of blue ink
			v := uint8(190 + x/10 + (x*y)%7)
			m.SetNRGBA(x, y, color.NRGBA{v, v, v - 10, 255})
			if y >= 48 && y < 52 {
				m.SetNRGBA(x, y, color.NRGBA{20, 30, 110, 255})
			}
		}
	}
	data, media, err := Clean(jpegOf(t, m), Cleaning{Width: 400, Height: 400, Ink: true})
	if err != nil || media != "image/png" {
		t.Fatal(media, err)
	}
	out, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for y := range 100 {
		_, _, _, a := out.At(100, y).RGBA()
		if stroke := y == 49 || y == 50; stroke && a < 0xc000 || (y < 44 || y > 56) && a > 0x1000 {
			t.Errorf("line %d is %x opaque", y, a)
		}
	}
}

func TestWhatIsClearStaysClearInTheFile(t *testing.T) {
	m := corner(20, 10)
	for x := range 10 {
		m.SetNRGBA(x, 9, color.NRGBA{0, 0, 0, 0})
	}
	data, _, err := Clean(pngOf(t, m), Cleaning{Width: 100, Height: 100})
	if err != nil {
		t.Fatal(err)
	}
	pic, err := ReadPicture(data)
	if err != nil {
		t.Fatal(err)
	}
	doc := New(Info{Title: "t", Plain: true})
	doc.Page(100, 100).Picture(pic, 0, 0, 20, 10)
	var b bytes.Buffer
	if err := doc.Write(&b); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "/Subtype /Image"); n != 2 || strings.Count(b.String(), "/SMask ") != 1 {
		t.Errorf("the picture and its mask are %d objects", n)
	}
}

func TestWhatIsNoPictureIsRefusedByWhatIsWrong(t *testing.T) {
	bomb := pngOf(t, image.NewGray(image.Rect(0, 0, 8, 8)))
	binary.BigEndian.PutUint32(bomb[16:], 60000) // width and height of the IHDR chunk
	binary.BigEndian.PutUint32(bomb[20:], 60000)
	good := pngOf(t, corner(40, 40))
	for _, tt := range []struct {
		name string
		data []byte
		kind rankwright.Kind
		says string
	}{
		{"nothing", nil, rankwright.Invalid, "neither a PNG nor a JPEG"},
		{"a text", []byte("GIF89a and so on"), rankwright.Invalid, "neither a PNG nor a JPEG"},
		{"half a picture", good[:len(good)/2], rankwright.Invalid, "damaged"},
		{"eleven megabytes", make([]byte, 11<<20), rankwright.TooLarge, "11 MB"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, _, err := Clean(tt.data, Cleaning{Width: 10, Height: 10})
			if rankwright.KindOf(err) != tt.kind || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("it says %v", err)
			}
		})
	}
	// The sum of the chunk is wrong too: either answer keeps the memory small.
	if _, _, err := Clean(bomb, Cleaning{Width: 10, Height: 10}); err == nil {
		t.Error("a picture of 3600 million pixels is taken")
	}
}

func FuzzClean(f *testing.F) {
	f.Add([]byte("\x89PNG\r\n\x1a\n"))
	f.Add([]byte{0xff, 0xd8, 0xff, 0xe1, 0, 16, 'E', 'x', 'i', 'f', 0, 0, 'I', 'I', 42, 0, 8, 0})
	var b bytes.Buffer
	_ = png.Encode(&b, corner(6, 5))
	f.Add(b.Bytes())
	b.Reset()
	_ = jpeg.Encode(&b, corner(9, 8), nil)
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		clean, media, err := Clean(data, Cleaning{Width: 4, Height: 4, Ink: len(data)%2 == 0})
		if err != nil {
			return
		}
		pic, err := ReadPicture(clean)
		if err != nil || pic.Width > 4 || pic.Height > 4 {
			t.Errorf("%s: %+v, %v", media, pic, err)
		}
	})
}
