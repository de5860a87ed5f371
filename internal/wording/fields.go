package wording

import (
	"slices"
	"strings"

	"rankwright/internal/words"
)

// Kind is what a wording is for.
type Kind string

// The letters about a result, and the messages.
const (
	Promoted Kind = "promoted"
	Held     Kind = "held"
	NotYet   Kind = "not-yet"
	Absent   Kind = "absent"
	Stopped  Kind = "stopped"

	Link        Kind = "link"
	NotAnswered Kind = "not-answered"
	NotSigned   Kind = "not-signed"
	YourTime    Kind = "your-time"
	TimeChanged Kind = "time-changed"
	Tomorrow    Kind = "tomorrow"
	ResultReady Kind = "result-ready"
)

// Field is something that differs from child to child.
type Field struct {
	Name  string
	Means string // what it stands for, after "it stands for"
	List  bool   // of several items
	Link  bool   // an address that can be opened
	// Required fields cannot be left out of the body.
	Required bool
	// Sure fields are never empty; a paragraph with another may be left out.
	Sure bool
}

// inSubject says whether it can stand in the one line at the top.
func (f *Field) inSubject() bool { return f.Sure && !f.Link && !f.Required }

type kindRow struct {
	kind   Kind
	letter bool
	title  string // for staff
	when   string // when it is used, a sentence
	fields []Field
}

var (
	child    = Field{Name: "child", Means: "the child's given name", Sure: true}
	name     = Field{Name: "name", Means: "the child's whole name", Sure: true}
	rank     = Field{Name: "rank", Means: "the rank that was shown", Sure: true}
	grading  = Field{Name: "grading", Means: "the title of the grading", Sure: true}
	day      = Field{Name: "day", Means: "the day of the grading in words", Sure: true}
	school   = Field{Name: "school", Means: "the name of the school", Sure: true}
	signer   = Field{Name: "signer", Means: "the name of the head instructor who signed"}
	well     = Field{Name: "well", Means: "what went well", List: true}
	again    = Field{Name: "again", Means: "what is shown again", List: true}
	until    = Field{Name: "until", Means: "the last day on which it can be shown again"}
	practise = Field{Name: "practise", Means: "what of it can be practised at home, and how", List: true}
	class    = Field{Name: "class", Means: "what of it is practised in class only, such as falls and work with a partner", List: true}
	dates    = Field{Name: "dates", Means: "the next dates: make-up dates and the next grading", List: true}
	children = Field{Name: "children", Means: "the given names of the family's children at this grading", List: true, Sure: true}
	link     = Field{Name: "link", Means: "the address of the family's own page", Link: true, Required: true, Sure: true}
	times    = Field{Name: "times", Means: "each child with its day, time and mat", List: true, Sure: true, Required: true}
	place    = Field{Name: "place", Means: "where the grading is held"}
	bring    = Field{Name: "bring", Means: "what is looked at when you come in: kit, papers and the like", List: true}
)

func needed(f Field) Field {
	f.Required, f.Sure = true, true
	return f
}

var kinds = []kindRow{
	{Promoted, true, "Promoted", "The letter to a child who has reached the rank.",
		[]Field{child, name, rank, grading, day, school, signer, well,
			{Name: "commended", Means: "the words of commendation, where the pass rule gives them"},
			{Name: "again", Means: "what is looked at once more although the rank is given", List: true},
			{Name: "until", Means: "the day by which that is looked at"}, dates}},
	{Held, true, "Held", "The letter where all was shown and a clearance is still missing.",
		[]Field{child, name, rank, grading, day, school, signer, well,
			needed(Field{Name: "missing", Means: "what is missing, and how each of it is settled", List: true}), dates}},
	{NotYet, true, "Not yet", "The letter to a child who shows something again.",
		[]Field{child, name, rank, grading, day, school, signer, well, needed(again), until, practise, class, dates}},
	{Absent, true, "Absent", "The letter to a child who could not come or was not well.",
		[]Field{child, name, rank, grading, day, school, signer, dates}},
	{Stopped, true, "Stopped for safety", "The letter where the examination was stopped to be on the safe side.",
		[]Field{child, name, rank, grading, day, school, signer, dates}},

	{Link, false, "The link", "The first message: the family's own page is there.",
		[]Field{children, grading, day, place, school, link}},
	{NotAnswered, false, "Not answered yet", "A reminder to say which times suit.",
		[]Field{children, grading, day, school, link}},
	{NotSigned, false, "Not signed yet", "A reminder of what is still to be signed.",
		[]Field{children, grading, day, school, link, {Name: "unsigned", Means: "each child with what is still to be signed", List: true}}},
	{YourTime, false, "Your time", "The times are settled.",
		[]Field{children, grading, day, times, place, bring, school, link}},
	{TimeChanged, false, "The time has changed", "A time that the family was told is another now.",
		[]Field{children, grading, day, times, {Name: "before", Means: "each child with the time that was told before", List: true}, place, school, link}},
	{Tomorrow, false, "Tomorrow", "A reminder on the day before.",
		[]Field{children, grading, day, times, place, bring, school, link}},
	{ResultReady, false, "The result is there", "The family may see the result on its page.",
		[]Field{children, grading, day, school, link}},
}

func (k Kind) row() *kindRow {
	for i := range kinds {
		if kinds[i].kind == k {
			return &kinds[i]
		}
	}
	return &kindRow{kind: k, title: string(k)}
}

func (k Kind) known() bool { return slices.Contains(Kinds(), k) }

// Kinds lists all kinds: the letters, then the messages.
func Kinds() (out []Kind) {
	for i := range kinds {
		out = append(out, kinds[i].kind)
	}
	return out
}

// Letter says whether it is a letter about a result, and no message.
func (k Kind) Letter() bool { return k.row().letter }

// Title is what the kind is called on the pages of the school.
func (k Kind) Title() string { return k.row().title }

// When says in a sentence what it is used for.
func (k Kind) When() string { return k.row().when }

// Fields are all that a wording of the kind may name.
func (k Kind) Fields() []Field { return slices.Clone(k.row().fields) }

// Example is what an invented child's letter would be filled in with, for a
// look at a wording.
func Example(k Kind, l words.Lang) Values {
	say := words.In(l)
	out := Values{}
	for _, f := range k.Fields() {
		switch {
		case f.Link:
			out[f.Name] = []string{"https://gradings.example/f/0123-example"}
		case f.List:
			out[f.Name] = strings.Split(say.It(words.Key("wording.example."+f.Name)), "\n")
		default:
			out[f.Name] = []string{say.It(words.Key("wording.example." + f.Name))}
		}
	}
	return out
}
