package look

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
)

func rotation(t *testing.T, r Round) string {
	t.Helper()
	var b strings.Builder
	if err := Parts().ExecuteTemplate(&b, "rotation", r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestThePictureOfARoundAndItsTableSayTheSame(t *testing.T) {
	r := sampleRound()
	html := rotation(t, r)
	_, table, _ := strings.Cut(html, "<details")
	for _, q := range r.Squads {
		for _, s := range q.Stops {
			span := fmt.Sprintf("%02d:%02d–%02d:%02d", s.From/60, s.From%60, s.Until/60, s.Until%60)
			if !strings.Contains(html, "<title>"+span) || !strings.Contains(table, span) {
				t.Errorf("%s of %s is not in both", span, q.Name)
			}
		}
		if !strings.Contains(table, `<th scope="row">`+q.Name) {
			t.Errorf("%s is not in the table", q.Name)
		}
	}
	for _, s := range r.Stations {
		if !strings.Contains(table, s+"</th>") {
			t.Errorf("%s is not in the table", s)
		}
	}
	if strings.Contains(html, "style=") || strings.Contains(html, "<script") {
		t.Error("what the content policy forbids")
	}
}

// Bars of a squad stand beside one another in the order of time, none outside
// the picture, and as wide as they are long.
func TestBarsStandWhereTheirTimesAre(t *testing.T) {
	p := sampleRound().picture()
	for _, row := range p.Rows {
		right := roundLabel
		for _, b := range row.Bars {
			if b.X < right || b.X+b.Width > p.Width || b.Width%roundMinute != 0 || b.Y < roundAxis || b.Y+b.Height > p.Height {
				t.Errorf("%s: %+v in %d by %d", row.Name, b, p.Width, p.Height)
			}
			right = b.X + b.Width
		}
	}
	// The first bar begins at the first tick.
	if p.Ticks[0].X != roundLabel || p.Ticks[0].Time != "10:20" {
		t.Errorf("%+v", p.Ticks[0])
	}
}

func TestARoundOfNothingIsDrawnAllTheSame(t *testing.T) {
	for _, r := range []Round{{}, {Squads: []RoundSquad{{Name: "Squad 1"}}}, {Stations: []string{"a"}, Squads: []RoundSquad{{Stops: []RoundStop{{7, 600, 601}}}}}} {
		if html := rotation(t, r); !strings.Contains(html, "<svg") {
			t.Error(html)
		}
	}
}

func TestNamesCannotBreakOutOfThePicture(t *testing.T) {
	html := rotation(t, Round{Label: `"><script>`, Stations: []string{`</text><script>`}, Squads: []RoundSquad{{Name: `<b>`, Stops: []RoundStop{{0, 600, 690}}}}})
	if regexp.MustCompile(`<script|<b>`).MatchString(html) {
		t.Error(html)
	}
}
