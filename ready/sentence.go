package ready

import (
	"strings"
	"time"

	"rankwright"
	"rankwright/syllabus"
)

func month(n int) time.Month { return time.Month(n) }

// date writes a day as people say it, without the weekday.
func date(d rankwright.Day) string {
	_, rest, _ := strings.Cut(d.Long(), " ")
	return rest
}

// Sentence says the reason in plain words for the head instructor and the
// family: what was found, what is asked, how much is still to come and from
// which day. It names nobody.
func Sentence(r *Reason) string {
	switch r.Kind {
	case ByAll:
		return r.joined(" ")
	case ByAny:
		return r.either()
	case ByStep:
		if r.Met {
			return "This rank is not held yet."
		}
		if len(r.Of) > 1 && r.Of[0] != r.Of[1] {
			return r.Of[1] + " is held, which is above " + r.Of[0] + "."
		}
		return r.Of[0] + " is held already."
	case ByRule:
		return "No rule of the syllabus is in force on this day." + r.opens()
	case ByRank:
		if r.Met {
			return "Holds " + choice(r.Of) + " or a rank that serves for it."
		}
		return upper(choice(r.Of)) + " comes first." + r.opens()
	case ByClearance:
		if r.Met {
			return choice(r.Of) + ": done."
		}
		return choice(r.Of) + ": still to come."
	}
	if r.Unknown {
		return r.subject() + ": " + unknown(r) + " Asked: " + r.Asked() + "."
	}
	s := r.subject() + ": " + r.Found() + ". Asked: " + r.Asked() + "."
	if r.Met {
		return s
	}
	return s + r.missing() + r.opens()
}

func (r *Reason) joined(sep string) string {
	parts := make([]string, len(r.Parts))
	for i := range r.Parts {
		parts[i] = Sentence(&r.Parts[i])
	}
	if r.Name == "" {
		return strings.Join(parts, sep)
	}
	return upper(r.Name) + ": " + strings.Join(parts, sep)
}

// either lists ways; where one is met, only that.
func (r *Reason) either() string {
	var ways []string
	for i := range r.Parts {
		if r.Parts[i].Met {
			return Sentence(&r.Parts[i])
		}
		part, opens := r.Parts[i], ""
		if part.Kind == ByAll {
			if part.Parts = unmet(nil, &part); len(part.Parts) > 1 && part.From() != 0 {
				opens = " All of it from " + date(part.From()) + "."
			}
		}
		ways = append(ways, Sentence(&part)+opens)
	}
	return "One of these ways is enough. " + strings.Join(ways, " Or: ")
}

func (r *Reason) subject() string {
	switch t := r.Term.(type) {
	case syllabus.AgeTerm:
		switch t.Counted {
		case syllabus.AgeOnDate:
			return "Age on " + monthDay(t)
		case syllabus.AgeAtLastGrading:
			return "Age at the last grading"
		case syllabus.AgeCalendarYear:
			return "Age by calendar year"
		case syllabus.AgeYearOfLife:
			return "Year of life by year group"
		}
		return "Age on the grading day"
	case syllabus.WaitTerm:
		return "Time since " + r.sinceWhat(t) + r.sinceWhen()
	case syllabus.ClassesTerm, syllabus.RateTerm:
		return "Classes since the last rank" + r.countedTo()
	case syllabus.AttendanceTerm:
		return "Attendance since the last rank" + r.countedTo()
	case syllabus.GradingsTerm:
		return "Gradings, this one among them"
	case syllabus.PointsTerm:
		return "Points"
	case syllabus.ResultTerm:
		return "Earlier result"
	case syllabus.HeldTerm:
		return "Time as " + choice(r.Of)
	case syllabus.RetakesTerm:
		return "Retakes, this one among them"
	}
	return "Entry"
}

func monthDay(t syllabus.AgeTerm) string {
	_, m, d := rankwright.NewDay(2001, month(t.Month), t.Date).Date()
	return rankwright.Whole(d).String() + " " + m.String()
}

func (r *Reason) sinceWhat(t syllabus.WaitTerm) string {
	switch t.Since.Kind {
	case syllabus.SinceGrading:
		return "the last grading"
	case syllabus.SinceStart:
		return "the start of training"
	case syllabus.SinceNotYet:
		return "the last try at this rank"
	}
	if len(r.Of) > 0 {
		return choice(r.Of)
	}
	return "the start"
}

func (r *Reason) sinceWhen() string {
	if r.Since == 0 || r.CutOff != 0 {
		return ""
	}
	return " on " + date(r.Since)
}

func (r *Reason) countedTo() string {
	if r.Counted == 0 {
		return ""
	}
	return ", counted to " + date(r.Counted)
}

// missing says by how much.
func (r *Reason) missing() string {
	switch {
	case r.Short.Unit == "" || r.Kind == ByGradings:
		return ""
	case r.CutOff != 0:
		return " That is " + r.Short.String() + " after the date."
	case r.Over && r.Short.Unit == Day && r.Open.First(r.On) == 0:
		return " The last day was " + r.Short.String() + " earlier."
	case r.Over:
		return " That is over by " + r.Short.String() + "."
	case r.Kind == ByAge || r.Kind == ByTime || r.Kind == ByStretch:
		return " " + upper(r.Short.String()) + " to go."
	}
	return " " + upper(r.Short.String()) + " more."
}

// opens says from which day, where waiting alone helps.
func (r *Reason) opens() string {
	if first := r.From(); !r.Met && first != 0 {
		return " From " + first.Long() + "."
	}
	return ""
}

func unknown(r *Reason) string {
	switch r.Kind {
	case ByAge:
		if r.Since == 0 {
			return "the birth date is not on record."
		}
		return "the last grading is not on record."
	case ByTime:
		if r.Since != 0 {
			return "no date was published with this grading."
		}
		return "the day it counts from is not on record."
	case ByRate, ByAttendance:
		return "the classes held are not on record."
	}
	return "not on record."
}

func upper(s string) string {
	for i, c := range s {
		return strings.ToUpper(string(c)) + s[i+len(string(c)):]
	}
	return s
}

// Convention names the way of counting behind the reason, to stand beside it
// on the screen; "" where nothing was counted.
func Convention(r *Reason) string {
	switch t := r.Term.(type) {
	case syllabus.AgeTerm:
		switch t.Counted {
		case syllabus.AgeCalendarYear:
			return "age is the year of the grading less the year of birth"
		case syllabus.AgeYearOfLife:
			return "the year of life is the one completed in the calendar year of the grading, from 1 January"
		case syllabus.AgeOnDate:
			return "age is counted in birthdays up to " + monthDay(t) + " of the year of the grading" + r.leap()
		case syllabus.AgeAtLastGrading:
			return "age is counted in birthdays up to the last grading" + r.leap()
		}
		return "age is counted in birthdays up to and on the grading day" + r.leap()
	case syllabus.WaitTerm:
		switch t.Counted {
		case syllabus.SameMonth:
			return "any day of the calendar month in which the time is complete serves"
		case syllabus.MonthSlots:
			return "the calendar month counts, not the day: the next try is free from the first day of a later month"
		case syllabus.CutOff:
			return "the date published with the grading decides, that day included"
		}
		return "time runs to the same day " + sameDay(t) + r.credited() + r.monthEnd(t.AtLeast)
	case syllabus.HeldTerm:
		return "one unbroken time counts, from the day the rank was given to the day the next one was" + r.monthEnd(t.AtLeast)
	case syllabus.ClassesTerm:
		return "classes count from the day after the last rank and are not carried over" + r.credited()
	case syllabus.RateTerm:
		return "classes are counted against the weeks in which the school held classes"
	case syllabus.AttendanceTerm:
		return "classes are counted against those offered since the last rank"
	case syllabus.GradingsTerm:
		if t.Rolling {
			return "gradings count in any " + count(t.Months, Month).String() + ", this one among them"
		}
		return "gradings count " + strings.TrimPrefix(part(t.Months), "a ") + " by calendar, this one among them"
	case syllabus.RetakesTerm:
		return "the first try is no retake; a day missed, or stopped for safety, is no try"
	}
	return ""
}

func sameDay(t syllabus.WaitTerm) string {
	switch unit := t.AtLeast.Unit; {
	case t.AtLeast.N == 0:
		return "so much later"
	case unit == syllabus.InWeeks:
		return "of the week, in whole weeks of seven days"
	case unit == syllabus.InDays:
		return "so many days later"
	case unit == syllabus.InMonths:
		return "of the month"
	}
	return "of the year"
}

func (r *Reason) credited() string {
	if r.Credit == 0 {
		return ""
	}
	return "; credits took " + r.Credit.String() + " off, the rest rounded up"
}

// leap says where a birthday on 29 February falls, for those who have one.
func (r *Reason) leap() string {
	if _, m, d := r.Since.Date(); r.Since == 0 || m != time.February || d != 29 {
		return ""
	}
	return "; a birthday on 29 February falls on " + r.landing("1 March", "28 February") + " in other years"
}

// monthEnd says where a time that starts late in a month lands.
func (r *Reason) monthEnd(l syllabus.Length) string {
	_, _, d := r.Since.Date()
	if r.Since == 0 || d <= 28 || l.Unit < syllabus.InMonths {
		return ""
	}
	return "; in a shorter month that is " + r.landing("the first of the next", "its last day")
}

func (r *Reason) landing(next, last string) string {
	if r.MonthEnd == rankwright.FirstOfNext {
		return next
	}
	return last
}

// Summary says the whole answer in one or two sentences.
func Summary(a *Answer) string {
	if a.Overrule != nil {
		return "Yes, by the decision of " + a.Overrule.By + " on " + date(a.Overrule.On) + ": " + a.Overrule.Reason
	}
	if a.Yes {
		if a.Last != 0 {
			return "Yes. This is open until " + a.Last.Long() + "."
		}
		return "Yes."
	}
	s := "Not on this day."
	switch {
	case a.First != 0 && a.Last != 0:
		s += " From " + a.First.Long() + " to " + a.Last.Long() + "."
	case a.First != 0:
		s += " From " + a.First.Long() + "."
	case a.Last != 0:
		s += " It was open until " + a.Last.Long() + "."
	}
	if a.Forecast != 0 {
		s += " Forecast, if classes go on as they have: from " + a.Forecast.Long() + "."
	}
	if a.Waivable {
		s += " What is short may be waived with a reason."
	}
	return s
}
