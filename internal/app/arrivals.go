package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
)

// usualDoor is asked at the door where the school has written nothing of its
// own (common practice, no published source).
const usualDoor = "Kit is complete: uniform, belt, nothing that can scratch or catch\nHands are clean"

const usualFeel = "How do you feel today?"

// DoorLines are the lines of the school's list at the door; a single "-" is
// no list at all.
func (sc School) DoorLines() []string {
	text := strings.TrimSpace(sc.Door)
	if text == "" {
		text = usualDoor
	}
	if text == "-" {
		return nil
	}
	var out []string
	for line := range strings.Lines(text) {
		if line = strings.Join(strings.Fields(line), " "); line != "" && !slices.Contains(out, line) {
			out = append(out, line)
		}
	}
	return out
}

// FeelQuestion is how the school asks whether a child is well.
func (sc School) FeelQuestion() string {
	if q := strings.TrimSpace(sc.Feel); q != "" {
		return q
	}
	return usualFeel
}

// AtDoor is what is known of an entry from the door.
type AtDoor struct {
	Came   store.Moment // 0 while they have not come
	Late   bool
	Ticked map[string]bool // by the line's words
}

// Door returns what is known from the door of each entry of a grading.
func (a *App) Door(ctx context.Context, who Actor, id rankwright.GradingID) (out map[rankwright.EntryID]AtDoor, err error) {
	out = map[rankwright.EntryID]AtDoor{}
	err = a.see(ctx, who, CheckIn, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		came, err := tx.Arrivals(id)
		if err != nil {
			return err
		}
		for _, c := range came {
			out[c.Entry] = AtDoor{Came: c.At, Late: c.Late}
		}
		ticks, err := tx.DoorTicks(id)
		if err != nil {
			return err
		}
		for _, k := range ticks {
			d := out[k.Entry]
			if d.Ticked == nil {
				d.Ticked = map[string]bool{}
			}
			d.Ticked[k.Line] = true
			out[k.Entry] = d
		}
		return nil
	})
	return out, err
}

// CheckInLate says that a candidate is there after all, late; the time is kept.
func (a *App) CheckInLate(ctx context.Context, who Actor, entry rankwright.EntryID) error {
	return a.checkIn(ctx, who, entry, "present", true)
}

// checkIn sets the presence of an entry. The moment of the first "present" is
// kept as the time of arrival; "expected" and "absent" forget it.
func (a *App) checkIn(ctx context.Context, who Actor, entry rankwright.EntryID, presence string, late bool) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, CheckIn, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		e, err := tx.Entry(entry)
		if err != nil {
			return nil, err
		}
		before := e.Presence
		if before == "stopped" && presence != before && !who.Role.May(OverrideResult) {
			return nil, rankwright.Faultf(rankwright.Conflict, "stopped", "ask the head instructor; after a knock to the head nobody goes back on the mat that day",
				"this child was stopped for safety, and only the head instructor takes that back")
		}
		e.Presence = presence
		detail := map[string]any{"before": before, "after": presence}
		switch presence {
		case "present":
			old, came, err := tx.ArrivalOf(entry)
			if err != nil {
				return nil, err
			}
			if !came {
				old = store.Arrival{Entry: entry, At: a.moment()}
			}
			old.Late, old.By = late, who.ID
			if late {
				detail["late"] = true
			}
			if err := tx.PutArrival(old); err != nil {
				return nil, err
			}
		case "expected", "absent":
			if err := tx.RemoveArrival(entry); err != nil {
				return nil, err
			}
		}
		return detail, tx.PutEntry(e)
	})
}

// SetDoorTick ticks a line of the school's list at the door, or takes the
// tick away. How a child feels is asked and not kept.
func (a *App) SetDoorTick(ctx context.Context, who Actor, entry rankwright.EntryID, line string, ticked bool) error {
	sc, err := a.School(ctx)
	if err != nil {
		return err
	}
	if !slices.Contains(sc.DoorLines(), line) {
		return rankwright.Faultf(rankwright.Conflict, "door_changed", "load the page again", "this line is not on the school's list any more")
	}
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, CheckIn, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		return map[string]any{"line": line, "ticked": ticked}, tx.SetDoorTick(store.DoorTick{Entry: entry, Line: line, At: a.moment(), By: who.ID}, ticked)
	})
}

// SetSquad moves an entry to another squad of its rank.
func (a *App) SetSquad(ctx context.Context, who Actor, entry rankwright.EntryID, squad int) error {
	if squad < 1 || squad > 99 {
		return invalid("squad", "choose a number from 1 to 99", "there is no squad %d", squad)
	}
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, CheckIn, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		e, err := tx.Entry(entry)
		if err != nil {
			return nil, err
		}
		before := e.Squad
		e.Squad = squad
		return map[string]int{"before": before, "after": squad}, tx.PutEntry(e)
	})
}
