package timetable

import (
	"fmt"
	"slices"

	"rankwright"
)

// Verify says, one sentence each, which hard limits a plan breaks; none means
// that it keeps them all. It was written from docs/timetable.md, limit by
// limit, looks everything up by name itself, and shares no code with what makes
// plans. Sentences are lower case and have no full stop.
func Verify(p *Problem, plan *Plan) []string {
	v := &verifier{p: p, plan: plan}
	if len(plan.At) != len(p.Entries) || len(plan.Panels) != len(p.Sittings) {
		v.say("the plan has %d entries and %d sittings, and the problem %d and %d",
			len(plan.At), len(plan.Panels), len(p.Entries), len(p.Sittings))
		return v.said
	}
	for i, at := range plan.At {
		if at < Waiting || at >= len(p.Sittings) {
			v.say("entry %s stands in sitting number %d, which is not in the problem", p.Entries[i].ID, at)
			return v.said
		}
	}
	for w, panel := range plan.Panels {
		for _, x := range panel {
			if x < 0 || x >= len(p.Examiners) {
				v.say("sitting %s has examiner number %d, who is not in the problem", p.Sittings[w].ID, x)
				return v.said
			}
		}
	}
	v.homes, v.come = map[rankwright.HouseholdID]*Household{}, make([][]*Entry, len(p.Sittings))
	for i := range p.Households {
		v.homes[p.Households[i].ID] = &p.Households[i]
	}
	for i, at := range plan.At {
		if at != Waiting {
			v.come[at] = append(v.come[at], &p.Entries[i])
		}
	}
	for i := range p.Entries {
		v.entry(i)
	}
	for w := range p.Sittings {
		v.sitting(w)
	}
	v.mats()
	for x := range p.Examiners {
		v.examiner(x)
	}
	return v.said
}

type verifier struct {
	p    *Problem
	plan *Plan
	said []string
	// homes are the households by name, and come who stands in which sitting.
	homes map[rankwright.HouseholdID]*Household
	come  [][]*Entry
}

func (v *verifier) say(format string, args ...any) {
	v.said = append(v.said, fmt.Sprintf(format, args...))
}

func (v *verifier) session(id SessionID) *Session {
	i := slices.IndexFunc(v.p.Sessions, func(s Session) bool { return s.ID == id })
	return &v.p.Sessions[i]
}

func (v *verifier) ladder(r rankwright.RankID) int { return slices.Index(v.p.Ranks, r) }

// within is the sitting in [from, until], where 0 is no limit.
func within(s *Sitting, from, until Minute) bool {
	if from != 0 && s.Start < from {
		return false
	}
	return until == 0 || s.Start+Minute(s.Minutes) <= until
}

// entry holds limits 1 to 6.
func (v *verifier) entry(i int) {
	e := &v.p.Entries[i]
	at := v.plan.At[i]
	if at == Waiting {
		if e.MustPlace {
			v.say("entry %s waits, and must be placed", e.ID)
		}
		if e.Locked != "" {
			v.say("entry %s waits, and is locked to sitting %s", e.ID, e.Locked)
		}
		return
	}
	s := &v.p.Sittings[at]
	if len(s.Ranks) > 0 && !slices.Contains(s.Ranks, e.Rank) {
		v.say("entry %s tries for %s, which may not come to sitting %s", e.ID, e.Rank, s.ID)
	}
	if e.Locked != "" {
		if e.Locked != s.ID {
			v.say("entry %s stands in sitting %s, and is locked to sitting %s", e.ID, s.ID, e.Locked)
		}
		return // the lock was set by a person, who had their reasons
	}
	h := v.homes[e.Household]
	if e.Told && e.Was != "" && e.Was != s.ID && !h.MayMove {
		v.say("entry %s was told sitting %s and stands in sitting %s, and its household has not said yes to a move", e.ID, e.Was, s.ID)
	}
	suits := v.p.Rules.Unanswered
	for _, a := range h.Answers {
		if a.Session != s.Session {
			continue
		}
		suits = a.Suits
		if !within(s, a.From, a.Until) {
			v.say("entry %s stands in sitting %s from %s, which is outside its household's times in this session", e.ID, s.ID, s.Start)
		}
	}
	if suits == No {
		v.say("entry %s stands in session %s, which does not suit its household", e.ID, s.Session)
	}
	if !within(s, h.From, h.Until) {
		v.say("entry %s stands in sitting %s from %s, which is outside its household's times", e.ID, s.ID, s.Start)
	}
}

func (v *verifier) isOpen(w int) bool {
	return v.p.Sittings[w].Hold == Held || len(v.come[w]) > 0
}

// sitting holds limits 7 to 13.
func (v *verifier) sitting(w int) {
	s, panel, comers := &v.p.Sittings[w], v.plan.Panels[w], v.come[w]
	if !v.isOpen(w) {
		if len(panel) > 0 {
			v.say("sitting %s is not open and has a panel", s.ID)
		}
		return
	}
	if s.Hold == Shut {
		v.say("sitting %s is shut and has %s", s.ID, plural(len(comers), "entry", "entries"))
	}
	if len(comers) > s.Most {
		v.say("sitting %s has %s and room for %d", s.ID, plural(len(comers), "entry", "entries"), s.Most)
	}
	if len(comers) < s.Least && s.Hold != Held {
		v.say("sitting %s has %s and takes place with at least %d", s.ID, plural(len(comers), "entry", "entries"), s.Least)
	}
	if len(panel) != s.Panel {
		v.say("sitting %s has %s and needs %d", s.ID, plural(len(panel), "examiner", "examiners"), s.Panel)
	}
	if !slices.IsSorted(panel) || len(slices.Compact(slices.Clone(panel))) != len(panel) {
		v.say("the panel of sitting %s is not in order, or names somebody twice", s.ID)
	}
	lowest, highest := len(v.p.Ranks), -1
	for _, e := range comers {
		lowest, highest = min(lowest, v.ladder(e.Rank)), max(highest, v.ladder(e.Rank))
	}
	if s.Width > 0 && highest-lowest+1 > s.Width {
		v.say("sitting %s mixes ranks from %s to %s, which is wider than %d", s.ID, v.p.Ranks[lowest], v.p.Ranks[highest], s.Width)
	}
	need := highest
	if s.PanelFor != "" {
		need = max(need, v.ladder(s.PanelFor))
	}
	for _, i := range panel {
		x := &v.p.Examiners[i]
		if need >= 0 && v.ladder(x.Highest) < need {
			v.say("examiner %s may examine up to %s, and sitting %s needs %s", x.ID, x.Highest, s.ID, v.p.Ranks[need])
		}
		for _, e := range comers {
			if slices.Contains(x.Own, e.Household) {
				v.say("examiner %s is on the panel of sitting %s, in which entry %s of their own household stands", x.ID, s.ID, e.ID)
			}
		}
	}
}

// sameTime says whether two sittings overlap.
func (v *verifier) sameTime(a, b *Sitting) bool {
	if v.session(a.Session).Day != v.session(b.Session).Day {
		return false
	}
	return a.Start < b.Start+Minute(b.Minutes) && b.Start < a.Start+Minute(a.Minutes)
}

// mats holds limit 14.
func (v *verifier) mats() {
	for a := range v.p.Sittings {
		for b := a + 1; b < len(v.p.Sittings); b++ {
			sa, sb := &v.p.Sittings[a], &v.p.Sittings[b]
			if sa.Mat == sb.Mat && v.sameTime(sa, sb) && v.isOpen(a) && v.isOpen(b) {
				v.say("sittings %s and %s are on the same mat at the same time", sa.ID, sb.ID)
			}
		}
	}
}

// examiner holds limits 15 to 19.
func (v *verifier) examiner(i int) {
	x := &v.p.Examiners[i]
	var mine []*Sitting
	for w, panel := range v.plan.Panels {
		if slices.Contains(panel, i) {
			mine = append(mine, &v.p.Sittings[w])
		}
	}
	inSession, onDay := map[SessionID]int{}, map[rankwright.Day]int{}
	for k, s := range mine {
		inSession[s.Session]++
		onDay[v.session(s.Session).Day]++
		there := false
		for _, t := range x.There {
			there = there || t.Session == s.Session && within(s, t.From, t.Until)
		}
		if !there {
			v.say("examiner %s is not there for sitting %s", x.ID, s.ID)
		}
		if len(x.Mats) > 0 && !slices.Contains(x.Mats, s.Mat) {
			v.say("examiner %s does not examine on mat %s, where sitting %s is", x.ID, s.Mat, s.ID)
		}
		for _, o := range mine[:k] {
			if v.sameTime(s, o) {
				v.say("examiner %s is in sittings %s and %s at the same time", x.ID, o.ID, s.ID)
			}
		}
	}
	for _, s := range v.p.Sessions {
		if n := inSession[s.ID]; x.MostSession > 0 && n > x.MostSession {
			v.say("examiner %s has %d sittings in session %s and takes at most %d", x.ID, n, s.ID, x.MostSession)
		}
	}
	v.dayOf(x, mine, onDay)
}

// dayOf holds the limits of an examiner's day.
func (v *verifier) dayOf(x *Examiner, mine []*Sitting, onDay map[rankwright.Day]int) {
	slices.SortStableFunc(mine, func(a, b *Sitting) int {
		if da, db := v.session(a.Session).Day, v.session(b.Session).Day; da != db {
			return int(da) - int(db)
		}
		return int(a.Start) - int(b.Start)
	})
	row := 0
	said := map[rankwright.Day]bool{}
	for k, s := range mine {
		day := v.session(s.Session).Day
		row++
		if k > 0 {
			o := mine[k-1]
			if v.session(o.Session).Day != day || int(s.Start)-int(o.Start)-o.Minutes >= v.p.Rules.Rest {
				row = 1
			}
		}
		if x.InARow > 0 && row == x.InARow+1 {
			v.say("examiner %s has more than %d sittings in a row on %s, up to sitting %s", x.ID, x.InARow, day, s.ID)
		}
		if n := onDay[day]; x.MostDay > 0 && n > x.MostDay && !said[day] {
			said[day] = true
			v.say("examiner %s has %d sittings on %s and takes at most %d", x.ID, n, day, x.MostDay)
		}
	}
}
