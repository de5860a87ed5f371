package syllabus

import (
	"slices"

	"rankwright"
)

// Pass is the pass rule of a rank: conditions with names, and the results
// they lead to. Results stand from the best to the least, and the first whose
// conditions all hold is the one; where none holds, it is "not yet".
//
// No condition can be written in which a better mark hurts: every condition
// asks for at least so much, or for at most so few that fall short. That is
// what makes the whole rule monotone.
type Pass struct {
	Conditions []Condition
	Results    []Result
}

// ConditionKind is what a condition looks at.
type ConditionKind uint8

const (
	// OnTotal looks at the points of a set of requirements taken together.
	OnTotal ConditionKind = iota
	// OnSections looks at each section's points.
	OnSections
	// OnRequirements looks at each requirement's value.
	OnRequirements
	// OnConsents looks at examiners' votes.
	OnConsents
	// OnRuns looks back: a label not more often in a row than allowed.
	OnRuns
	// OnAll holds where all of its parts hold.
	OnAll
	// OnAny holds where one of its parts holds.
	OnAny
)

// Condition is one named condition.
type Condition struct {
	ID   string
	Name string // a few words for people, such as "every section at least half"
	Kind ConditionKind

	Of   Set
	Need Need
	// Allow is how many (or which share) of those looked at may fall short,
	// and how.
	Allow Allow
	// Bonus says that bonus points count (OnTotal only).
	Bonus bool

	Panels []Panel // OnConsents: any one of these shapes serves
	Veto   bool    // OnConsents: the lead examiner's no is final

	Label string // OnRuns
	Most  int    // OnRuns: the longest run allowed, with this result in it

	Parts []Condition
}

// Set says which requirements (or sections) a condition looks at. Bonus
// requirements are never among them.
type Set struct {
	Musts    bool                       // only musts
	Weak     bool                       // only those that fell short at the grading before this one
	Sections []rankwright.SectionID     // only these, where given
	Only     []rankwright.RequirementID // only these, where given
	Except   []string                   // neither these sections nor these requirements
}

// Holds says whether a requirement is in the set, as far as the syllabus alone
// can tell: which were weak before differs from entry to entry. Bonus, votes
// and what only holds back the results are in no set.
func (s *Set) Holds(q *Requirement) bool {
	if q.Bonus || q.ForRelease || q.Kind == Consent || s.Musts && !q.Must || slices.Contains(s.Except, string(q.ID)) || slices.Contains(s.Except, string(q.Section)) {
		return false
	}
	return len(s.Sections)+len(s.Only) == 0 || slices.Contains(s.Sections, q.Section) || slices.Contains(s.Only, q.ID)
}

// NeedKind is how a need is stated.
type NeedKind uint8

const (
	// Expected is each requirement's own expectation.
	Expected NeedKind = iota
	// ShareNeed is a share of the points that can be had.
	ShareNeed
	// AmountNeed is a number: of points for totals and sections, of the
	// value itself (a level, a count) for requirements.
	AmountNeed
)

// Need is the least that a condition asks for.
type Need struct {
	Kind   NeedKind
	Share  rankwright.Share
	Amount rankwright.Amount
	// HalfUp rounds a share to the whole percent, half up, before comparing.
	HalfUp bool
}

// Allow is what a condition forgives.
type Allow struct {
	UpTo     int              // so many may fall short
	Percent  rankwright.Share // or this share of those looked at; 0 where UpTo is used
	Floor    Need             // how far at the most: they must still reach this; unset is any way
	HasFloor bool
	Never    Set // these are not forgiven
	HasNever bool
}

// Outcome is what becomes of an entry.
type Outcome uint8

const (
	Promoted Outcome = iota
	Held
	NotYet
	Absent
	Stopped
	Incomplete
)

var outcomeWords = []string{"promoted", "held", "not_yet", "absent", "stopped", "incomplete"}

// String returns the word used in files.
func (o Outcome) String() string {
	if int(o) < len(outcomeWords) {
		return outcomeWords[o]
	}
	return "unknown"
}

// ParseOutcome reads the word used in files.
func ParseOutcome(s string) (Outcome, bool) {
	for i, w := range outcomeWords {
		if w == s {
			return Outcome(i), true
		}
	}
	return 0, false
}

// Result is one line of a pass rule.
type Result struct {
	Outcome Outcome // Promoted or NotYet
	Label   string  // the school's own word for it: "commendation", "part", "T"
	When    []string
	// FollowUp says that the rank is given now and what was short is looked
	// at again within so many days, the certificate coming then.
	FollowUp int
	// ShowAgain says what a "not yet" shows again.
	ShowAgain Again
	Within    int // days in which to show it; what was shown stands until then
	Retries   int // how many part retries may lead here; 0 is any number
	// Ask is a question that only the head instructor can settle; a result
	// with one always gets a second look.
	Ask string
}

// Again says what is shown again after a "not yet".
type Again uint8

const (
	AgainAll Again = iota
	AgainShort
)

// Condition returns the condition with the given id, or nil.
func (p *Pass) Condition(id string) *Condition {
	for i := range p.Conditions {
		if p.Conditions[i].ID == id {
			return &p.Conditions[i]
		}
	}
	return nil
}
