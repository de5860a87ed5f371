package look

import (
	"fmt"
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Colour is an opaque sRGB colour.
type Colour struct{ R, G, B uint8 }

var black, white = Colour{}, Colour{255, 255, 255}

// ParseColour reads #rgb or #rrggbb and nothing else.
func ParseColour(s string) (Colour, error) {
	hex, ok := strings.CutPrefix(s, "#")
	if ok && len(hex) == 3 {
		hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
	}
	n, err := strconv.ParseUint(hex, 16, 32)
	if !ok || len(hex) != 6 || err != nil {
		return Colour{}, fmt.Errorf("%q is not a colour: write # and three or six hexadecimal digits", s)
	}
	return Colour{uint8(n >> 16), uint8(n >> 8), uint8(n)}, nil
}

// String writes the colour as #rrggbb.
func (c Colour) String() string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// Luminance is the relative luminance, 0 for black to 1 for white.
//
// Source: Web Content Accessibility Guidelines 2.2 (W3C Recommendation, 2023),
// definition "relative luminance", with the threshold 0.04045.
func (c Colour) Luminance() float64 {
	part := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}

// Contrast is the contrast ratio of two colours, 1 to 21, in either order.
//
// Source: WCAG 2.2, definition "contrast ratio".
func Contrast(a, b Colour) float64 {
	hi, lo := a.Luminance(), b.Luminance()
	if hi < lo {
		hi, lo = lo, hi
	}
	return (hi + 0.05) / (lo + 0.05)
}

// The least ratios of WCAG 2.2: success criteria 1.4.3 for text and 1.4.11
// for the edges of controls, graphics and focus.
const (
	LeastText = 4.5
	LeastEdge = 3.0
)

// Pair is a colour and what it stands on, by the names in tokens.css.
type Pair struct {
	Ink, On string
	Least   float64
}

// Pairs are all pairs that the style sheets use.
func Pairs() []Pair {
	var ps []Pair
	add := func(least float64, inks string, grounds string) {
		for _, on := range strings.Fields(grounds) {
			for _, ink := range strings.Fields(inks) {
				ps = append(ps, Pair{ink, on, least})
			}
		}
	}
	const washes = " accent-wash good-wash attention-wash stop-wash"
	add(LeastText, "ink ink-soft accent accent-deep", "paper card sunk"+washes)
	add(LeastText, "good attention stop", "paper card sunk")
	add(LeastText, "good", "good-wash")
	add(LeastText, "attention", "attention-wash")
	add(LeastText, "stop", "stop-wash")
	add(LeastText, "on-accent", "accent accent-deep")
	add(LeastText, "on-stop", "stop")
	add(LeastEdge, "edge focus", "paper card sunk"+washes)
	return ps
}

// Tokens are the custom properties of a style sheet in the two schemes; Dark
// holds only those that differ.
type Tokens struct {
	Names       []string
	Light, Dark map[string]string
}

// In gives a property in a scheme.
func (t Tokens) In(dark bool, name string) string {
	if v, ok := t.Dark[name]; ok && dark {
		return v
	}
	return t.Light[name]
}

var (
	cssComment  = regexp.MustCompile(`(?s)/\*.*?\*/`)
	cssProperty = regexp.MustCompile(`(?m)^\s*--([a-z0-9-]+):\s*([^;]+);`)
)

// ReadTokens reads tokens.css: one :root of the light scheme and, behind it,
// one @media (prefers-color-scheme: dark).
func ReadTokens() (Tokens, error) {
	b, err := fs.ReadFile(Static, "tokens.css")
	if err != nil {
		return Tokens{}, err
	}
	light, dark, ok := strings.Cut(cssComment.ReplaceAllString(string(b), ""), "@media (prefers-color-scheme: dark)")
	if !ok {
		return Tokens{}, fmt.Errorf("tokens.css has no dark scheme")
	}
	t := Tokens{Light: map[string]string{}, Dark: map[string]string{}}
	for _, m := range cssProperty.FindAllStringSubmatch(light, -1) {
		if _, twice := t.Light[m[1]]; twice {
			return Tokens{}, fmt.Errorf("tokens.css defines --%s twice", m[1])
		}
		t.Light[m[1]] = m[2]
		t.Names = append(t.Names, m[1])
	}
	for _, m := range cssProperty.FindAllStringSubmatch(dark, -1) {
		t.Dark[m[1]] = m[2]
	}
	return t, nil
}

// Ratio measures a pair in a scheme.
func (t Tokens) Ratio(p Pair, dark bool) (float64, error) {
	ink, err := ParseColour(t.In(dark, p.Ink))
	if err != nil {
		return 0, fmt.Errorf("--%s: %w", p.Ink, err)
	}
	on, err := ParseColour(t.In(dark, p.On))
	if err != nil {
		return 0, fmt.Errorf("--%s: %w", p.On, err)
	}
	return Contrast(ink, on), nil
}
