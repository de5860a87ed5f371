package timetable

import "slices"

// Progress is how much of what is asked at a station a squad has shown: the
// marks that are given of those that are asked of the children who are here.
type Progress struct {
	Given, Asked int
}

// Lag is how many minutes marks may come after what they are for: a squad that
// is late by less is not behind (common practice, no published source).
const Lag = 3

func (p Progress) open() bool { return p.Given < p.Asked }

// SquadNow is how a squad stands on its way round the stations. Places are
// those in Rotation.Visits.
type SquadNow struct {
	Squad int
	// At is the station at which the squad is, or to which it goes next; -1 where
	// it has been to all of them, or nothing is asked of it.
	At int
	// Due is the first of the stations that it still has to do by the plan, and
	// Late the minutes since its time there was over, 0 where it is not. Due is
	// -1 where At is.
	Due, Late int
	// Left are stations at which it has been and marks are missing.
	Left []int
}

// Follow says where each squad of a rotation is by the marks that are given,
// and how late.
//
// A squad is where its latest mark was given, until all marks are given there;
// then it goes to the first station, in the order of time, at which it has no
// mark yet. It still has to do where it is, and the stations at which it has no
// mark. A station with marks at which it is not any more is behind it: what is
// missing there was forgotten, and makes nobody late, and so does what was done
// out of turn.
//
// done tells the progress of a squad at a stop, and last the stop of its latest
// mark, -1 where it has none; both by their places in the circuit.
func Follow(r *Rotation, squads int, done func(squad, stop int) Progress, last func(squad int) int, now Minute) []SquadNow {
	out := make([]SquadNow, squads)
	for s := range out {
		var way []int // its visits at which something is asked, in the order of time
		for i, v := range r.Visits {
			if v.Squad == s && v.Stop >= 0 && done(s, v.Stop).Asked > 0 {
				way = append(way, i)
			}
		}
		slices.SortStableFunc(way, func(a, b int) int { return int(r.Visits[a].From) - int(r.Visits[b].From) })
		q, here := SquadNow{Squad: s, At: -1, Due: -1}, last(s)
		for _, i := range way {
			switch p, stop := done(s, r.Visits[i].Stop), r.Visits[i].Stop; {
			case p.open() && stop == here:
				q.At = i
			case p.Given > 0:
				if p.open() {
					q.Left = append(q.Left, i)
				}
				continue
			}
			if q.Due < 0 {
				q.Due, q.Late = i, max(0, int(now-r.Visits[i].Until))
			}
		}
		if q.At < 0 {
			q.At = q.Due
		}
		out[s] = q
	}
	return out
}
