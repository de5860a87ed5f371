// Package syllabus holds what each rank of a ladder must show and by which
// rules that is enough: the text file in which a school writes it, its faults
// by line and column, and the compiled form that the other packages read.
//
// A Syllabus is immutable once parsed. A grading is run under one frozen
// version of it.
package syllabus

import (
	"time"

	"rankwright"
)

// Syllabus is one ladder and everything asked on it.
type Syllabus struct {
	Ladder  rankwright.LadderID
	Name    string
	Version string // the school's own name of this version
	Source  string // where the rules were published, if they were
	From    rankwright.Day
	Until   rankwright.Day // last day in force; zero is open

	Counting   Counting
	Bands      []AgeBand
	Scales     []Scale
	Sections   []Section
	Clearances []Clearance
	Themes     map[time.Month]string
	Combine    map[Kind]Combine
	Ranks      []Rank // lowest first

	at     map[string]int // the line where a thing is written, for remarks
	unused []Remark       // what is defined and used by nobody
}

// Counting holds the conventions by which age and time are counted. They are
// choices of the school and are shown beside every answer.
type Counting struct {
	// MonthEnd is where a birthday on 29 February falls in other years, and
	// where a step of months from the 31st lands.
	MonthEnd rankwright.MonthEnd
}

// AgeBand groups candidates by age on the day, both ends included.
type AgeBand struct {
	ID       string
	From, To int
}

// Scale is a set of short written levels, the same words for every examiner.
type Scale struct {
	ID     string
	Name   string
	Levels []Level // in rising order
	Enough int     // the level expected where a requirement names none
}

// Level is one step of a scale and what it looks like.
type Level struct {
	Value int
	Words string
}

// Section groups requirements.
type Section struct {
	ID       rankwright.SectionID
	Name     string
	Cautions []Caution
}

// Caution names the usual cautions that are shown before a station begins.
type Caution string

// The cautions that a section or requirement can ask for.
const (
	Falls   Caution = "falls"
	Partner Caution = "partner"
	Contact Caution = "contact"
	Fitness Caution = "fitness"
)

// Clearance is a condition without a score that blocks entry or promotion.
type Clearance struct {
	ID     rankwright.ClearanceID
	Name   string
	Before Stage
}

// Stage is what a clearance blocks.
type Stage uint8

const (
	BeforePromotion Stage = iota
	BeforeEntry
)

// Kind is the way in which a requirement is marked.
type Kind uint8

const (
	// Tick is shown or not shown.
	Tick Kind = iota
	// Leveled is a step of a scale with descriptors.
	Leveled
	// Steps counts ordered steps done right from the first on.
	Steps
	// Recall counts recalled items, k of n.
	Recall
	// Timed is a number of seconds, to reach or to stay within.
	Timed
	// Count is a number of repetitions or hits.
	Count
	// Consent is an examiner's yes or no, or an abstention.
	Consent
)

var kindWords = []string{"tick", "level", "steps", "recall", "time", "count", "consent"}

// String returns the word by which the file names the kind.
func (k Kind) String() string {
	if int(k) < len(kindWords) {
		return kindWords[k]
	}
	return "unknown"
}

// Kinds lists every kind.
func Kinds() []Kind { return []Kind{Tick, Leveled, Steps, Recall, Timed, Count, Consent} }

// Requirement is one thing shown and scored at one rank.
type Requirement struct {
	ID      rankwright.RequirementID
	Section rankwright.SectionID
	Show    string // what is shown, in a child's words
	Kind    Kind

	Scale  *Scale   // of a level
	Parts  []string // the steps or the items to recall, where they are written out
	Of     int      // how many steps or items there are; the top of a count, 0 where open
	AtMost bool     // time or count: less is better

	// Points is the most that can be earned.
	Points rankwright.Amount
	// Credit turns a time or a count into points, best first; empty means all
	// points for reaching the expectation and none below.
	Credit []Credit

	// Expect is what must be shown to count as shown, for everybody or by age
	// band. For a time or a count it is also the target of Credit.
	Expect       rankwright.Amount
	ExpectByBand []rankwright.Amount // in the order of Syllabus.Bands; nil where one serves all

	Must  bool // no total makes up for it
	Bonus bool // adds up to the cap and is never asked
	// ForRelease marks a tick, such as a coach's note, without which no
	// result is given out.
	ForRelease bool
	// Before marks what is scored before the day, in class or at the door.
	Before bool
	// Themed marks a requirement whose content is the theme of the month.
	Themed bool

	Tries    int  // how many tries may be marked; 1 where not said
	Keep     Keep // which try counts
	Combine  *Combine
	Examiner rankwright.RankID // the lowest rank that may examine it; "" is anyone on the panel
	Cautions []Caution
}

// Credit is one row of a table of credit: where the value reaches At of the
// target (or, for less-is-better, stays within At of it), Points are earned.
type Credit struct {
	At     rankwright.Share
	Points rankwright.Amount
}

// Keep says which of several tries counts.
type Keep uint8

const (
	KeepBest Keep = iota
	KeepLast
	KeepFirst
)

// Method is how several examiners' marks of one requirement become one value.
type Method uint8

const (
	// Lead takes the lead examiner's mark; where none is named, the least
	// favourable mark counts and the entry gets a second look.
	Lead Method = iota
	Mean
	Median
	// Majority is the best value that more than half of the marks reach.
	Majority
	// Lowest is the least favourable mark.
	Lowest
	// Single expects one examiner; several that differ get a second look.
	Single
)

var methodWords = []string{"lead", "mean", "median", "majority", "lowest", "single"}

// String returns the word by which the file names the method.
func (m Method) String() string {
	if int(m) < len(methodWords) {
		return methodWords[m]
	}
	return "unknown"
}

// Combine is the combining rule of one kind of requirement.
type Combine struct {
	Method Method
	OfTwo  Method            // the rule where exactly two examiners marked
	Apart  rankwright.Amount // marks this far apart get a second look; 0 is never
}

// Belt is how a rank is shown: a band of colour with a name beside it.
type Belt struct {
	Colour string // in words, such as "pale green"
	Hex    string // #rrggbb
	Tip    string
	TipHex string
}

// Rank is a step on the ladder.
type Rank struct {
	ID           rankwright.RankID
	Name         string
	Belt         Belt
	Requirements []Requirement
	// BonusCap is the most that bonus requirements add to the total.
	BonusCap    rankwright.Amount
	Pass        Pass
	Eligibility Eligibility
	Clearances  []rankwright.ClearanceID
	Panel       []Panel
}

// Panel is one allowed shape of a panel: so many examiners of at least this
// rank, of whom so many must consent.
type Panel struct {
	Size     int
	Consents int
	Rank     rankwright.RankID // the lowest rank of its examiners; "" is not said
	Outside  int               // how many must come from outside the school
}

// Rank returns the rank with the given id, and its place from the bottom.
func (s *Syllabus) Rank(id rankwright.RankID) (*Rank, int) {
	for i := range s.Ranks {
		if s.Ranks[i].ID == id {
			return &s.Ranks[i], i
		}
	}
	return nil, -1
}

// Next returns the rank after id, the lowest for "", and nil at the top or
// where id is not on the ladder.
func (s *Syllabus) Next(id rankwright.RankID) *Rank {
	if id == "" {
		if len(s.Ranks) == 0 {
			return nil
		}
		return &s.Ranks[0]
	}
	if _, i := s.Rank(id); i >= 0 && i+1 < len(s.Ranks) {
		return &s.Ranks[i+1]
	}
	return nil
}

// Section returns the section with the given id, or nil.
func (s *Syllabus) Section(id rankwright.SectionID) *Section {
	for i := range s.Sections {
		if s.Sections[i].ID == id {
			return &s.Sections[i]
		}
	}
	return nil
}

// Clearance returns the clearance with the given id, or nil.
func (s *Syllabus) Clearance(id rankwright.ClearanceID) *Clearance {
	for i := range s.Clearances {
		if s.Clearances[i].ID == id {
			return &s.Clearances[i]
		}
	}
	return nil
}

// Band returns the index of the age band that holds age, or -1.
func (s *Syllabus) Band(age int) int {
	for i, b := range s.Bands {
		if age >= b.From && age <= b.To {
			return i
		}
	}
	return -1
}

// Requirement returns the requirement of the rank with the given id, or nil.
func (k *Rank) Requirement(id rankwright.RequirementID) *Requirement {
	for i := range k.Requirements {
		if k.Requirements[i].ID == id {
			return &k.Requirements[i]
		}
	}
	return nil
}

// AtStation says that a requirement takes time at a station on the day: it is
// no extra, was not seen before the day, and is not a note that may follow.
func (q *Requirement) AtStation() bool { return !q.Bonus && !q.Before && !q.ForRelease }

// Expected returns what the requirement expects of a candidate in the given
// age band (-1 for none).
func (q *Requirement) Expected(band int) rankwright.Amount {
	if band >= 0 && band < len(q.ExpectByBand) {
		return q.ExpectByBand[band]
	}
	return q.Expect
}
