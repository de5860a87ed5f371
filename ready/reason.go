package ready

import (
	"strings"

	"rankwright"
	"rankwright/syllabus"
)

// Kind names what a reason is about, for programs.
type Kind string

const (
	ByAll        Kind = "all"
	ByAny        Kind = "any"
	ByAge        Kind = "age"
	ByTime       Kind = "time"
	ByClasses    Kind = "classes"
	ByRate       Kind = "classes_per_week"
	ByAttendance Kind = "attendance"
	ByGradings   Kind = "gradings"
	ByPoints     Kind = "points"
	ByResult     Kind = "result"
	ByRank       Kind = "rank"
	ByStretch    Kind = "time_held"
	ByRetakes    Kind = "retakes"
	ByClearance  Kind = "clearance"
	// ByStep is that the rank asked about is not held already.
	ByStep Kind = "step"
	// ByRule is that a rule is in force on the day.
	ByRule Kind = "rule"
)

// Unit is what a Quantity counts, in the singular.
type Unit string

const (
	Day     Unit = "day"
	Week    Unit = "week"
	Month   Unit = "month"
	Year    Unit = "year"
	Class   Unit = "class"
	Grading Unit = "grading"
	Retake  Unit = "retake"
	Point   Unit = "point"
)

// Quantity is an exact number of something. Without a unit it is nothing.
type Quantity struct {
	N    rankwright.Amount
	Unit Unit
}

func count(n int, u Unit) Quantity { return Quantity{rankwright.Whole(n), u} }

// String writes the quantity in words, such as "13 days".
func (q Quantity) String() string {
	if q.Unit == "" {
		return ""
	}
	u := string(q.Unit)
	switch {
	case q.N == rankwright.One:
	case q.Unit == Class:
		u = "classes"
	default:
		u += "s"
	}
	return q.N.String() + " " + u
}

// Reason is one condition and what was found. Term says what is asked; it is
// nil for ByStep and ByRule.
type Reason struct {
	Kind Kind
	Name string // the syllabus's own name of a group
	Term syllabus.Term
	Met  bool
	// Unknown says that a fact is not on record, so that the condition cannot
	// be taken as met.
	Unknown bool

	Need  Quantity // what is asked, after credits; unset for a rank or a clearance
	Shown Quantity // what is on record
	Rest  int      // days on top of a time shown in weeks, months or years
	Share rankwright.Share
	// Short is by how much it falls short, or is too much where Over is set.
	Short Quantity
	Over  bool
	// Credit is the share that credits took off.
	Credit rankwright.Share

	Since  rankwright.Day // the day that age or time was counted from
	CutOff rankwright.Day // the date published with the grading
	// Counted is the day up to which classes were counted.
	Counted  rankwright.Day
	Of       []string // names of the ranks, the clearance or the points asked for
	On       rankwright.Day
	MonthEnd rankwright.MonthEnd

	// Open is the set of days on which the condition holds if nothing else
	// changes.
	Open  Days
	Parts []Reason // of ByAll and ByAny
}

// From is the first day, from the grading on, on which the condition holds if
// nothing else changes; no day where waiting alone does not help.
func (r *Reason) From() rankwright.Day { return r.Open.First(r.On) }

// Asked says in a few words what is asked, such as "at least 12 classes".
func (r *Reason) Asked() string {
	switch t := r.Term.(type) {
	case syllabus.AgeTerm:
		return ends(t.AtLeast, t.AtMost)
	case syllabus.WaitTerm:
		switch {
		case t.Counted == syllabus.CutOff && r.CutOff != 0:
			return "dated on or before " + date(r.CutOff)
		case t.Counted == syllabus.CutOff:
			return "dated on or before the date published with the grading"
		case t.Within.N == 0:
			return "at least " + r.Need.String()
		case t.AtLeast.N == 0:
			return "within " + length(t.Within).String()
		}
		return "at least " + r.Need.String() + " and within " + length(t.Within).String()
	case syllabus.ClassesTerm:
		return "at least " + r.Need.String()
	case syllabus.RateTerm:
		return t.PerWeek.String() + " a week, " + r.Need.String() + " in all"
	case syllabus.AttendanceTerm:
		return "at least " + t.AtLeast.String() + " of the classes offered"
	case syllabus.GradingsTerm:
		if t.Rolling {
			return "at most " + r.Need.String() + " in any " + count(t.Months, Month).String()
		}
		return "at most " + r.Need.String() + " " + part(t.Months)
	case syllabus.PointsTerm:
		return "at least " + r.Need.String() + " of " + t.Of
	case syllabus.ResultTerm:
		var want []string
		if t.AtLeast > 0 {
			want = append(want, "at least "+t.AtLeast.String())
		}
		if t.Label != "" {
			want = append(want, t.Label)
		}
		if len(want) == 0 {
			want = append(want, "a result")
		}
		return strings.Join(want, ", ") + " at " + choice(r.Of)
	case syllabus.HoldsTerm:
		return choice(r.Of)
	case syllabus.HeldTerm:
		return choice(r.Of) + " for at least " + r.Need.String()
	case syllabus.RetakesTerm:
		return "at most " + r.Need.String()
	case syllabus.ClearanceTerm:
		return choice(r.Of)
	}
	switch r.Kind {
	case ByStep:
		return "not held yet"
	case ByRule:
		return "a rule in force on the day"
	}
	parts := make([]string, len(r.Parts))
	for i := range r.Parts {
		parts[i] = r.Parts[i].Asked()
	}
	if r.Kind == ByAny {
		return strings.Join(parts, ", or ")
	}
	return strings.Join(parts, ", and ")
}

// Found says in a few words what is on record, such as "11 classes".
func (r *Reason) Found() string {
	switch {
	case r.Unknown:
		return "not on record"
	case r.Kind == ByResult, r.Kind == ByAttendance:
		return r.Share.String()
	case r.Kind == ByTime && r.CutOff != 0:
		return "dated " + date(r.Since)
	case r.Kind == ByTime && r.Shown.Unit == "" && r.Met:
		return "none before"
	case r.Kind == ByTime && r.Shown.Unit == "":
		return "not held"
	case r.Rest > 0:
		if r.Shown.N == 0 {
			return count(r.Rest, Day).String()
		}
		return r.Shown.String() + " and " + count(r.Rest, Day).String()
	case r.Shown.Unit != "":
		return r.Shown.String()
	case r.Met:
		return "yes"
	}
	return "not yet"
}

func length(l syllabus.Length) Quantity {
	return count(l.N, []Unit{Day, Week, Month, Year}[min(l.Unit, syllabus.InYears)])
}

func ends(least, most int) string {
	switch {
	case most == 0:
		return count(least, Year).String() + " or older"
	case least == 0:
		return "up to " + count(most, Year).String()
	}
	return rankwright.Whole(least).String() + " to " + count(most, Year).String()
}

// part names the part of a calendar year that has so many months.
func part(months int) string {
	switch months {
	case 12:
		return "a calendar year"
	case 1:
		return "a calendar month"
	}
	return "in each " + rankwright.Whole(months).String() + " months counted from January"
}

func choice(names []string) string {
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " or " + names[n-1]
	}
	return strings.Join(names, "")
}
