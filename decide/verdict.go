package decide

import (
	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Case is everything about one entry on which its outcome depends.
type Case struct {
	Entry rankwright.EntryID
	Day   rankwright.Day // of the grading
	Band  int            // index of the age band, -1 for none
	Card  *scoring.Card
	// Lead is the examiner whose mark decides where the combining rule says
	// so; "" where nobody was named.
	Lead     rankwright.ExaminerID
	Presence Presence
	Waived   []rankwright.RequirementID // of this entry alone
	Met      []rankwright.ClearanceID   // the clearances that are met
	// Kept is what was shown at an earlier grading and stands until a day.
	Kept    []Kept
	Retries int     // part retries had since the last whole examination
	Before  *Before // the grading before this one; nil where there was none
}

// Presence is whether the candidate was examined at all.
type Presence uint8

const (
	Present Presence = iota
	Away             // did not come
	Unwell           // came, or wrote, unwell; not examined
	Halted           // stopped for safety
)

// Kept is a value that stands from an earlier grading.
type Kept struct {
	Requirement rankwright.RequirementID
	Value       rankwright.Amount
	Until       rankwright.Day // the last day on which it stands
}

// Before is what the student's earlier gradings left behind.
type Before struct {
	// Weak and WeakSections fell short at the latest of them.
	Weak         []rankwright.RequirementID
	WeakSections []rankwright.SectionID
	Labels       []string // of their results, the latest first
}

// Verdict is the outcome of one entry and everything that led to it.
type Verdict struct {
	Entry   rankwright.EntryID
	Rank    rankwright.RankID
	Outcome syllabus.Outcome
	Label   string // the school's own word, such as "commendation"
	// Line is the place of the result in the pass rule, -1 where no result
	// was reached (absent, stopped, incomplete).
	Line int

	Points rankwright.Amount // base plus bonus up to the cap
	Base   rankwright.Amount
	Bonus  rankwright.Amount
	Of     rankwright.Amount // base points that could be had

	Sections   []SectionScore
	Reasons    []Reason
	SecondLook []Look
	// ShowAgain is what a "not yet" shows again; empty where it is all of it
	// (Whole is set) or where the head instructor names it.
	ShowAgain         []rankwright.RequirementID
	ShowAgainSections []rankwright.SectionID
	Whole             bool
	AgainUntil        rankwright.Day // the last day for it; zero is open
	// FollowUp is the last day on which what was short is looked at again
	// after a promotion that depends on it; zero where there is none.
	FollowUp rankwright.Day
	Missing  []rankwright.RequirementID
}

// SectionScore is what a section came to.
type SectionScore struct {
	Section rankwright.SectionID
	Points  rankwright.Amount
	Of      rankwright.Amount
}

// Share is the total in hundredths of a percent, cut.
func (v *Verdict) Share() rankwright.Share { return rankwright.ShareOf(v.Points, v.Of) }

// ReasonKind is what a reason is about.
type ReasonKind uint8

const (
	AboutTotal ReasonKind = iota
	AboutSections
	AboutRequirements
	AboutConsents
	AboutRuns
	AboutAll
	AboutAny
	AboutMarks
	AboutClearance
	AboutPresence
	AboutRetries
)

// Reason is one condition with what was asked, what was shown, and whether it
// was met. The reasons of a verdict together with the pass rule determine the
// outcome.
type Reason struct {
	// Rule is the condition's id in the syllabus, or "marks", "presence",
	// "clearance:ID", or "retries:N" of the results that N part retries lead to.
	Rule  string
	Kind  ReasonKind
	Name  string
	Asked Fact
	Shown Fact
	Met   bool
	// Decides marks the conditions of the result that was reached, or, for a
	// "not yet", those of the promotion that was nearest: what a family is
	// shown. The others lead to other results.
	Decides bool
	Short   []Short // what fell short, forgiven or not
	// Parts are the conditions that "all" and "any" hold.
	Parts []Reason
}

// Fact is a number with its unit, or a word.
type Fact struct {
	Unit Unit
	Less bool // less is better: "at most"
	Num  rankwright.Amount
	Of   rankwright.Amount
	Most int // how many may fall short
	Cond *syllabus.Condition
	Word string
}

// Unit tells how a fact is read.
type Unit uint8

const (
	InWords Unit = iota
	InPoints
	InShare    // Num is hundredths of a percent in whole amounts
	InSections // Num of Of sections
	InRequirements
	InVotes
	InRuns
	InParts
	InValue // a mark: a level, a count, a tick
	InSeconds
	InRetries
)

// Short is one section or requirement that fell short of a condition.
type Short struct {
	Section     rankwright.SectionID
	Requirement rankwright.RequirementID // "" where it is a whole section
	Asked       Fact
	Shown       Fact
	Forgiven    bool
}

// Look is a reason for the head instructor to look again.
type Look struct {
	Key         LookKey
	Requirement rankwright.RequirementID
	Examiner    rankwright.ExaminerID
	From, To    rankwright.Amount
	Would       syllabus.Outcome // what the outcome would be
	Ask         string
}

// LookKey says why an entry is looked at again.
type LookKey string

const (
	// OneMark is an outcome that one mark, one step away, would change.
	OneMark LookKey = "one_mark"
	// MarksApart are examiners who differ by as much as the school set.
	MarksApart LookKey = "marks_apart"
	// NoLead is a rule that asks for the lead's mark where none was named or
	// the lead did not mark.
	NoLead LookKey = "no_lead"
	// AskHead is a question that the pass rule leaves to the head instructor.
	AskHead LookKey = "ask_head"
	// NameAgain is a "not yet" on the total alone: a person names what is
	// seen again.
	NameAgain LookKey = "name_what_to_show_again"
	// MissingMarks is an entry that cannot be decided yet.
	MissingMarks LookKey = "missing_marks"
	// ExtraTry is a mark of a try beyond those that the requirement gives; it
	// does not count.
	ExtraTry LookKey = "extra_try"
	// KeptEnded is an earlier mark that no longer stands.
	KeptEnded LookKey = "kept_ended"
)
