package web

import (
	"fmt"
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// matCell is what a cell of the grid shows, in words of marks.csv: the values
// of one examiner by try, "" or "x" where there is none, and those of the
// others. face.js holds the twin of matFaceOf.
type matCell struct {
	Kind   string   `json:"kind"`
	Values []string `json:"values"`
	Keep   string   `json:"keep"`
	AtMost bool     `json:"atMost"`
	Expect string   `json:"expect"` // "" is not known
	Must   bool     `json:"must"`
	Others []string `json:"others"`
}

// matFace is how it looks and what it says.
type matFace struct {
	State string `json:"state"`
	Icon  string `json:"icon"`
	Text  string `json:"text"`
	Word  string `json:"word"`
	Say   string `json:"say"`
}

func matFaceOf(c matCell) matFace {
	v := c.kept()
	f := matFace{State: "none", Text: "–", Word: "no mark", Say: "not marked yet"}
	if v != "" {
		f = c.shown(v)
	}
	tries := 0
	for _, t := range c.Values {
		if matIsMark(t) {
			tries++
		}
	}
	if tries > 1 {
		f.Word = fmt.Sprintf("%s of %d", c.Keep, tries)
		f.Say += fmt.Sprintf(", %s tries", f.Word)
	}
	marked, differ := 0, false
	first := ""
	for _, x := range append([]string{v}, c.Others...) {
		if !matIsMark(x) {
			continue
		}
		if marked++; marked == 1 {
			first = x
		}
		differ = differ || x != first
	}
	switch {
	case differ:
		f.State, f.Word = "apart", "differ"
		f.Say += ", examiners differ"
	case len(c.Others) > 0:
		f.Word = fmt.Sprintf("%d marked", marked)
		f.Say += ", " + f.Word
	}
	return f
}

func matIsMark(v string) bool { return v != "" && v != "x" }

func (c matCell) kept() string {
	out := ""
	for _, v := range c.Values {
		switch {
		case !matIsMark(v):
		case out == "" || c.Keep == "last":
			out = v
		case c.Keep == "best" && matMore(v, out) && !c.AtMost, c.Keep == "best" && matMore(out, v) && c.AtMost:
			out = v
		}
	}
	return out
}

func matMore(a, b string) bool {
	x, err := rankwright.ParseAmount(a)
	y, err2 := rankwright.ParseAmount(b)
	return err == nil && err2 == nil && x > y
}

func (c matCell) reaches(v string) bool {
	if c.AtMost {
		return !matMore(v, c.Expect)
	}
	return !matMore(c.Expect, v)
}

// brief is a time to the tenth, unless that would tell another story than the
// whole of it.
func (c matCell) brief(v string) string {
	a, err := rankwright.ParseAmount(v)
	if _, part, _ := strings.Cut(v, "."); err != nil || len(part) < 2 {
		return v
	}
	short := ((a + rankwright.One/20) / (rankwright.One / 10) * (rankwright.One / 10)).String()
	if c.Expect == "" || c.reaches(short) == c.reaches(v) {
		return short
	}
	return v
}

func (c matCell) shown(v string) matFace {
	short := "part"
	if c.Must {
		short = "low"
	}
	switch {
	case c.Kind == syllabus.Tick.String() && v == "1":
		return matFace{"full", "met", "", "shown", "shown"}
	case c.Kind == syllabus.Tick.String():
		return matFace{short, "unmet", "", "not shown", "not shown"}
	case v == "abstain":
		return matFace{"marked", "", "–", "abstains", "abstains"}
	case c.Kind == syllabus.Consent.String() && v == "yes":
		return matFace{"full", "met", "", "yes", "yes"}
	case c.Kind == syllabus.Consent.String():
		return matFace{short, "unmet", "", "no", "no"}
	}
	f := matFace{State: "marked", Text: v, Word: "marked", Say: v}
	if c.Kind == syllabus.Timed.String() {
		f.Text, f.Say = c.brief(v)+" s", v+" seconds"
	}
	if c.Expect != "" {
		reached := c.reaches(v)
		ask := "asked"
		if c.Must {
			ask = "must be"
		}
		if f.State, f.Word = short, ask+" "+c.Expect; reached {
			f.State, f.Word = "full", "reached"
		}
	}
	f.Say += ", " + f.Word
	return f
}

var matKeeps = map[syllabus.Keep]string{syllabus.KeepBest: "best", syllabus.KeepLast: "last", syllabus.KeepFirst: "first"}
