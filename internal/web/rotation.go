package web

import (
	"rankwright/internal/web/look"
	"rankwright/timetable"
)

// roundOf makes a rotation fit for the part "rotation". names words the
// stations and the squads, in the order of the circuit.
func roundOf(label string, c *timetable.Circuit, r *timetable.Rotation, stations, squads []string) look.Round {
	round := look.Round{Label: label, Stations: stations}
	for i := range c.Squads {
		round.Squads = append(round.Squads, look.RoundSquad{Name: squads[i]})
	}
	for _, v := range r.Visits {
		q := &round.Squads[v.Squad]
		q.Stops = append(q.Stops, look.RoundStop{Station: v.Stop, From: int(v.From), Until: int(v.Until)})
	}
	return round
}
