package look

import (
	"math"
	"testing"
)

// Expected values: axe-core 4.14.1, commons.color.getContrast, an independent
// implementation in JavaScript; black on white is 21 by the definition.
func TestContrastAgreesWithAnIndependentTool(t *testing.T) {
	tests := []struct {
		a, b string
		want float64
	}{
		{"#000000", "#ffffff", 21},
		{"#767676", "#fff", 4.542224959605253},
		{"#174d78", "#fffcf5", 8.650478082781865},
		{"#8f8470", "#2b2722", 4.02705177502258},
		{"#0a0a0a", "#0b0b0b", 1.0058690363860938},
		{"#b3261e", "#e0a11b", 2.889511834593321},
	}
	for _, tt := range tests {
		a, err := ParseColour(tt.a)
		if err != nil {
			t.Fatal(err)
		}
		b, err := ParseColour(tt.b)
		if err != nil {
			t.Fatal(err)
		}
		for _, got := range []float64{Contrast(a, b), Contrast(b, a)} {
			if math.Abs(got-tt.want) > 1e-9 {
				t.Errorf("contrast of %s and %s is %.12f, want %.12f", tt.a, tt.b, got, tt.want)
			}
		}
	}
}

func TestEveryPairReachesItsContrastInBothSchemes(t *testing.T) {
	tokens, err := ReadTokens()
	if err != nil {
		t.Fatal(err)
	}
	if len(Pairs()) < 50 {
		t.Fatalf("only %d pairs are measured", len(Pairs()))
	}
	for _, p := range Pairs() {
		for _, dark := range []bool{false, true} {
			got, err := tokens.Ratio(p, dark)
			if err != nil {
				t.Error(err)
			} else if got < p.Least {
				t.Errorf("%s on %s (dark %v) has %.2f, least %.1f", p.Ink, p.On, dark, got, p.Least)
			}
		}
	}
}

func TestEveryColourIsMeasuredAndHasADarkValue(t *testing.T) {
	tokens, err := ReadTokens()
	if err != nil {
		t.Fatal(err)
	}
	measured := map[string]bool{"rule": true} // decoration only: no reader needs it
	for _, p := range Pairs() {
		measured[p.Ink], measured[p.On] = true, true
	}
	for _, name := range tokens.Names {
		if hexOrNone(tokens.Light[name]) == "" {
			continue
		}
		if !measured[name] {
			t.Errorf("--%s is in no pair", name)
		}
		if tokens.Dark[name] == "" {
			t.Errorf("--%s has no dark value", name)
		}
	}
}

func TestTapeAndThreadStandOutOnEveryBelt(t *testing.T) {
	for _, b := range Page().Belts {
		band, err := ParseColour(b.Colour)
		if err != nil {
			continue
		}
		tape, err := ParseColour(Belt{Colour: b.Colour}.TapeFill())
		if err != nil {
			t.Fatal(err)
		}
		if got := Contrast(band, tape); got < LeastEdge {
			t.Errorf("plain tape on %s has %.2f", b.Name, got)
		}
	}
}
