package look

// Base is what every page has; page structs embed it.
type Base struct {
	// Title is the h1 and, with the school, the title of the tab.
	Title string
	// Kicker stands small above the title, Lead large below it; either may be "".
	Kicker, Lead string
	// Lang is a BCP 47 tag, "en" where it is "". Dir is "rtl" or "".
	Lang, Dir string
	// School stands in the head and leads to Home ("/" where it is "").
	School, Home string
	// Person and Role say who is signed in; "" on pages without an account.
	Person, Role string
	// SignOut is the address that a POST signs out at; "" shows no button.
	SignOut string
	Nav     []NavItem
	// Back leads one step up.
	Back *Link
	// Flash is the answer to what the person just did.
	Flash *Notice
	// Errors is the summary of a form that was sent back.
	Errors *ErrorSummary
	// Width is "" (a sheet), "narrow" (forms, family pages) or "wide" (grids).
	Width string
	// CSSPath is where Static is served, AssetPath() where it is "".
	CSSPath string
	// Styles and Scripts are addresses of further style sheets and ES modules.
	Styles, Scripts []string
}

// Assets is the address of the static files with a slash behind.
func (b Base) Assets() string {
	if b.CSSPath != "" {
		return b.CSSPath
	}
	return AssetPath()
}

// NavItem is one place in the head.
type NavItem struct {
	Href, Text string
	Current    bool
}

// Link is a way on.
type Link struct{ Href, Text string }

// Notice says what happened and what to do. Kind is "info", "good",
// "attention" or "stop".
type Notice struct {
	Kind  string
	Title string
	Text  string
	// Do says what to do next, as a sentence of its own.
	Do    string
	Links []Link
}

// Belt is a rank as it is shown: the band and, always beside it, the name.
type Belt struct {
	// Name is the rank's name.
	Name string
	// Colour is #rgb or #rrggbb. Anything else draws a hollow, dashed band.
	Colour string
	// Stripe is the colour of a stripe along the middle, or "".
	Stripe string
	// Tip names the tip in words. TipColour is its tape; black or white,
	// whichever stands out more, where it is "".
	Tip, TipColour string
	// Tips is the number of tapes; 0 means one where there is a Tip or a
	// TipColour, else none. At most four are drawn.
	Tips int
	// Large draws the band across the page.
	Large bool
}

// Fill is the checked colour of the band, or "".
func (b Belt) Fill() string { return hexOrNone(b.Colour) }

// StripeFill is the checked colour of the stripe, or "".
func (b Belt) StripeFill() string { return hexOrNone(b.Stripe) }

// TapeFill is the colour of the tape.
func (b Belt) TapeFill() string {
	if c := hexOrNone(b.TipColour); c != "" {
		return c
	}
	return b.Thread()
}

// Thread is the colour of the stitches: black or white, whichever stands out
// more on the band.
func (b Belt) Thread() string {
	c, err := ParseColour(b.Colour)
	if err == nil && Contrast(c, black) < Contrast(c, white) {
		return "#ffffff"
	}
	return "#1c1915"
}

// Length is the band's length, where its height is 21.
func (b Belt) Length() int {
	if b.Large {
		return 378
	}
	return 108
}

// Inner is the length inside the edge.
func (b Belt) Inner() int { return b.Length() - 2 }

// Tapes gives the left edge of each tape.
func (b Belt) Tapes() []int {
	n := b.Tips
	if n == 0 && (b.Tip != "" || b.TipColour != "") {
		n = 1
	}
	xs := make([]int, 0, 4)
	for i := range min(n, 4) {
		xs = append(xs, b.Length()-22-13*i)
	}
	return xs
}

func hexOrNone(s string) string {
	c, err := ParseColour(s)
	if err != nil {
		return ""
	}
	return c.String()
}

// Outcome is the badge of an outcome. Code is one of promoted, held, not_yet,
// absent, stopped, incomplete, and second_look for what the head instructor
// has still to decide; any other is shown as it stands. Note follows the word.
type Outcome struct{ Code, Note string }

// Class is the badge's colour. Not yet is never the colour of a refusal.
func (o Outcome) Class() string {
	switch o.Code {
	case "promoted":
		return "badge-good"
	case "not_yet":
		return "badge-accent"
	case "held", "second_look":
		return "badge-attention"
	case "stopped":
		return "badge-stop"
	}
	return "badge-soft"
}

// Met says whether a condition holds.
type Met uint8

const (
	// Open is not known yet.
	Open Met = iota
	// Yes holds.
	Yes
	// No does not hold.
	No
)

// MetIf is Yes or No.
func MetIf(ok bool) Met {
	if ok {
		return Yes
	}
	return No
}

// Key is "met", "unmet" or "open": the mark, the class and the word.
func (m Met) Key() string { return [...]string{"open", "met", "unmet"}[min(m, 2)] }

// Reason is one line of a "why": the rule in words, what it asks, what was
// shown, and whether it is met.
type Reason struct {
	Text         string
	Asked, Shown string
	Met          Met
	// Must marks what no total can make up for.
	Must bool
	// Href opens where the number comes from; "" for none.
	Href string
}

// Empty is a place where nothing is yet, and the next step.
type Empty struct {
	Title, Text string
	Action      *Link
}

// Field is one question of a form. Kind is "" for an input of Type, or one of
// textarea, select, radios, segments, checks, check (one box with its label).
type Field struct {
	ID, Name    string
	Label       string
	Hint, Error string
	Kind        string
	// Type is the input's type, "text" where it is "".
	Type  string
	Value string
	// Options are the choices of select, radios, segments and checks.
	Options []Option
	// Checked is for a check.
	Checked  bool
	Required bool
	// Optional says so beside the label.
	Optional bool
	Disabled bool
	Multiple bool
	// First has the focus when the page opens; one field of a page may.
	First bool
	// Size is "short", "medium" or "".
	Size                    string
	Autocomplete, InputMode string
	Min, Max, Step          string
	Accept                  string
	MaxLength, Rows         int
}

// Option is one choice.
type Option struct {
	Value, Text, Hint string
	Selected          bool
}

// InputID is ID, or Name where it is "".
func (f Field) InputID() string {
	if f.ID != "" {
		return f.ID
	}
	return f.Name
}

// InputType is Type, or "text".
func (f Field) InputType() string {
	if f.Type != "" {
		return f.Type
	}
	return "text"
}

// SizeClass narrows the box to what is to be typed.
func (f Field) SizeClass() string {
	if f.Size == "" {
		return ""
	}
	return " input-" + f.Size
}

// DescribedBy names the elements that explain the field.
func (f Field) DescribedBy() string {
	id, s := f.InputID(), ""
	if f.Hint != "" {
		s = id + "-hint"
	}
	if f.Error != "" {
		if s != "" {
			s += " "
		}
		s += id + "-error"
	}
	return s
}

// Grouped says that the question is answered by several inputs.
func (f Field) Grouped() bool {
	return f.Kind == "radios" || f.Kind == "segments" || f.Kind == "checks"
}

// ErrorSummary is at the head of a form that was sent back.
type ErrorSummary struct {
	Title string
	Items []Link
	// Still keeps the page from moving to the summary when it opens.
	Still bool
}

// ErrorsOf gathers the summary from the fields, or nil where none is wrong.
func ErrorsOf(fields ...Field) *ErrorSummary {
	var s ErrorSummary
	for _, f := range fields {
		if f.Error == "" {
			continue
		}
		target := f.InputID()
		if f.Grouped() {
			target += "-0"
		}
		s.Items = append(s.Items, Link{Href: "#" + target, Text: f.Error})
	}
	if s.Items == nil {
		return nil
	}
	return &s
}

// Steps are the states of a grading in their order.
type Steps struct {
	Label string
	Items []Step
}

// Step is one state: "done", "now" or "later".
type Step struct{ Text, Href, State string }

// StepsAt makes steps of which the one at index now is the present one.
func StepsAt(label string, now int, texts ...string) Steps {
	s := Steps{Label: label}
	for i, t := range texts {
		state := "now"
		if i < now {
			state = "done"
		} else if i > now {
			state = "later"
		}
		s.Items = append(s.Items, Step{Text: t, State: state})
	}
	return s
}

// Fact is one row of a definition list.
type Fact struct {
	Term, Text string
	// Belt stands in the place of Text.
	Belt *Belt
	Href string
	// Note is small print under the row.
	Note string
}

// Caution is the box before falls and partner work.
type Caution struct {
	Title string
	Lines []string
	// Local is what the school's own rules add, shown first.
	Local string
	// People are those to call, such as the first aider of the day.
	People string
}

// Cautions are the usual cautions, with the school's own rules and people.
// They are no medical advice.
func Cautions(local, people string) Caution {
	return Caution{
		Title:  "Before falls and partner work",
		Local:  local,
		People: people,
		Lines: []string{
			"Your school's rules, your country's rules and the advice of licensed practitioners come before anything written here.",
			"Mats: close together, dry, clean, no gaps; nothing hard at the edge.",
			"Space: one pair to a square, with room to fall in every direction.",
			"Supervision: an instructor watches every fall and every throw; everyone knows the stop word.",
			"After a knock to the head: stop, tell the first aider and the parent. The child does not return that day without a health professional's clearance. In an emergency call an ambulance.",
		},
	}
}

// Grid is the mark grid: requirements down, students across.
type Grid struct {
	Caption  string
	Students []GridStudent
	Sections []GridSection
}

// GridStudent is the head of a column.
type GridStudent struct{ Name, Note, Href string }

// GridSection is a group of rows.
type GridSection struct {
	Title string
	Rows  []GridRow
}

// GridRow is one requirement, with a cell for each student in their order.
type GridRow struct {
	Text, Note string
	Must       bool
	Cells      []GridCell
}

// GridCell is one mark. State is "none", "full", "part", "low" (a must not
// reached) or "apart" (examiners differ); Text is what is shown, Word says it
// in a word below. Label is read out before them and names requirement and
// student. The cell is a link where there is an Href, a submit button where there is a
// Name, and else stands still.
type GridCell struct {
	State, Text, Word, Label string
	Href                     string
	Name, Value              string
}
