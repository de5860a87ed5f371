package paper

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// Design is how a certificate is laid out.
type Design uint8

const (
	Framed Design = iota // a double frame, the belt laid across it
	Plain                // no frame, a short belt under the rank
	Band                 // the belt down the left side, the text beside it
)

// Designs lists the designs.
func Designs() []Design { return []Design{Framed, Plain, Band} }

// String is the design's word on command lines and in settings.
func (d Design) String() string {
	return []string{"frame", "plain", "band"}[d%3]
}

// ParseDesign reads a design's word.
func ParseDesign(s string) (Design, bool) {
	for _, d := range Designs() {
		if s == d.String() {
			return d, true
		}
	}
	return Framed, false
}

// A Picture is a logo or a signature.
type Picture = pdf.Picture

// ReadPicture reads a picture that CleanPicture wrote.
func ReadPicture(data []byte) (*Picture, error) { return pdf.ReadPicture(data) }

// CleanPicture makes a picture that somebody sent ready to be kept and printed:
// decoded, turned, of at most so many pixels either way, and written anew. With
// handwriting the paper is taken from under the ink.
func CleanPicture(data []byte, pixels int, handwriting bool) (clean []byte, mediaType string, err error) {
	return pdf.Clean(data, pdf.Cleaning{Width: pixels, Height: pixels, Ink: handwriting})
}

// CleanPhoto is CleanPicture for a page or a guide, and always a JPEG: what is
// clear in a PNG becomes white, as paper is.
func CleanPhoto(data []byte, pixels int) ([]byte, error) {
	clean, media, err := CleanPicture(data, pixels, false)
	if err != nil || media == "image/jpeg" {
		return clean, err
	}
	m, err := png.Decode(bytes.NewReader(clean))
	if err != nil {
		return nil, err
	}
	out := image.NewRGBA(m.Bounds())
	draw.Draw(out, out.Rect, image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.Draw(out, out.Rect, m, m.Bounds().Min, draw.Over)
	var b bytes.Buffer
	err = jpeg.Encode(&b, out, &jpeg.Options{Quality: 90})
	return b.Bytes(), err
}

// Preview draws one certificate as SVG, with its letters as outlines; it looks
// as it will on paper. What cannot be printed is reported instead.
func Preview(c Certificate, opt Options) ([]byte, error) {
	doc := pdf.New(pdf.Info{Title: c.Title, Lang: opt.Lang})
	plans, faults := lay([]Certificate{c}, opt, doc.Setter())
	if err := faults.Err(); err != nil {
		return nil, err
	}
	if len(plans) == 0 {
		return nil, rankwright.Faultf(rankwright.Invalid, "empty", "choose a promotion", "there is no certificate to show")
	}
	width, height := opt.size(Landscape)
	page := doc.Page(width, height).Shown()
	plans[0].draw(doc, page)
	return page.SVG(), nil
}
