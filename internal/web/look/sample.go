package look

import (
	"cmp"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"
)

// Data feeds the template "look": every part of the look with invented
// content of the demo club.
type Data struct {
	Base
	Spaces    []Space
	Swatches  []Swatch
	Pairs     []Measured
	Belts     []Belt
	LargeBelt Belt
	Outcomes  []Outcome
	Notices   []Notice
	Reasons   []Reason
	Facts     []Fact
	Steps     Steps
	Caution   Caution
	Empty     Empty
	Grid      Grid
	Fields    []Field
	Wrong     []Field
	Table     []SampleRow
	Round     Round
}

// Space is one step of the spacing.
type Space struct{ Name, Size string }

// Swatch is one colour in both schemes.
type Swatch struct{ Name, Light, Dark string }

// Measured is a pair with its ratios in both schemes.
type Measured struct {
	Pair
	LightInk, LightOn, DarkInk, DarkOn string
	Light, Dark                        float64
}

// Tight is the lower ratio, as a multiple of the least that is asked.
func (m Measured) Tight() float64 { return min(m.Light, m.Dark) / m.Least }

// SampleRow is a row of the table on the look page.
type SampleRow struct {
	Student string
	Belt    Belt
	Age     int
	Weeks   string
	Outcome Outcome
}

var lookPage = sync.OnceValue(func() *template.Template {
	return template.Must(Parts().ParseFS(files, "look.html"))
})

// Render writes the look page inside the given base; its title is filled in
// where there is none.
func Render(w io.Writer, base Base) error {
	page := Page()
	page.Base = base
	page.Title = cmp.Or(base.Title, "The look")
	page.Lead = cmp.Or(base.Lead, "Every part of the pages in one place. Read it on a phone, at night, and on paper.")
	return lookPage().ExecuteTemplate(w, "look", page)
}

// Page gives the content of the look page without its Base.
func Page() Data {
	t, err := ReadTokens()
	if err != nil {
		panic("look: " + err.Error())
	}
	reed := Belt{Name: "Reed", Colour: "#a9cf9b"}
	amber := Belt{Name: "Amber", Colour: "#e0a11b"}
	slate := Belt{Name: "Slate", Colour: "#6b8299"}
	plum := Belt{Name: "Plum", Colour: "#6a2750"}
	tipped := func(b Belt, n int, tip string) Belt { b.Tips, b.Tip = n, tip; return b }
	large := tipped(amber, 2, "tip 2 Ready")
	large.Large = true
	d := Data{
		Belts: []Belt{
			{Name: "Beginner", Colour: "#e6d8b8"}, reed, tipped(amber, 1, "tip 1 Steady"), tipped(slate, 2, "tip 2 Ready"),
			{Name: "Copper", Colour: "#a85a32"}, tipped(plum, 1, "tip 1 Steady"), {Name: "Indigo", Colour: "#29306e"},
			{Name: "White", Colour: "#ffffff"}, {Name: "Black", Colour: "#111111", Tip: "first tip", TipColour: "#d9a514"},
			{Name: "White and red", Colour: "#ffffff", Stripe: "#b3261e"}, {Name: "Colour not given"},
		},
		LargeBelt: large,
		Outcomes: []Outcome{
			{Code: "promoted"}, {Code: "held", Note: "guardian's signature"}, {Code: "not_yet"}, {Code: "absent"},
			{Code: "stopped"}, {Code: "incomplete"}, {Code: "second_look", Note: "two examiners differ"},
		},
		Notices: []Notice{
			{Kind: "info", Title: "Families can answer until Sunday 4 October.", Text: "Nine of fourteen have picked a time.", Links: []Link{{"#", "See who has not"}}},
			{Kind: "good", Title: "Saved.", Text: "Six marks of squad B are stored."},
			{Kind: "attention", Title: "Two sittings overlap for Anahera Ropatini.", Do: "Give one of them to another examiner."},
			{Kind: "stop", Title: "The file could not be read.", Text: "Row 14, column “birth_date”: 31 April is not a day.", Do: "Correct the row and send the file again; nothing has been changed."},
		},
		Reasons: []Reason{
			{Text: "Settle-back from sitting", Must: true, Asked: "level 2", Shown: "level 2", Met: Yes, Href: "#reasons"},
			{Text: "Share of all points", Asked: "70% of 56", Shown: "39 of 56 (69.64%)", Met: No, Href: "#reasons"},
			{Text: "Guardian's signature", Met: Open},
		},
		Facts: []Fact{
			{Term: "Rank", Belt: &reed}, {Term: "Age on the day", Text: "7 years", Note: "Birthdays up to and including 10 October 2026."},
			{Term: "Sessions since the last rank", Text: "23 of 20", Href: "#facts"}, {Term: "Sitting", Text: "10:15, mat 2"},
		},
		Steps:   StepsAt("Where this grading stands", 2, "Planning", "Open to families", "Timetabled", "On the mat", "Deciding", "Closed"),
		Caution: Cautions("House rule: no head contact, no strangles, no joint locks.", "First aider today: Rhodri ap Siencyn. Welfare lead: Mireille Ndongala."),
		Empty:   Empty{Title: "No grading yet", Text: "Begin with dates and ranks; families hear of it only when you open it to them.", Action: &Link{"#", "Plan a grading"}},
		Grid:    sampleGrid(),
		Fields: []Field{
			{Name: "given", Label: "Given name", Value: "Maëlle", Autocomplete: "off", Required: true},
			{Name: "belt", Label: "Belt length in centimetres", Hint: "Measure the old belt from end to end.", InputMode: "numeric", Size: "short", Optional: true},
			{Name: "sitting", Label: "Sitting", Kind: "select", Size: "medium", Options: []Option{{Text: "Choose"}, {Value: "1", Text: "10:15, mat 1"}, {Value: "2", Text: "10:15, mat 2"}}},
			{Name: "level", Label: "Settle-back from sitting", Hint: "0 the head touches or the arm props; 2 chin tucked, round, breath out.", Kind: "segments", Options: []Option{{Value: "0", Text: "0"}, {Value: "1", Text: "1"}, {Value: "2", Text: "2", Selected: true}, {Value: "3", Text: "3"}, {Value: "x", Text: "Not seen"}}},
			{Name: "times", Label: "Which times suit?", Kind: "checks", Options: []Option{{Value: "a", Text: "Saturday morning", Hint: "10 October, 10:15 to 11:00", Selected: true}, {Value: "b", Text: "Saturday midday", Hint: "10 October, 11:30 to 12:15"}}},
			{Name: "photo", Label: "May we take photographs?", Kind: "radios", Options: []Option{{Value: "no", Text: "No", Selected: true}, {Value: "club", Text: "Yes, for the club's wall only"}}},
			{Name: "fit", Label: "My child is well and may take part", Kind: "check"},
			{Name: "note", Label: "Anything we should know?", Kind: "textarea", Rows: 3, Optional: true},
			{Name: "file", Label: "Spreadsheet of students", Type: "file", Accept: ".csv,.xlsx"},
		},
		Wrong: []Field{
			{ID: "wrong-born", Name: "born", Label: "Birth date", Hint: "For instance 2019-05-31.", Value: "2019-04-31", Size: "medium", Error: "31 April is not a day: April has 30 days."},
			{ID: "wrong-mat", Name: "mat", Label: "Mat", Kind: "segments", Options: []Option{{Value: "1", Text: "1"}, {Value: "2", Text: "2"}}, Error: "Choose a mat."},
		},
		Table: []SampleRow{
			{"Ayotomi Fasanwe", reed, 5, "11 weeks", Outcome{Code: "promoted"}}, {"Inti Quispaya", reed, 5, "10 weeks", Outcome{Code: "held", Note: "home note"}},
			{"Nguyễn Thị Hạnh", amber, 7, "14 weeks", Outcome{Code: "not_yet"}}, {"Ælfgifu Żółkiewska", tipped(slate, 1, "tip 1 Steady"), 8, "16 weeks", Outcome{Code: "second_look"}},
		},
		Round: sampleRound(),
	}
	for _, name := range t.Names {
		if size, ok := strings.CutSuffix(t.Light[name], "rem"); ok && strings.HasPrefix(name, "space-") {
			d.Spaces = append(d.Spaces, Space{name, size + "rem"})
		}
		if hexOrNone(t.Light[name]) != "" {
			d.Swatches = append(d.Swatches, Swatch{name, t.Light[name], t.In(true, name)})
		}
	}
	for _, p := range Pairs() {
		m := Measured{Pair: p, LightInk: t.Light[p.Ink], LightOn: t.Light[p.On], DarkInk: t.In(true, p.Ink), DarkOn: t.In(true, p.On)}
		if m.Light, err = t.Ratio(p, false); err == nil {
			m.Dark, err = t.Ratio(p, true)
		}
		if err != nil {
			panic("look: " + err.Error())
		}
		d.Pairs = append(d.Pairs, m)
	}
	slices.SortStableFunc(d.Pairs, func(a, b Measured) int { return cmp.Compare(a.Tight(), b.Tight()) })
	return d
}

func sampleGrid() Grid {
	names := []string{"Ayotomi", "Inti", "Maëlle", "Naveed", "Ana", "Hạnh"}
	g := Grid{Caption: "Squad B, station falls and getting up"}
	for i, n := range names {
		note := "A"
		if i > 2 {
			note = "B"
		}
		g.Students = append(g.Students, GridStudent{Name: n, Note: "band " + note})
	}
	row := func(text string, must bool, states ...string) GridRow {
		r := GridRow{Text: text, Must: must}
		for i, s := range states {
			c := GridCell{State: s, Href: "#grid"}
			switch s {
			case "full":
				c.Text, c.Word = "3", "full"
			case "part":
				c.Text, c.Word = "2", "of 3"
			case "low":
				c.Text, c.Word = "1", "must is 2"
			case "apart":
				c.Text, c.Word = "1 | 3", "differ"
			default:
				c.Text, c.Word = "–", "no mark"
			}
			c.Label = text + ", " + names[i]
			r.Cells = append(r.Cells, c)
		}
		return r
	}
	g.Sections = []GridSection{
		{Title: "Falls", Rows: []GridRow{
			row("Settle-back from sitting", true, "full", "full", "low", "part", "full", "none"),
			row("Says the three fall rules", false, "full", "apart", "part", "full", "full", "none"),
		}},
		{Title: "Getting up", Rows: []GridRow{
			row("Guarded rise from sitting", false, "full", "part", "none", "none", "none", "none"),
			row("Stands on one leg", false, "none", "none", "none", "none", "none", "none"),
		}},
	}
	return g
}

// WrongSummary is the summary of the form that was sent back.
func (d Data) WrongSummary() *ErrorSummary {
	s := ErrorsOf(d.Wrong...)
	s.Still = true
	return s
}

// sampleRound is a round of three squads and four stations, in which the little
// ones of the first have a break.
func sampleRound() Round {
	at := func(station, from, until int) RoundStop { return RoundStop{station, 10*60 + from, 10*60 + until} }
	return Round{
		Label:    "Saturday 10 October, 10:20, mat B",
		Stations: []string{"Stance", "Hands and kicks", "Falls", "Partner drills"},
		Squads: []RoundSquad{
			{Name: "Squad 1", Stops: []RoundStop{at(0, 20, 28), at(1, 29, 37), at(-1, 37, 42), at(2, 47, 55), at(3, 56, 64)}},
			{Name: "Squad 2", Stops: []RoundStop{at(1, 20, 28), at(2, 29, 37), at(3, 38, 46), at(0, 47, 55)}},
			{Name: "Squad 3", Stops: []RoundStop{at(2, 20, 28), at(3, 29, 37), at(0, 38, 46), at(1, 47, 55)}},
		},
	}
}
