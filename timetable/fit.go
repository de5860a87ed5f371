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
// past until, and as many as there is room for. A station whose share is 0 has
// the minutes that c brings, which are not looked at otherwise. It returns a
// circuit with the minutes and its rotation; both are nil where the time is too
// short. nodes is as for Rotate, which is asked a few times.
func Fit(c *Circuit, shares []int, until Minute, nodes int) (*Circuit, *Rotation, error) {
	sum, err := checkShares(c, shares)
	if err != nil {
		return nil, nil, err
	}
	room, m := int(until-c.Start), len(c.Stops)
	if m == 0 || len(c.Squads) == 0 || room < max(m, len(c.Squads)) {
		return nil, nil, nil
	}
	most := room / len(c.Squads)
	try := func(all int) (*Circuit, *Rotation, error) {
		out := shared(c, shares, func(share int) int { return min(most, max(1, share*all/max(1, sum))) })
		r, err := Rotate(out, nodes)
		if err != nil || r.End > until {
			return nil, nil, err
		}
		return out, r, nil
	}
	best, rotation, err := try(0)
	if err != nil || best == nil || sum == 0 {
		return best, rotation, err
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

// LeastRound is how many minutes the round of a circuit takes where each station
// that has a share has a single minute, as far as Rotate finds a short one. A
// circuit without stations or squads takes none.
func LeastRound(c *Circuit, shares []int, nodes int) (int, error) {
	if _, err := checkShares(c, shares); err != nil || len(c.Stops) == 0 || len(c.Squads) == 0 {
		return 0, err
	}
	r, err := Rotate(shared(c, shares, func(int) int { return 1 }), nodes)
	if err != nil {
		return 0, err
	}
	return int(r.End - c.Start), nil
}

// checkShares adds the shares up.
func checkShares(c *Circuit, shares []int) (sum int, err error) {
	if len(shares) != len(c.Stops) {
		return 0, rankwright.Faultf(rankwright.Invalid, "shares", "give each station one share", "there are %d stations and %d shares", len(c.Stops), len(shares))
	}
	for i, s := range shares {
		if s < 0 || s > 1000 {
			return 0, rankwright.Faultf(rankwright.Invalid, "shares", "write 0 where the minutes are given, or 1 to 1000", "station %s cannot have %d shares", c.Stops[i].ID, s)
		}
		sum += s
	}
	return sum, nil
}

// shared is a circuit in which the stations with a share have their minutes by it.
func shared(c *Circuit, shares []int, minutes func(share int) int) *Circuit {
	out := *c
	out.Stops = make([]Stop, len(c.Stops))
	for i, s := range c.Stops {
		if shares[i] > 0 {
			s.Minutes = minutes(shares[i])
		}
		out.Stops[i] = s
	}
	return &out
}
