package pdf

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// RGB is a colour of the sRGB space.
type RGB struct{ R, G, B uint8 }

// ParseRGB reads a colour written as #rrggbb or #rgb.
func ParseRGB(s string) (RGB, bool) {
	if len(s) == 4 && s[0] == '#' {
		s = string([]byte{'#', s[1], s[1], s[2], s[2], s[3], s[3]})
	}
	if len(s) != 7 || s[0] != '#' {
		return RGB{}, false
	}
	n, err := strconv.ParseUint(s[1:], 16, 32)
	if err != nil {
		return RGB{}, false
	}
	return RGB{uint8(n >> 16), uint8(n >> 8), uint8(n)}, true
}

// Mix moves the colour towards another; share 0 keeps it, 1 replaces it.
func (c RGB) Mix(to RGB, share float64) RGB {
	mix := func(a, b uint8) uint8 { return uint8(math.Round(float64(a)*(1-share) + float64(b)*share)) }
	return RGB{mix(c.R, to.R), mix(c.G, to.G), mix(c.B, to.B)}
}

// Luminance is the relative luminance of WCAG 2.2, from 0 (black) to 1.
func (c RGB) Luminance() float64 {
	linear := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

func (c RGB) operands() string {
	return number(float64(c.R)/255) + " " + number(float64(c.G)/255) + " " + number(float64(c.B)/255)
}

// A Page is one page; all lengths are millimetres from its top left corner.
type Page struct {
	Width, Height float64

	doc     *Doc
	number  int
	content []byte

	now    *Elem // what the next mark belongs to; nil is decoration
	open   *Elem
	isOpen bool
	owners []*Elem // by number of marked content

	svg *strings.Builder // the same drawing as SVG; nil where nobody asked
}

func (p *Page) op(format string, args ...any) {
	p.content = fmt.Appendf(p.content, format, args...)
}

func (p *Page) x(mm float64) string { return number(mm / mmPerPoint) }
func (p *Page) y(mm float64) string { return number((p.Height - mm) / mmPerPoint) }

// A Path is an outline to fill or to draw.
type Path struct{ steps []step }

type step struct {
	verb byte // m, l, c or h as in the file
	at   [6]float64
}

// Move begins a new part of the outline.
func (p *Path) Move(x, y float64) *Path { return p.add('m', x, y, 0, 0, 0, 0) }

// Line goes straight on.
func (p *Path) Line(x, y float64) *Path { return p.add('l', x, y, 0, 0, 0, 0) }

// Curve goes on by a cubic Bézier curve.
func (p *Path) Curve(x1, y1, x2, y2, x, y float64) *Path { return p.add('c', x1, y1, x2, y2, x, y) }

// Close goes back to where the part began.
func (p *Path) Close() *Path { return p.add('h', 0, 0, 0, 0, 0, 0) }

func (p *Path) add(verb byte, a, b, c, d, e, f float64) *Path {
	p.steps = append(p.steps, step{verb, [6]float64{a, b, c, d, e, f}})
	return p
}

// Join adds the parts of another path.
func (p *Path) Join(q *Path) *Path {
	p.steps = append(p.steps, q.steps...)
	return p
}

// Segment is a straight line.
func Segment(x1, y1, x2, y2 float64) *Path { return new(Path).Move(x1, y1).Line(x2, y2) }

// Rect is a rectangle by its top left corner.
func Rect(x, y, w, h float64) *Path {
	return new(Path).Move(x, y).Line(x+w, y).Line(x+w, y+h).Line(x, y+h).Close()
}

// quarter is the handle length of a Bézier quarter circle of radius 1.
const quarter = 0.5522847498

// RoundRect is a rectangle with corners of radius r.
func RoundRect(x, y, w, h, r float64) *Path {
	r = min(r, w/2, h/2)
	k := r * (1 - quarter)
	return new(Path).Move(x+r, y).
		Line(x+w-r, y).Curve(x+w-k, y, x+w, y+k, x+w, y+r).
		Line(x+w, y+h-r).Curve(x+w, y+h-k, x+w-k, y+h, x+w-r, y+h).
		Line(x+r, y+h).Curve(x+k, y+h, x, y+h-k, x, y+h-r).
		Line(x, y+r).Curve(x, y+k, x+k, y, x+r, y).Close()
}

// Ellipse is an ellipse by its centre and half axes.
func Ellipse(x, y, rx, ry float64) *Path {
	kx, ky := rx*quarter, ry*quarter
	return new(Path).Move(x+rx, y).
		Curve(x+rx, y+ky, x+kx, y+ry, x, y+ry).
		Curve(x-kx, y+ry, x-rx, y+ky, x-rx, y).
		Curve(x-rx, y-ky, x-kx, y-ry, x, y-ry).
		Curve(x+kx, y-ry, x+rx, y-ky, x+rx, y).Close()
}

// Fill fills a path.
func (p *Page) Fill(path *Path, c RGB) {
	p.mark()
	p.op("%s rg\n", c.operands())
	p.trace(path)
	p.op("f\n")
	p.show(`<path fill="%s" d="%s"/>`, c, path)
}

// Stroke draws a path with a line of the given width.
func (p *Page) Stroke(path *Path, width float64, c RGB) { p.Dash(path, width, c) }

// Dash draws a path with a broken line: so long a dash, so long a gap, and so
// on in millimetres. Without lengths the line is whole.
func (p *Page) Dash(path *Path, width float64, c RGB, lengths ...float64) {
	p.mark()
	p.op("%s RG %s w [", c.operands(), number(width/mmPerPoint))
	for _, l := range lengths {
		p.op("%s ", number(l/mmPerPoint))
	}
	p.op("] 0 d\n")
	p.trace(path)
	p.op("S\n")
	dashes := ""
	for _, l := range lengths {
		dashes += " " + number(l)
	}
	p.show(`<path fill="none" stroke="%s" stroke-width="%s" stroke-dasharray="%s" d="%s"/>`, c, number(width), dashes, path)
}

func (p *Page) trace(path *Path) {
	for _, s := range path.steps {
		switch s.verb {
		case 'm', 'l':
			p.op("%s %s %c ", p.x(s.at[0]), p.y(s.at[1]), s.verb)
		case 'c':
			p.op("%s %s %s %s %s %s c ", p.x(s.at[0]), p.y(s.at[1]), p.x(s.at[2]), p.y(s.at[3]), p.x(s.at[4]), p.y(s.at[5]))
		case 'h':
			p.op("h ")
		}
	}
}
