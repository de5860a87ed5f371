package pdf

import (
	"bytes"
	"fmt"
	"image/color"
	"image/jpeg"
	"strconv"

	"rankwright"
)

// A Picture is a JPEG that can be drawn on any number of pages; its bytes stand
// in the file once, and as they were given.
type Picture struct {
	// Width and Height are in pixels.
	Width, Height int

	data  []byte
	space string
}

// ReadPicture takes a JPEG in grey or colour. It is not decoded, so whoever
// hands in bytes of others has to have looked at them.
func ReadPicture(data []byte) (*Picture, error) {
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

// Picture draws a picture with its top left corner at x, y. Under a Figure
// that has words it is read aloud; without a tag it is decoration.
func (p *Page) Picture(pic *Picture, x, y, width, height float64) {
	p.mark()
	p.op("q %s 0 0 %s %s %s cm /%s Do Q\n", number(width/mmPerPoint), number(height/mmPerPoint), p.x(x), p.y(y+height), p.doc.picture(pic))
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
		n := d.reserve()
		d.objects[n-1] = object{
			body: fmt.Appendf(nil, "<</Type /XObject /Subtype /Image /Width %d /Height %d /ColorSpace %s /BitsPerComponent 8 /Filter /DCTDecode /Length %d>>",
				pic.Width, pic.Height, pic.space, len(pic.data)),
			stream: pic.data, isData: true,
		}
		out += fmt.Sprintf("/P%d %d 0 R ", i+1, n)
	}
	if out == "" {
		return ""
	}
	return " /XObject <<" + out + ">>"
}
