package syllabus

import "rankwright"

// Eligibility is who may enter for a rank: the rules that were, are and will
// be in force, and the ranks of other ladders that turn into this one. The
// zero value lets everybody enter who holds the rank below.
type Eligibility struct {
	Rules       []EntryRule // by their days, never two on one day
	Conversions []Conversion
}

// EntryRule is what is asked of somebody whose grading falls between two
// days, both included; a zero day is open.
type EntryRule struct {
	Name        string
	From, Until rankwright.Day
	Terms       AllOf
	// Skip says that the ranks below need not be held. Without it, and
	// without a HoldsTerm on this ladder, the rank just below is asked.
	Skip  bool
	Waive *Waive // nil where nothing may be waived
}

// InForce says whether the rule judges a grading on the day.
func (e *EntryRule) InForce(on rankwright.Day) bool {
	return on >= e.From && (e.Until == 0 || on <= e.Until)
}

// Rule returns the rule in force on the day. With no rules at all it is one
// that asks for nothing; with none in force it is nil.
func (e *Eligibility) Rule(on rankwright.Day) *EntryRule {
	if len(e.Rules) == 0 {
		return &EntryRule{}
	}
	for i := range e.Rules {
		if e.Rules[i].InForce(on) {
			return &e.Rules[i]
		}
	}
	return nil
}

// Term is one condition of entry. A tree of AllOf, AnyOf and the leaves below
// says every published rule that we found; how age or time is counted belongs
// to the leaf. Which days each is true on is worked out by package ready.
type Term interface{ term() }

type (
	// AllOf holds where all of its terms hold, and so where it has none.
	AllOf struct {
		Name  string
		Terms []Term
	}
	// AnyOf holds where one of its terms holds.
	AnyOf struct {
		Name  string
		Terms []Term
	}
	// AgeTerm asks for an age, both ends included. AtMost 0 is no upper end.
	AgeTerm struct {
		AtLeast, AtMost int
		Counted         AgeCount
		Month, Date     int // of AgeOnDate
	}
	// WaitTerm asks for a time since something: at least so long and, where
	// Within is set, no longer than that.
	WaitTerm struct {
		AtLeast, Within Length
		Since           Since
		Counted         TimeCount
		Credits         Credits // shorten AtLeast
	}
	// ClassesTerm asks for a number of classes since the rank held.
	ClassesTerm struct {
		AtLeast int
		Credits Credits
	}
	// RateTerm asks for so many classes for each week in which the school
	// held classes since the rank held.
	RateTerm struct{ PerWeek rankwright.Amount }
	// AttendanceTerm asks for a share of the classes offered since the rank
	// held.
	AttendanceTerm struct{ AtLeast rankwright.Share }
	// GradingsTerm allows so many gradings, the one asked about among them,
	// in a period of months.
	GradingsTerm struct {
		AtMost  int
		Months  int
		Rolling bool // any so many months; otherwise the parts of a calendar year
	}
	// PointsTerm asks for points of a name that the school counts itself.
	PointsTerm struct {
		Of      string
		AtLeast rankwright.Amount
	}
	// ResultTerm asks for an earlier result: at a rank, with at least this
	// share of the points, and with this label where one is given.
	ResultTerm struct {
		Ladder  rankwright.LadderID // "" is this ladder
		Rank    rankwright.RankID
		AtLeast rankwright.Share
		Label   string
	}
	// HoldsTerm asks that one of the ranks is held. On this ladder a higher
	// rank serves; on another, only those named.
	HoldsTerm struct {
		Ladder rankwright.LadderID // "" is this ladder
		Ranks  []rankwright.RankID
	}
	// HeldTerm asks for one unbroken stretch, past or present, in which the
	// rank held was one of these.
	HeldTerm struct {
		Ladder  rankwright.LadderID // "" is this ladder
		Ranks   []rankwright.RankID
		AtLeast Length
	}
	// RetakesTerm allows so many further tries at this rank after a first
	// "not yet".
	RetakesTerm struct{ AtMost int }
	// ClearanceTerm asks for a clearance before entry.
	ClearanceTerm struct{ ID rankwright.ClearanceID }
)

func (AllOf) term()          {}
func (AnyOf) term()          {}
func (AgeTerm) term()        {}
func (WaitTerm) term()       {}
func (ClassesTerm) term()    {}
func (RateTerm) term()       {}
func (AttendanceTerm) term() {}
func (GradingsTerm) term()   {}
func (PointsTerm) term()     {}
func (ResultTerm) term()     {}
func (HoldsTerm) term()      {}
func (HeldTerm) term()       {}
func (RetakesTerm) term()    {}
func (ClearanceTerm) term()  {}

// AgeCount is how an age is counted.
type AgeCount uint8

const (
	// AgeOnTheDay counts birthdays had by the grading day.
	AgeOnTheDay AgeCount = iota
	// AgeCalendarYear is the year of the grading less the year of birth.
	AgeCalendarYear
	// AgeYearOfLife is the year of life completed in the calendar year of the
	// grading (a year group). The number is that of AgeCalendarYear: "in the
	// 8th year of life, by year group" begins on 1 January of the year of the
	// 8th birthday.
	AgeYearOfLife
	// AgeOnDate counts birthdays had by one date in the year of the grading.
	AgeOnDate
	// AgeAtLastGrading counts birthdays had by the last grading.
	AgeAtLastGrading
)

// TimeCount is how a time is counted.
type TimeCount uint8

const (
	// Anniversary runs to the same day so much later.
	Anniversary TimeCount = iota
	// SameMonth is met from the first day of the calendar month in which the
	// anniversary falls.
	SameMonth
	// MonthSlots uses up the calendar month it starts in and those after it,
	// so many in all, and is met from the first day of the next month.
	MonthSlots
	// CutOff is met where it starts on or before a date that was published
	// with the grading.
	CutOff
)

// TimeUnit is a unit of the calendar.
type TimeUnit uint8

const (
	InDays TimeUnit = iota
	InWeeks
	InMonths
	InYears
)

var timeUnits = []string{"days", "weeks", "months", "years"}

// String returns the word by which the file names the unit.
func (u TimeUnit) String() string {
	if int(u) < len(timeUnits) {
		return timeUnits[u]
	}
	return "unknown"
}

// Length is a time in one unit. A zero Length asks for nothing.
type Length struct {
	N    int
	Unit TimeUnit
}

// After returns the day that lies the length after d. Months and years land
// on the same day of the month, or where end says.
func (l Length) After(d rankwright.Day, end rankwright.MonthEnd) rankwright.Day {
	switch l.Unit {
	case InWeeks:
		return d + rankwright.Day(7*l.N)
	case InMonths:
		return d.AddMonths(l.N, end)
	case InYears:
		return d.AddYears(l.N, end)
	}
	return d + rankwright.Day(l.N)
}

// SinceKind is where a time starts.
type SinceKind uint8

const (
	// SinceRank starts on the day the rank held was given, or on the first
	// day for somebody without a rank.
	SinceRank SinceKind = iota
	// SinceGrading starts on the day of the last grading taken, whatever its
	// outcome, or on the first day for somebody who took none.
	SinceGrading
	// SinceStart starts on the first day of training.
	SinceStart
	// SinceNotYet starts on the day of the last "not yet" at this rank; with
	// none, the term holds.
	SinceNotYet
	// SinceNamed starts on the day a named rank was first given.
	SinceNamed
)

// Since is where a time starts. Ladder and Rank are those of SinceNamed.
type Since struct {
	Kind   SinceKind
	Ladder rankwright.LadderID // "" is this ladder
	Rank   rankwright.RankID
}

// Credits shorten a time or a number of classes by a share for each thing
// done, up to a cap. What is left is rounded up to a whole day or class.
type Credits struct {
	Cap  rankwright.Share
	Each []CreditFor // by name
}

// CreditFor is the share that one thing done takes off.
type CreditFor struct {
	Name string
	Off  rankwright.Share
}

// Waive is how far somebody may let a shortfall pass.
type Waive struct {
	By      string // the role, such as head_instructor
	Days    int    // of a waiting time
	AgeDays int    // of an age
	Classes int
	OnlyOne bool // one of the three, not several together
	Reason  bool // a written reason is required
}

// Conversion is a way from another ladder into this rank without a new
// examination.
type Conversion struct {
	Ladder rankwright.LadderID
	Ranks  []rankwright.RankID
	// May is the age from which the holder may convert, Must the age by which
	// it has to be done; 0 is not said.
	May, Must int
	Counted   AgeCount
	// Automatic says that the rank turns into this one by itself at age May
	// and keeps its date.
	Automatic bool
}

// Walk calls f for t and every term below it.
func Walk(t Term, f func(Term)) {
	f(t)
	switch v := t.(type) {
	case AllOf:
		for _, p := range v.Terms {
			Walk(p, f)
		}
	case AnyOf:
		for _, p := range v.Terms {
			Walk(p, f)
		}
	}
}
