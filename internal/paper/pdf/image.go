package pdf

import (
	"bytes"
	"fmt"
	"image/color"
	"image/jpeg"
	"strconv"

	"rankwright"
)

// A Picture is a JPEG or PNG that can be drawn on any number of pages; it stands
// in the file once, a JPEG with the bytes that were given.
type Picture struct {
	// Width and Height are in pixels.
	Width, Height int

	data  []byte
	space string
	// Of a PNG its colours, and how opaque each pixel is, nil where all are.
	rgb, mask []byte
}

// ReadPicture takes a PNG, or a JPEG in grey or colour. A JPEG is not decoded, so
// whoever hands in bytes of others has to have looked at them: see Clean.
func ReadPicture(data []byte) (*Picture, error) {
	if bytes.HasPrefix(data, []byte("\x89PNG")) {
		return readPNG(data)
	}
	c, err := jpeg.DecodeConfig(bytes.NewReader(data))
	p := &Picture{Width: c.Width, Height: c.Height, data: data}
	switch {
	case err != nil:
	case c.ColorModel == color.GrayModel:
		p.space = "/DeviceGray"
	case c.ColorModel == color.YCbCrModel:
		p.space = "/DeviceRGB"
	}
	if p.space == "" || p.Width == 0 || p.Height == 0 {
		f := rankwright.Faultf(rankwright.Invalid, "bad_picture", "use a JPEG in grey or colour", "this picture cannot be printed")
		f.Err = err
		return nil, f
	}
	return p, nil
}

// readPNG keeps colours and how opaque they are apart, as a PDF file does.
func readPNG(data []byte) (*Picture, error) {
	in, err := scan(data)
	if err != nil {
		return nil, err
	}
	p := &Picture{Width: in.width, Height: in.height, data: data, space: "/DeviceRGB", rgb: make([]byte, 0, 3*in.width*in.height)}
	for i := 0; i < len(in.pixels.Pix); i += 4 {
		p.rgb = append(p.rgb, in.pixels.Pix[i:i+3]...)
	}
	if seeThrough(in.pixels) {
		p.mask = make([]byte, 0, in.width*in.height)
		for i := 3; i < len(in.pixels.Pix); i += 4 {
			p.mask = append(p.mask, in.pixels.Pix[i])
		}
	}
	return p, nil
}

// In is the largest place of the picture's own proportions in a box, in its
// middle.
func (p *Picture) In(box Rectangle) Rectangle {
	w, h := box.Right-box.Left, box.Bottom-box.Top
	k := min(w/float64(p.Width), h/float64(p.Height))
	dx, dy := (w-k*float64(p.Width))/2, (h-k*float64(p.Height))/2
	return Rectangle{box.Left + dx, box.Top + dy, box.Right - dx, box.Bottom - dy}
}

// Picture draws a picture with its top left corner at x, y. Under a Figure
// that has words it is read aloud; without a tag it is decoration.
func (p *Page) Picture(pic *Picture, x, y, width, height float64) {
	p.mark()
	p.op("q %s 0 0 %s %s %s cm /%s Do Q\n", number(width/mmPerPoint), number(height/mmPerPoint), p.x(x), p.y(y+height), p.doc.picture(pic))
	p.showPicture(pic, x, y, width, height)
	if p.now != nil {
		p.now.box = fmt.Sprintf("%s %s %s %s", p.x(x), p.y(y+height), p.x(x+width), p.y(y))
	}
}

// picture gives a picture its name in the file, the same for the same bytes.
func (d *Doc) picture(pic *Picture) string {
	for i, have := range d.pictures {
		if have == pic || bytes.Equal(have.data, pic.data) {
			return "P" + strconv.Itoa(i+1)
		}
	}
	d.pictures = append(d.pictures, pic)
	return "P" + strconv.Itoa(len(d.pictures))
}

// xobjects writes the pictures (ISO 32000-1, 8.9.5) and names them for the
// pages' resources.
func (d *Doc) xobjects() string {
	out := ""
	for i, pic := range d.pictures {
		n := d.image(pic)
		out += fmt.Sprintf("/P%d %d 0 R ", i+1, n)
	}
	if out == "" {
		return ""
	}
	return " /XObject <<" + out + ">>"
}

// image writes a picture's objects and returns the number of the first. What
// is clear in a PNG goes into a mask of its own (11.6.5.3).
func (d *Doc) image(pic *Picture) int {
	head := fmt.Sprintf("/Type /XObject /Subtype /Image /Width %d /Height %d /BitsPerComponent 8", pic.Width, pic.Height)
	if pic.rgb == nil {
		n := d.reserve()
		d.objects[n-1] = object{
			body:   fmt.Appendf(nil, "<<%s /ColorSpace %s /Filter /DCTDecode /Length %d>>", head, pic.space, len(pic.data)),
			stream: pic.data, isData: true,
		}
		return n
	}
	mask := ""
	if pic.mask != nil {
		mask = fmt.Sprintf(" /SMask %d 0 R", d.data(head+" /ColorSpace /DeviceGray", pic.mask))
	}
	return d.data(head+" /ColorSpace "+pic.space+mask, pic.rgb)
}
