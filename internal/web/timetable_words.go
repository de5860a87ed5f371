package web

import (
	"fmt"
	"strings"

	"rankwright/internal/app"
	"rankwright/timetable"
)

// aimWords tell what each aim counts: a short name, the words for one unit and
// for many, and what raising its weight does.
var aimWords = [timetable.AimCount]struct{ name, one, many string }{
	timetable.AimPlaced:   {"Everybody has a sitting", "child without a sitting", "children without a sitting"},
	timetable.AimMoved:    {"Times that were told stay", "family told another time", "families told another time"},
	timetable.AimIfNeedBe: {"Sessions that suit", "child in a session that suits only if need be", "children in a session that suits only if need be"},
	timetable.AimWish:     {"The session wished for most", "child not in the session wished for most", "children not in the session wished for most"},
	timetable.AimSplit:    {"A family comes once", "further session for a family", "further sessions for families"},
	timetable.AimApart:    {"Brothers and sisters back to back", "family with a gap between its sittings", "families with a gap between their sittings"},
	timetable.AimSeparate: {"Brothers and sisters in one sitting", "further sitting for a family", "further sittings for families"},
	timetable.AimMakeup:   {"Not on the make-up date", "child on the make-up date", "children on the make-up date"},
	timetable.AimSession:  {"Few sessions", "session held", "sessions held"},
	timetable.AimSitting:  {"Few sittings", "sitting opened", "sittings opened"},
	timetable.AimMixed:    {"Few ranks in a sitting", "further rank in a sitting", "further ranks in sittings"},
	timetable.AimUneven:   {"Sittings of even size", "place of uneven size", "places of uneven size"},
	timetable.AimWait:     {"Short waits", "quarter of an hour of waiting", "quarters of an hour of waiting"},
	timetable.AimLate:     {"Little ones early", "little one late", "little ones late"},
	timetable.AimLoad:     {"Examiners bear even loads", "step of uneven load", "steps of uneven load"},
	timetable.AimRedrawn:  {"What was planned stays", "change that nobody was told of", "changes that nobody was told of"},
}

// aimUnits says how often an aim is missed.
func aimUnits(a timetable.Aim, n int64) string {
	return plural(int(n), aimWords[a].one, aimWords[a].many)
}

// effectShort says in two or three words what a move does.
func effectShort(f *app.Effect) string {
	switch {
	case f.Here:
		return "is here"
	case len(f.Blocks) > 0:
		return "not possible"
	case f.Cost < 0:
		return fmt.Sprintf("better by %d", -f.Cost)
	case f.Cost > 0:
		return fmt.Sprintf("dearer by %d", f.Cost)
	}
	return "costs the same"
}

// effectLines say what a move does, a line for each reason.
func effectLines(f *app.Effect) (out []string) {
	for _, b := range f.Blocks {
		out = append(out, sentence(b.Say))
	}
	if len(out) > 0 {
		return out
	}
	for _, x := range f.Terms {
		n, word := x.Units, "more"
		if n < 0 {
			n, word = -n, "fewer"
		}
		w := aimWords[x.Aim].many
		if n == 1 {
			w = aimWords[x.Aim].one
		}
		out = append(out, fmt.Sprintf("%d %s %s (%+d)", n, word, w, x.Cost))
	}
	for _, l := range f.Lacks {
		out = append(out, "Not enough for now: "+l+".")
	}
	if len(out) == 0 && !f.Here {
		out = append(out, "Nothing else changes.")
	}
	return out
}

// percentUp writes a share in tenths of a percent, never less than it is.
func percentUp(part, whole int64) string {
	if whole <= 0 {
		return "0"
	}
	tenths := (part*1000 + whole - 1) / whole
	return fmt.Sprintf("%d.%d", tenths/10, tenths%10)
}

// provenWords say how good a plan is proven to be.
func provenWords(cost, bound int64, bounded bool) string {
	switch {
	case !bounded:
		return "How much better it could be is not proven."
	case bound >= cost:
		return "It is proven that no plan is better."
	case cost <= 0:
		return ""
	}
	return "At most " + percentUp(cost-bound, cost) + " % better is possible at all: that is proven."
}

// timesWhen is a session's day and time.
func timesWhen(s *app.Session) string {
	_, m, d := s.Day.Date()
	return fmt.Sprintf("%s %d %s, %s–%s", s.Day.Weekday().String()[:3], d, m.String()[:3], timetable.Minute(s.Begins), timetable.Minute(s.Begins+s.Minutes))
}

// timesAt is a sitting's time and mat, within its session.
func timesAt(w *app.Sitting) string { return timetable.Minute(w.Begins).String() + ", mat " + w.Mat }

func listed(names []string) string {
	switch n := len(names); n {
	case 0:
		return ""
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}
