package pdf

import (
	"strings"

	"github.com/go-text/typesetting/shaping"
)

// A Block is text broken into lines at one size, ready to be drawn.
type Block struct {
	Lines []Line
	// Size is in points.
	Size float64
	// Lead is the distance from baseline to baseline in millimetres.
	Lead float64

	ascent, descent float64 // of the typeface, in millimetres
}

// Wrap sets text in a column of the given width (mm) at a size (points). Lead
// is the line distance in ems. A line end in the text begins a new line.
func (s *Setter) Wrap(face *Typeface, text string, size, lead, width float64) Block {
	b := s.block(face, size, lead)
	for paragraph := range strings.SplitSeq(text, "\n") {
		lines := s.Shape(face, paragraph).Wrap(size, width)
		if len(lines) == 0 {
			lines = []Line{{text: s.Shape(face, "")}}
		}
		b.Lines = append(b.Lines, lines...)
	}
	return b
}

func (s *Setter) block(face *Typeface, size, lead float64) Block {
	mm := size * mmPerPoint
	return Block{
		Size: size, Lead: lead * mm,
		ascent: face.First().Ascent() * mm, descent: face.First().Descent() * mm,
	}
}

// Height is the block's height in millimetres, a full line distance each.
func (b Block) Height() float64 { return float64(len(b.Lines)) * b.Lead }

// Width is the width of its widest line in millimetres.
func (b Block) Width() float64 {
	w := 0.0
	for _, l := range b.Lines {
		w = max(w, l.Width(b.Size))
	}
	return w
}

// First is the distance from the block's top to its first baseline.
func (b Block) First() float64 { return (b.Lead-b.ascent-b.descent)/2 + b.ascent }

// Ink is the box that the block's outlines fill when it is drawn at x, y in a
// column of the given width.
func (b Block) Ink(x, y, width float64, align Align) Rectangle {
	var r Rectangle
	any := false
	for i, l := range b.Lines {
		ink := l.Ink(b.Size)
		if ink == (Rectangle{}) {
			continue
		}
		at, base := b.left(x, width, align, l), y+b.First()+float64(i)*b.Lead
		r = r.grow(any, at+ink.Left, base+ink.Top, at+ink.Right, base+ink.Bottom)
		any = true
	}
	return r
}

func (b Block) left(x, width float64, align Align, l Line) float64 {
	switch {
	case align == Centre:
		return x + (width-l.Width(b.Size))/2
	case align == Right || align == Start && l.text.rtl():
		return x + width - l.Width(b.Size)
	}
	return x
}

// Block draws a block with its top left corner at x, y in a column of the
// given width.
func (p *Page) Block(x, y, width float64, align Align, b Block, c RGB) {
	for i, l := range b.Lines {
		p.Text(b.left(x, width, align, l), y+b.First()+float64(i)*b.Lead, Left, l, b.Size, c)
	}
}

// Fit says how text may be made to fit a box.
type Fit struct {
	// Max and Min are sizes in points.
	Max, Min float64
	// OneLine is the size below which a second line is better than a smaller
	// single one; 0 means Min.
	OneLine float64
	// Lines is the most lines there may be.
	Lines int
	// Lead is the line distance in ems.
	Lead float64
}

// Fit sets text as large as it will go in a box of the given size in
// millimetres: on one line, shrunk if need be, then on more lines of even
// length. No outline leaves the box. It reports false, with the smallest
// setting, where even Min is too large.
func (s *Setter) Fit(face *Typeface, text string, width, height float64, f Fit) (Block, bool) {
	t := s.Shape(face, text)
	if t.Empty() {
		return s.block(face, f.Max, f.Lead), true
	}
	best, ok := s.shrink(face, []Line{t.Line()}, width, height, f)
	if ok && best.Size >= max(f.OneLine, f.Min) {
		return best, true
	}
	for n := 2; n <= f.Lines; n++ {
		b, fits := s.shrink(face, t.even(n), width, height, f)
		if fits && (!ok || b.Size > best.Size) || !ok && b.Size > best.Size {
			best, ok = b, fits
		}
	}
	return best, ok
}

// shrink finds the largest size at which the lines' advances and outlines
// stay within the box.
func (s *Setter) shrink(face *Typeface, lines []Line, width, height float64, f Fit) (Block, bool) {
	const hair = 1e-6
	size := min(f.Max, height/(float64(len(lines))*f.Lead*mmPerPoint))
	for _, l := range lines {
		if l.width > 0 {
			size = min(size, width/l.Width(1))
		}
	}
	for {
		b := s.block(face, size, f.Lead)
		b.Lines = lines
		ink := b.Ink(0, (height-b.Height())/2, width, Centre)
		if ink.Left >= -hair && ink.Top >= -hair && ink.Right <= width+hair && ink.Bottom <= height+hair {
			return b, size >= f.Min
		}
		if size < f.Min {
			return b, false
		}
		size *= 0.98
	}
}

// even breaks the text into at most n lines whose widest is as narrow as can
// be. It breaks no word, so a line may stay wide.
func (t *Text) even(n int) []Line {
	wide := t.Line().width
	low, high := wide/n-1, wide
	for low+1 < high {
		mid := (low + high) / 2
		if len(t.broken(mid, shaping.Never)) <= n {
			high = mid
		} else {
			low = mid
		}
	}
	lines := t.broken(high, shaping.Never)
	if n == 2 {
		// A name is better broken between its words than at a hyphen.
		const worth = 1.25
		if halves := t.halves(); halves != nil && float64(widest(halves)) <= worth*float64(widest(lines)) {
			return halves
		}
	}
	return lines
}

// halves breaks the text at the space that leaves the narrower widest line.
func (t *Text) halves() []Line {
	var best []Line
	for i, r := range t.runes {
		if r != ' ' || i == 0 || i == len(t.runes)-1 {
			continue
		}
		pair := []Line{
			t.setter.Shape(t.face, string(t.runes[:i+1])).Line(),
			t.setter.Shape(t.face, string(t.runes[i+1:])).Line(),
		}
		if best == nil || widest(pair) < widest(best) {
			best = pair
		}
	}
	return best
}

func widest(lines []Line) int {
	w := 0
	for _, l := range lines {
		w = max(w, l.width)
	}
	return w
}
