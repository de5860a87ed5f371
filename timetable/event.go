package timetable

import (
	"slices"

	"rankwright"
)

// EventKind is something that happens after a plan was published.
type EventKind string

// What can happen.
const (
	// Withdrawn: an entry is not there after all. Why is nobody's business here.
	Withdrawn EventKind = "withdrawn"
	// Away: an examiner cannot come, to one session or to any.
	Away EventKind = "away"
	// Lost: a sitting cannot take place.
	Lost EventKind = "lost"
	// Late: an entry is added, with its household where that is new.
	Late EventKind = "late"
	// Changed: a household's answers, times or yes to a move are others now.
	Changed EventKind = "changed"
)

// Event is one thing that happened. Only the fields of its kind count.
type Event struct {
	Kind      EventKind
	Entry     rankwright.EntryID    // Withdrawn
	Examiner  rankwright.ExaminerID // Away
	Session   SessionID             // Away; "" is every session
	Sitting   SittingID             // Lost
	Add       Entry                 // Late
	Household Household             // Changed; Late where the household is new
}

// Published is a problem that holds the plan as published: each entry's sitting
// and each panel become what was. Told says that the households know of it.
func Published(p *Problem, plan *Plan, told bool) *Problem {
	c := p.clone()
	for e := range c.Entries {
		c.Entries[e].Was, c.Entries[e].Told = "", false
		if w := plan.At[e]; w != Waiting {
			c.Entries[e].Was, c.Entries[e].Told = c.Sittings[w].ID, told
		}
	}
	for w := range c.Sittings {
		c.Sittings[w].Was = nil
		for _, x := range plan.Panels[w] {
			c.Sittings[w].Was = append(c.Sittings[w].Was, c.Examiners[x].ID)
		}
	}
	return c
}

// clone copies a problem as deep as After and remedies change it.
func (p *Problem) clone() *Problem {
	c := *p
	c.Ranks = slices.Clone(p.Ranks)
	c.Sessions = slices.Clone(p.Sessions)
	c.Sittings = slices.Clone(p.Sittings)
	c.Households = slices.Clone(p.Households)
	c.Entries = slices.Clone(p.Entries)
	c.Examiners = slices.Clone(p.Examiners)
	return &c
}

// keepPromised lowers the least of a sitting to the number of those who were
// told it and are left, so that it is not lost to them because another child
// is ill.
func (p *Problem) keepPromised(id SittingID) {
	left := 0
	for i := range p.Entries {
		if p.Entries[i].Told && p.Entries[i].Was == id {
			left++
		}
	}
	for w := range p.Sittings {
		if s := &p.Sittings[w]; s.ID == id && left > 0 {
			s.Least = min(s.Least, left)
		}
	}
}

// After is the problem after some events. What an event names must be in the
// problem; the error is a rankwright.Fault. Where an entry that was told its
// time is withdrawn, the sitting takes place with those who are left, even
// below its least.
func (p *Problem) After(events ...Event) (*Problem, error) {
	c := p.clone()
	unknown := func(what, id string) error {
		return rankwright.Faultf(rankwright.NotFound, "unknown_"+what, "look at the plan again; somebody may have changed it", "the %s %q is not in the timetable", what, id)
	}
	for _, ev := range events {
		switch ev.Kind {
		case Withdrawn:
			i := slices.IndexFunc(c.Entries, func(e Entry) bool { return e.ID == ev.Entry })
			if i < 0 {
				return nil, unknown("entry", string(ev.Entry))
			}
			w := c.Entries[i].Was
			told := c.Entries[i].Told
			c.Entries = slices.Delete(c.Entries, i, i+1)
			if told {
				c.keepPromised(w)
			}
		case Away:
			i := slices.IndexFunc(c.Examiners, func(x Examiner) bool { return x.ID == ev.Examiner })
			if i < 0 {
				return nil, unknown("examiner", string(ev.Examiner))
			}
			there := slices.Clone(c.Examiners[i].There)
			c.Examiners[i].There = slices.DeleteFunc(there, func(t Presence) bool { return ev.Session == "" || t.Session == ev.Session })
		case Lost:
			i := slices.IndexFunc(c.Sittings, func(s Sitting) bool { return s.ID == ev.Sitting })
			if i < 0 {
				return nil, unknown("sitting", string(ev.Sitting))
			}
			c.Sittings[i].Hold = Shut
		case Late:
			if !slices.ContainsFunc(c.Households, func(h Household) bool { return h.ID == ev.Add.Household }) {
				if ev.Household.ID != ev.Add.Household {
					return nil, unknown("household", string(ev.Add.Household))
				}
				c.Households = append(c.Households, ev.Household)
			}
			c.Entries = append(c.Entries, ev.Add)
		case Changed:
			i := slices.IndexFunc(c.Households, func(h Household) bool { return h.ID == ev.Household.ID })
			if i < 0 {
				return nil, unknown("household", string(ev.Household.ID))
			}
			c.Households[i] = ev.Household
		default:
			return nil, rankwright.Faultf(rankwright.Invalid, "unknown_event", "", "an event of kind %q is not known", string(ev.Kind))
		}
	}
	return c, Check(c)
}
