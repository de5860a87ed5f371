package pdf

import (
	"encoding/base64"
	"fmt"
	"strings"

	"github.com/go-text/typesetting/font"
	ot "github.com/go-text/typesetting/font/opentype"
	"github.com/go-text/typesetting/shaping"
)

// Shown keeps what is drawn on the page from here on for SVG too, as a preview
// for pages on a screen: letters as their outlines, so that no font is needed.
func (p *Page) Shown() *Page {
	p.svg = &strings.Builder{}
	return p
}

// SVG is what was drawn since Shown, one unit to a millimetre.
func (p *Page) SVG() []byte {
	if p.svg == nil {
		return nil
	}
	return fmt.Appendf(nil, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]smm" height="%[2]smm" viewBox="0 0 %[1]s %[2]s"><rect width="100%%" height="100%%" fill="#ffffff"/>%[3]s</svg>`,
		number(p.Width), number(p.Height), p.svg.String())
}

func (p *Page) show(format string, args ...any) {
	if p.svg != nil {
		fmt.Fprintf(p.svg, format, args...)
	}
}

// String writes the colour as #rrggbb.
func (c RGB) String() string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// String writes the path as SVG does, in millimetres.
func (p *Path) String() string {
	var b strings.Builder
	for _, s := range p.steps {
		n := map[byte]int{'m': 2, 'l': 2, 'c': 6}[s.verb]
		b.WriteString(strings.ToUpper(string(s.verb)))
		for _, v := range s.at[:n] {
			b.WriteString(number(v) + " ")
		}
	}
	return strings.ReplaceAll(b.String(), "H", "Z")
}

func (p *Page) showPicture(pic *Picture, x, y, width, height float64) {
	if p.svg == nil {
		return
	}
	media := "image/jpeg"
	if pic.rgb != nil {
		media = "image/png"
	}
	p.show(`<image x="%s" y="%s" width="%s" height="%s" preserveAspectRatio="none" href="data:%s;base64,%s"/>`,
		number(x), number(y), number(width), number(height), media, base64.StdEncoding.EncodeToString(pic.data))
}

// showRun draws the outlines of a run with its baseline at y.
func (p *Page) showRun(x, y float64, run shaping.Output, size float64, c RGB) {
	if p.svg == nil {
		return
	}
	mm := size * mmPerPoint
	unit := mm / float64(run.Face.Upem())
	path := &Path{}
	pen := 0.0
	for _, g := range run.Glyphs {
		left, base := x+(pen+float64(g.XOffset))/em*mm, y-float64(g.YOffset)/em*mm
		pen += float64(g.Advance)
		if drawn(g) {
			outline, _ := run.Face.GlyphDataOutline(g.GlyphID)
			path.outline(outline, left, base, unit)
		}
	}
	if len(path.steps) > 0 {
		p.show(`<path fill="%s" d="%s"/>`, c, path)
	}
}

// outline adds a letter's outline; TrueType has quadratic curves, which are
// raised to cubic ones.
func (p *Path) outline(o font.GlyphOutline, x, y, unit float64) {
	at := func(q ot.SegmentPoint) (float64, float64) { return x + float64(q.X)*unit, y - float64(q.Y)*unit }
	var cx, cy float64
	for i, s := range o.Segments {
		ax, ay := at(s.Args[0])
		switch s.Op {
		case ot.SegmentOpMoveTo:
			if i > 0 {
				p.Close()
			}
			p.Move(ax, ay)
			cx, cy = ax, ay
		case ot.SegmentOpLineTo:
			p.Line(ax, ay)
			cx, cy = ax, ay
		case ot.SegmentOpQuadTo:
			bx, by := at(s.Args[1])
			p.Curve(cx+(ax-cx)*2/3, cy+(ay-cy)*2/3, bx+(ax-bx)*2/3, by+(ay-by)*2/3, bx, by)
			cx, cy = bx, by
		}
	}
	if len(o.Segments) > 0 {
		p.Close()
	}
}

// Turned draws what fn draws upside down about a point, for what is folded
// there.
func (p *Page) Turned(x, y float64, fn func()) {
	p.untag()
	p.op("q -1 0 0 -1 %s %s cm\n", number(2*x/mmPerPoint), number(2*(p.Height-y)/mmPerPoint))
	p.show(`<g transform="rotate(180 %s %s)">`, number(x), number(y))
	fn()
	p.untag()
	p.op("Q\n")
	p.show("</g>")
}
