package timetable

import "rankwright"

// Little ones work so many minutes at most, and then have a break (common
// practice, no published source).
const (
	DefaultLittleWork  = 20
	DefaultLittleBreak = 5
)

// Fit gives the stations of a circuit their minutes, so that its round ends by
// until: in proportion to the stations' shares, such as how much is asked at
// each, at least one, never so many that a station alone would take all squads
// past until, and as many as there is room for. The minutes that c brings are
// not looked at. It returns a circuit with the minutes and its rotation; both
// are nil where the time is too short. nodes is as for Rotate, which is asked a
// few times.
func Fit(c *Circuit, shares []int, until Minute, nodes int) (*Circuit, *Rotation, error) {
	if len(shares) != len(c.Stops) {
		return nil, nil, rankwright.Faultf(rankwright.Invalid, "shares", "give each station one share", "there are %d stations and %d shares", len(c.Stops), len(shares))
	}
	sum := 0
	for i, s := range shares {
		if s < 1 || s > 1000 {
			return nil, nil, rankwright.Faultf(rankwright.Invalid, "shares", "write 1 to 1000", "station %s cannot have %d shares", c.Stops[i].ID, s)
		}
		sum += s
	}
	room, m := int(until-c.Start), len(c.Stops)
	if m == 0 || len(c.Squads) == 0 || room < max(m, len(c.Squads)) {
		return nil, nil, nil
	}
	most := room / len(c.Squads)
	try := func(all int) (*Circuit, *Rotation, error) {
		out := *c
		out.Stops = make([]Stop, m)
		for i, s := range c.Stops {
			s.Minutes = min(most, max(1, shares[i]*all/sum))
			out.Stops[i] = s
		}
		r, err := Rotate(&out, nodes)
		if err != nil || r.End > until {
			return nil, nil, err
		}
		return &out, r, nil
	}
	best, rotation, err := try(0)
	if err != nil || best == nil {
		return nil, nil, err
	}
	// With more minutes in all no station has fewer.
	low, high := 0, sum*most+1
	for high-low > 1 {
		all := (low + high) / 2
		x, r, err := try(all)
		if err != nil {
			return nil, nil, err
		}
		if x == nil {
			high = all
			continue
		}
		low, best, rotation = all, x, r
	}
	return best, rotation, nil
}
