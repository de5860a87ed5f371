package web

import (
	"fmt"
	"slices"
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
	f, more := matFace{State: "none", Text: "–", Word: "no mark"}, []string(nil)
	if v != "" {
		f, more = c.shown(v)
	}
	said := f.Word // what is read begins with what is seen
	instead := func(word, say string) {
		more = slices.Insert(more, 0, said)
		f.Word, said = word, say
	}
	tries := 0
	for _, t := range c.Values {
		if matIsMark(t) {
			tries++
		}
	}
	if tries > 1 {
		word := fmt.Sprintf("%s of %d", c.Keep, tries)
		instead(word, word+" tries")
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
		f.State = "apart"
		instead("differ", "differ between examiners")
	case len(c.Others) > 0:
		word := fmt.Sprintf("%d marked", marked)
		instead(word, word)
	}
	say := append([]string{said}, more...)
	if strings.ContainsAny(f.Text, "0123456789") {
		say = slices.Insert(say, 0, f.Text)
	}
	f.Say = strings.Join(say, ", ")
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

// shown is the face of one value, with what is read besides.
func (c matCell) shown(v string) (f matFace, more []string) {
	short := "part"
	if c.Must {
		short = "low"
	}
	switch {
	case c.Kind == syllabus.Tick.String() && v == "1":
		return matFace{State: "full", Icon: "met", Word: "shown"}, nil
	case c.Kind == syllabus.Tick.String():
		return matFace{State: short, Icon: "unmet", Word: "not shown"}, nil
	case v == "abstain":
		return matFace{State: "marked", Text: "–", Word: "abstains"}, nil
	case c.Kind == syllabus.Consent.String() && v == "yes":
		return matFace{State: "full", Icon: "met", Word: "yes"}, nil
	case c.Kind == syllabus.Consent.String():
		return matFace{State: short, Icon: "unmet", Word: "no"}, nil
	}
	f = matFace{State: "marked", Text: v, Word: "marked"}
	if c.Kind == syllabus.Timed.String() {
		if f.Text = c.brief(v) + " s"; f.Text != v+" s" {
			more = append(more, v+" s exactly")
		}
	}
	if c.Expect != "" {
		ask := "asked"
		if c.Must {
			ask = "must be"
		}
		if f.State, f.Word = short, ask+" "+c.Expect; c.reaches(v) {
			f.State, f.Word = "full", "reached"
		}
	}
	return f, more
}

var matKeeps = map[syllabus.Keep]string{syllabus.KeepBest: "best", syllabus.KeepLast: "last", syllabus.KeepFirst: "first"}
