package web

import (
	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
)

// arrivalsSitting is when a child is examined today, and where else there is
// room for them.
type arrivalsSitting struct {
	ID, Name string
	Options  []look.Option
}

// arrivalsToday says of each entry when it is examined today; nothing where
// there is no timetable.
func arrivalsToday(q *Query, v app.GradingView) (map[rankwright.EntryID]*arrivalsSitting, error) {
	if !app.State(v.State).Allows(app.MoveToday) || !q.Who.Role.May(app.MoveToday) {
		return nil, nil
	}
	t, err := q.times()
	if err != nil || t.Published == nil {
		return nil, err
	}
	d, err := q.App().TodaySittings(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	out := map[rankwright.EntryID]*arrivalsSitting{}
	for _, e := range v.Entries {
		at := t.Sitting(d.At[e.Entry.ID])
		room := d.Room[e.Entry.ID]
		if at == nil && len(room) == 0 {
			continue
		}
		s := &arrivalsSitting{Name: "no sitting yet"}
		if at != nil {
			s.ID, s.Name = at.ID, timesAt(at)
			if day := t.Session(at.Session).Day; day != q.App().Today() {
				s.Name = day.Long() + ", " + s.Name
			}
		}
		s.Options = append(s.Options, look.Option{Value: s.ID, Text: s.Name, Selected: true})
		for _, r := range room {
			s.Options = append(s.Options, look.Option{Value: r.ID, Text: timesAt(&r.Sitting) + ", room for " + itoa(r.Free)})
		}
		out[e.Entry.ID] = s
	}
	return out, nil
}
