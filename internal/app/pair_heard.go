package app

import (
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
)

// heard is what devices said of themselves since the program was started:
// too often to write each word down.
type heard struct {
	mu sync.Mutex
	m  map[string]report
}

type report struct {
	grading rankwright.GradingID
	person  string
	name    string
	log     rankwright.DeviceID
	seen    store.Moment
	unsent  int
	seq     int64 // -1 where it does not say
	others  []scoring.Span
	off     int64
	written store.Moment
}

func (h *heard) of(key string) (report, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	r, ok := h.m[key]
	return r, ok
}

const (
	// mostHeard keeps a flood of made-up devices from filling the memory.
	mostHeard = 500
	// silentAfter is how long a device may say nothing before it is looked for.
	silentAfter = 2 * time.Minute
)

// Report is what a device says of itself.
type Report struct {
	Device string // its own name for itself, as its marks have it; "" where it does not say
	Unsent int    // marks that the school's computer has not answered yet
	Seq    *int64 // the highest number that it has given to a mark of this grading, 0 before the first; nil where it does not say
	// Elsewhere are the numbers of marks of other gradings that it has not sent
	// yet, for it numbers all of its marks in one row.
	Elsewhere []scoring.Span
	Sent      int64 // what it takes the time to be, in milliseconds since 1970 UTC; 0 where it does not say
}

const (
	mostSeq       = 1<<53 - 1 // what a script counts exactly
	mostElsewhere = 100       // spans in a word; what is left out is told when these were sent
)

// Report takes a device's word on how far it has counted its marks and how
// many it has not sent yet. A device that is not paired is known by who is
// signed in on it and by its own name for itself. The answer is what the
// scoring page has to know at once.
func (a *App) Report(ctx context.Context, who Actor, id rankwright.GradingID, said Report) (now MatNow, err error) {
	switch {
	case said.Unsent < 0 || said.Unsent > 100_000 || len(said.Device) > 64 || strings.ContainsFunc(said.Device, func(r rune) bool { return r < ' ' || r == 0x7f || r == 0xfffd }):
		return now, invalid("unsent", "load the page again", "that is no number of marks")
	case said.Seq != nil && (*said.Seq < 0 || *said.Seq > mostSeq) || said.Sent < 0 || said.Sent > mostSeq:
		return now, invalid("seq", "load the page again", "that is no number of a mark and no time")
	case len(said.Elsewhere) > mostElsewhere || slices.ContainsFunc(said.Elsewhere, func(s scoring.Span) bool { return s.From < 1 || s.To < s.From || s.To > mostSeq }):
		return now, invalid("elsewhere", "load the page again", "those are no numbers of marks")
	}
	if now, err = a.MatNow(ctx, who, id); err != nil {
		return now, err
	}
	if refused := refuse(who, GiveMarks, on{"grading", string(id), id}); refused != nil {
		return now, a.refusal(ctx, who, GiveMarks, on{kind: "grading", id: string(id)}, refused)
	}
	now.ClockOff = a.clockOff(Batch{Sent: said.Sent})
	key := string(who.Device)
	if key == "" {
		key = "signed in " + string(id) + " " + who.ID + " " + said.Device
	}
	r := report{grading: id, person: who.ID, name: who.Name, log: rankwright.DeviceID(said.Device), seen: a.moment(), unsent: said.Unsent, seq: -1, others: said.Elsewhere, off: now.ClockOff}
	if said.Seq != nil {
		r.seq = *said.Seq
	}
	a.heard.mu.Lock()
	old, known := a.heard.m[key]
	if !known && len(a.heard.m) >= mostHeard {
		clear(a.heard.m)
	}
	news := !known || old.unsent != r.unsent || old.seq != r.seq || old.log != r.log || old.off != r.off || !slices.Equal(old.others, r.others)
	r.written = old.written
	write := (who.Device != "" || r.log != "") && (news || r.seen-old.written > store.Moment(saidSeen.Milliseconds()))
	if write {
		r.written = r.seen
	}
	a.heard.m[key] = r
	a.heard.mu.Unlock()
	if write {
		if err := a.st.Gather(ctx, func(tx *store.Tx) error { return a.keepReport(tx, who, id, r) }); err != nil {
			return now, err
		}
	}
	if news || r.seen-old.seen > store.Moment(time.Minute.Milliseconds()) {
		a.tell(id, News{Kind: "device"})
	}
	return now, nil
}

func (a *App) keepReport(tx *store.Tx, who Actor, id rankwright.GradingID, r report) error {
	if who.Device != "" {
		if err := tx.SawDevice(who.Device, r.seen, r.unsent); err != nil {
			return err
		}
	}
	if r.log == "" {
		return nil
	}
	if err := tx.AddElsewhere(id, r.log, r.others); err != nil {
		return err
	}
	c := store.Count{Grading: id, Log: r.log, Paired: who.Device, Person: r.person, Since: -1, Seq: max(0, r.seq), Unsent: r.unsent, Seen: r.seen}
	if r.seq < 0 {
		return tx.PutCount(c)
	}
	if old, known, err := tx.Count(id, r.log); err != nil {
		return err
	} else if !known || old.Since < 0 {
		// What it had counted at other gradings is none of this one's, but for
		// what it has not sent yet of this one.
		if c.Since, err = tx.CountedElsewhere(r.log, id); err != nil {
			return err
		}
		if r.seq > 0 {
			came, err := tx.Came(r.log, 0, r.seq)
			if err != nil {
				return err
			}
			gaps := scoring.Without(scoring.Gaps(came, 0, r.seq), r.others)
			c.Since = max(0, min(c.Since, scoring.Began(gaps, r.seq, r.unsent)))
		}
	}
	return tx.PutCount(c)
}

// other is a device that somebody is signed in on with a password.
type other struct {
	DeviceView
	named bool // it says how it calls itself, and so is known by its numbers
}

// others lists the devices of a grading that somebody is signed in on with a
// password, as far as they have been heard of.
func (a *App) others(id rankwright.GradingID) []other {
	a.heard.mu.Lock()
	defer a.heard.mu.Unlock()
	var out []other
	for key, r := range a.heard.m {
		if r.grading == id && strings.HasPrefix(key, "signed in ") {
			d := store.Device{Grading: id, Person: r.person, Name: "Signed in with a password", Seen: r.seen, Unsent: r.unsent}
			out = append(out, other{DeviceView{d, r.name, r.off}, r.log != ""})
		}
	}
	slices.SortFunc(out, func(x, y other) int { return int(y.Seen - x.Seen) })
	return out
}
