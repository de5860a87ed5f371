package pdf

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"math"

	scaling "golang.org/x/image/draw"

	"rankwright"
)

// Cleaning says how a picture that somebody sent is made ready to be kept.
type Cleaning struct {
	// Width and Height are the most pixels that are kept either way; the
	// proportions stay.
	Width, Height int
	// Ink takes the paper away from under handwriting: what is as pale as the
	// paper becomes clear. It is for a signature that was photographed.
	Ink bool
}

// Clean decodes a PNG or JPEG whole, turns it as it is looked at, makes it
// small enough, and writes it anew without anything that stood beside the
// picture, such as where it was taken. What comes out is for ReadPicture: a
// photograph as JPEG, anything else as PNG.
func Clean(data []byte, c Cleaning) (clean []byte, mediaType string, err error) {
	p, err := scan(data)
	if err != nil {
		return nil, "", err
	}
	p = p.within(c.Width, c.Height)
	if c.Ink {
		p = p.ink()
	}
	return p.encode()
}

// A scanned is a picture as its pixels.
type scanned struct {
	width, height int
	pixels        *image.NRGBA
	photo         bool // it came as a JPEG
}

// Limits on a picture that is read, in bytes and in pixels. A telephone's
// photograph stays below both; a picture that unfolds to fill the memory does
// not.
const (
	MaxPictureBytes  = 10 << 20
	MaxPicturePixels = 25_000_000
)

func scan(data []byte) (*scanned, error) {
	if len(data) > MaxPictureBytes {
		return nil, rankwright.Faultf(rankwright.TooLarge, "picture_large", "save it smaller",
			"the picture has %d MB, and at most %d MB are read", len(data)>>20, MaxPictureBytes>>20)
	}
	about, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || kind != "png" && kind != "jpeg" {
		return nil, noPicture("this is neither a PNG nor a JPEG picture", err)
	}
	if about.Width < 1 || about.Height < 1 || about.Width > MaxPicturePixels/about.Height {
		return nil, rankwright.Faultf(rankwright.TooLarge, "picture_large", "save it with fewer pixels",
			"the picture has %d × %d pixels, and at most %d million are read", about.Width, about.Height, MaxPicturePixels/1_000_000)
	}
	whole, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, noPicture("this picture is damaged", err)
	}
	turn := 1
	if kind == "jpeg" {
		turn = jpegTurn(data)
	}
	return scannedOf(turned(straight(whole), turn), kind == "jpeg"), nil
}

func scannedOf(m *image.NRGBA, photo bool) *scanned {
	return &scanned{m.Rect.Dx(), m.Rect.Dy(), m, photo}
}

func noPicture(say string, err error) error {
	f := rankwright.Faultf(rankwright.Invalid, "picture_unreadable", "choose a PNG or JPEG file that opens elsewhere", "%s", say)
	f.Err = err
	return f
}

// straight copies any picture into colours that are not multiplied with how
// opaque they are, since that is how a PDF file keeps them.
func straight(m image.Image) *image.NRGBA {
	b := m.Bounds()
	if n, ok := m.(*image.NRGBA); ok && b.Min == (image.Point{}) {
		return n
	}
	out := image.NewNRGBA(image.Rect(0, 0, b.Dx(), b.Dy()))
	switch m.(type) {
	case *image.YCbCr, *image.Gray, *image.CMYK: // opaque, and fast in draw
		rgba := image.NewRGBA(out.Rect)
		draw.Draw(rgba, rgba.Rect, m, b.Min, draw.Src)
		out.Pix = rgba.Pix // the same where everything is opaque
		return out
	}
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.SetNRGBA(x, y, color.NRGBAModel.Convert(m.At(b.Min.X+x, b.Min.Y+y)).(color.NRGBA))
		}
	}
	return out
}

// jpegTurn reads which way a photograph is to be turned (Exif 2.3, 4.6.4,
// tag 274), 1 for not at all.
func jpegTurn(b []byte) int {
	for at := 2; at+4 <= len(b) && b[at] == 0xff; {
		marker, size := b[at+1], int(binary.BigEndian.Uint16(b[at+2:]))
		if marker == 0xda || size < 2 || at+2+size > len(b) { // the picture itself
			break
		}
		segment := b[at+4 : at+2+size]
		if marker == 0xe1 && bytes.HasPrefix(segment, []byte("Exif\x00\x00")) {
			return exifTurn(segment[6:])
		}
		at += 2 + size
	}
	return 1
}

func exifTurn(tiff []byte) int {
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if tiff[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int(order.Uint32(tiff[4:]))
	if at < 8 || at+2 > len(tiff) {
		return 1
	}
	for i := range int(order.Uint16(tiff[at:])) {
		entry := at + 2 + 12*i
		if entry+12 > len(tiff) {
			break
		}
		if order.Uint16(tiff[entry:]) == 274 {
			if v := int(order.Uint16(tiff[entry+8:])); v >= 1 && v <= 8 {
				return v
			}
		}
	}
	return 1
}

// turned gives the picture as it is looked at: 2 to 4 are mirrored or upside
// down, 5 to 8 change width and height.
func turned(m *image.NRGBA, turn int) *image.NRGBA {
	if turn <= 1 {
		return m
	}
	w, h := m.Rect.Dx(), m.Rect.Dy()
	if turn >= 5 {
		w, h = h, w
	}
	out := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := x, y
			switch turn {
			case 2:
				sx = w - 1 - x
			case 3:
				sx, sy = w-1-x, h-1-y
			case 4:
				sy = h - 1 - y
			case 5:
				sx, sy = y, x
			case 6:
				sx, sy = y, w-1-x
			case 7:
				sx, sy = h-1-y, w-1-x
			case 8:
				sx, sy = h-1-y, x
			}
			copy(out.Pix[out.PixOffset(x, y):][:4], m.Pix[m.PixOffset(sx, sy):][:4])
		}
	}
	return out
}

// within makes the picture smaller where it has more pixels than that.
func (p *scanned) within(width, height int) *scanned {
	if p.width <= width && p.height <= height {
		return p
	}
	k := min(float64(width)/float64(p.width), float64(height)/float64(p.height))
	w, h := max(1, int(math.Round(float64(p.width)*k))), max(1, int(math.Round(float64(p.height)*k)))
	small := image.NewRGBA(image.Rect(0, 0, w, h))
	// Catmull-Rom keeps thin lines of ink; what is clear has no colour there.
	scaling.CatmullRom.Scale(small, small.Rect, p.pixels, p.pixels.Rect, draw.Src, nil)
	return scannedOf(straight(small), p.photo)
}

// ink makes clear what is as pale as the paper, and ink of what is darker.
func (p *scanned) ink() *scanned {
	grey := make([]uint8, p.width*p.height)
	var count [256]int
	for i := range grey {
		c := p.pixels.Pix[4*i : 4*i+4]
		r, g, b, a := int(c[0]), int(c[1]), int(c[2]), int(c[3])
		v := (299*r + 587*g + 114*b) / 1000 // luma of ITU-R BT.601
		v = (v*a + 255*(255-a)) / 255
		grey[i] = uint8(v)
		count[v]++
	}
	// Most of such a picture is paper: the tone in the middle of all is its.
	paper, seen := 0, 0
	for ; paper < 255 && seen+count[paper] <= len(grey)/2; paper++ {
		seen += count[paper]
	}
	darkest := 0
	for seen = 0; darkest < paper && seen+count[darkest] <= len(grey)/2000; darkest++ {
		seen += count[darkest]
	}
	out := image.NewNRGBA(p.pixels.Rect)
	// Shadows and the grain of paper stay within a fifth of the way to the ink.
	from := paper - (paper-darkest)/5
	span := max(1, from-darkest)
	for i, v := range grey {
		a := min(255, max(0, (from-int(v))*255/span))
		copy(out.Pix[4*i:], []uint8{0x1b, 0x26, 0x2e, uint8(a)})
	}
	return scannedOf(out, false)
}

// seeThrough says whether something of the picture is not opaque.
func seeThrough(m *image.NRGBA) bool {
	for i := 3; i < len(m.Pix); i += 4 {
		if m.Pix[i] != 255 {
			return true
		}
	}
	return false
}

func (p *scanned) encode() (data []byte, mediaType string, err error) {
	var b bytes.Buffer
	if p.photo && !seeThrough(p.pixels) {
		err = jpeg.Encode(&b, p.pixels, &jpeg.Options{Quality: 88})
		return b.Bytes(), "image/jpeg", err
	}
	err = png.Encode(&b, p.pixels)
	return b.Bytes(), "image/png", err
}
