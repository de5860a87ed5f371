package main

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// A series is told apart by its dashes, its mark and its name, not by its colour
// alone.
type series struct {
	ranks, column, name string
	class, mark         string
}

// panel is one pair of axes.
type panel struct {
	title, unit string
	low, high   float64 // of the values
	series      []series
	left        float64
}

// The picture, in its own units.
const (
	width, height  = 920.0, 470.0
	plotW, plotH   = 350.0, 290.0
	top            = 70.0
	least, most    = 20.0, 3000.0 // entries
	legend, lineUp = top + plotH + 58, 20.0
)

const style = `text{font:14px system-ui,sans-serif;fill:#1c1a16}.small{font-size:13px}.head{font-weight:700;font-size:16px}
.paper{fill:#fffdf8}.axis{stroke:#1c1a16;stroke-width:1.5;fill:none}.grid{stroke:#d5cdbb;stroke-width:1;fill:none}
.a{stroke:#174b7a;fill:#174b7a}.b{stroke:#a3400f;fill:#a3400f}.line{fill:none;stroke-width:2.25}.dash{stroke-dasharray:7 5}.dot{stroke-dasharray:2 4}
.open{fill:#fffdf8;stroke-width:2}
@media (prefers-color-scheme:dark){text{fill:#f2ede1}.paper{fill:#1b1a17}.axis{stroke:#f2ede1}.grid{stroke:#4a463d}
.a{stroke:#8ec3f5;fill:#8ec3f5}.b{stroke:#f5a878;fill:#f5a878}.line{fill:none}.open{fill:#1b1a17}}`

func panels() []panel {
	return []panel{
		{title: "Time", unit: "seconds", low: 0.01, high: 100, left: 80, series: []series{
			{"given", "first_plan_s", "first plan, ranks given", "a dot", "circle open"},
			{"free", "first_plan_s", "first plan, ranks free", "b dot", "square open"},
			{"given", "within_5_percent_s", "within 5 % of bound, given", "a", "circle"},
			{"free", "within_5_percent_s", "within 5 % of bound, free", "b", "square"},
			{"given", "proof_s", "proven best, given", "a dash", "up"},
			{"free", "proof_s", "proven best, free", "b dash", "up"},
		}},
		{title: "Memory", unit: "MiB", low: 10, high: 10_000, left: 530, series: []series{
			{"given", "peak_mib", "most that the process held, given", "a", "circle"},
			{"free", "peak_mib", "most that the process held, free", "b", "square"},
		}},
	}
}

// points are a series' places with something to show, in order of entries.
func (s series) points(rows []row) (out []row) {
	for _, r := range rows {
		if r.ranks == s.ranks && r.at[s.column] > 0 {
			out = append(out, r)
		}
	}
	return out
}

func (p panel) x(entries float64) float64 {
	return p.left + plotW*math.Log(entries/least)/math.Log(most/least)
}

func (p panel) y(v float64) float64 {
	v = min(max(v, p.low), p.high)
	return top + plotH*(1-math.Log(v/p.low)/math.Log(p.high/p.low))
}

func draw(rows []row) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-labelledby="t d">`+"\n", width, height)
	fmt.Fprintf(&b, "<title id=\"t\">Time and memory of the timetable's search against the number of entries</title>\n<desc id=\"d\">%s</desc>\n", html.EscapeString(describe(rows)))
	fmt.Fprintf(&b, "<style>%s</style>\n<rect class=\"paper\" width=\"%g\" height=\"%g\"/>\n", style, width, height)
	for _, p := range panels() {
		p.draw(&b, rows)
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func (p panel) draw(b *bytes.Buffer, rows []row) {
	right, bottom := p.left+plotW, top+plotH
	fmt.Fprintf(b, `<text class="head" x="%g" y="30">%s</text>`+"\n", p.left, p.title)
	fmt.Fprintf(b, `<text class="small" x="%g" y="%g">%s</text>`+"\n", p.left-50, top-14, p.unit)
	for v := p.low; v <= p.high*1.001; v *= 10 {
		y := p.y(v)
		fmt.Fprintf(b, `<path class="grid" d="M%g %.1fH%g"/><text class="small" text-anchor="end" x="%g" y="%.1f">%s</text>`+"\n", p.left, y, right, p.left-8, y+4.5, short(v))
	}
	for _, n := range []float64{30, 60, 120, 300, 500, 1000, 2000} {
		x := p.x(n)
		fmt.Fprintf(b, `<path class="grid" d="M%.1f %gV%g"/><text class="small" text-anchor="middle" x="%.1f" y="%g">%s</text>`+"\n", x, top, bottom, x, bottom+19, short(n))
	}
	fmt.Fprintf(b, `<path class="axis" d="M%g %gV%gH%g"/><text class="small" text-anchor="middle" x="%g" y="%g">entries</text>`+"\n", p.left, top, bottom, right, p.left+plotW/2, bottom+38)
	for i, s := range p.series {
		var path strings.Builder
		points := s.points(rows)
		for j, r := range points {
			fmt.Fprintf(&path, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[j == 0], p.x(r.entries), p.y(r.at[s.column]))
		}
		if len(points) > 1 {
			fmt.Fprintf(b, `<path class="line %s" d="%s"/>`+"\n", s.class, path.String())
		}
		for _, r := range points {
			mark(b, s, p.x(r.entries), p.y(r.at[s.column]))
		}
		// Its name: two columns below the first panel, one below the second.
		col, line := float64(i%2), float64(i/2)
		if len(p.series) < 3 {
			col, line = 0, float64(i)
		}
		x, y := p.left-50+col*235, legend+line*lineUp
		fmt.Fprintf(b, `<path class="line %s" d="M%g %gh30"/>`, s.class, x, y-4.5)
		mark(b, s, x+15, y-4.5)
		fmt.Fprintf(b, `<text class="small" x="%g" y="%g">%s</text>`+"\n", x+37, y, s.name)
	}
}

func mark(b *bytes.Buffer, s series, x, y float64) {
	shape, open, _ := strings.Cut(s.mark, " ")
	class := s.class[:1]
	if open != "" {
		class += " " + open
	}
	switch shape {
	case "circle":
		fmt.Fprintf(b, `<circle class="%s" cx="%.1f" cy="%.1f" r="4"/>`, class, x, y)
	case "square":
		fmt.Fprintf(b, `<rect class="%s" x="%.1f" y="%.1f" width="7.5" height="7.5"/>`, class, x-3.75, y-3.75)
	default:
		fmt.Fprintf(b, `<path class="%s" d="M%.1f %.1fl5 9h-10z"/>`, class, x, y-5)
	}
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// describe says in words what the lines show, for whoever does not see them.
func describe(rows []row) string {
	var parts []string
	for _, p := range panels() {
		for _, s := range p.series {
			points := s.points(rows)
			if len(points) == 0 {
				continue
			}
			first, last := points[0], points[len(points)-1]
			parts = append(parts, fmt.Sprintf("%s: %s %s at %s entries, %s at %s.", s.name, short(first.at[s.column]), p.unit, short(first.entries), short(last.at[s.column]), short(last.entries)))
		}
	}
	return "Both scales are logarithmic. " + strings.Join(parts, " ") + " Where a line ends, the next size did not get so far in its time."
}
