package app

import (
	"context"
	"slices"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/store"
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
	seen    store.Moment
	unsent  int
	written store.Moment
}

func (h *heard) of(key string) (report, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	r, ok := h.m[key]
	return r, ok
}

// mostHeard keeps a flood of made-up devices from filling the memory.
const mostHeard = 500

// Report takes a device's word on how many marks it has not sent yet. A device
// that is not paired is known by who is signed in on it and by its own name
// for itself. The answer is what the scoring page has to know at once.
func (a *App) Report(ctx context.Context, who Actor, id rankwright.GradingID, device string, unsent int) (now MatNow, err error) {
	if unsent < 0 || unsent > 100_000 || len(device) > 64 {
		return now, invalid("unsent", "load the page again", "that is no number of marks")
	}
	if now, err = a.MatNow(ctx, who, id); err != nil {
		return now, err
	}
	if refused := refuse(who, GiveMarks, on{"grading", string(id), id}); refused != nil {
		return now, a.refusal(ctx, who, GiveMarks, on{kind: "grading", id: string(id)}, refused)
	}
	key := string(who.Device)
	if key == "" {
		key = "signed in " + string(id) + " " + who.ID + " " + device
	}
	r := report{grading: id, person: who.ID, name: who.Name, seen: a.moment(), unsent: unsent}
	a.heard.mu.Lock()
	old, known := a.heard.m[key]
	if !known && len(a.heard.m) >= mostHeard {
		clear(a.heard.m)
	}
	r.written = old.written
	write := who.Device != "" && (!known || old.unsent != unsent || r.seen-old.written > store.Moment(saidSeen.Milliseconds()))
	if write {
		r.written = r.seen
	}
	a.heard.m[key] = r
	a.heard.mu.Unlock()
	if write {
		if err := a.st.Write(ctx, func(tx *store.Tx) error { return tx.SawDevice(who.Device, r.seen, unsent) }); err != nil {
			return now, err
		}
	}
	if !known || old.unsent != unsent || r.seen-old.seen > store.Moment(time.Minute.Milliseconds()) {
		a.tell(id, News{Kind: "device"})
	}
	return now, nil
}

// others lists the devices of a grading that somebody is signed in on with a
// password, as far as they have been heard of.
func (a *App) others(id rankwright.GradingID) []DeviceView {
	a.heard.mu.Lock()
	defer a.heard.mu.Unlock()
	var out []DeviceView
	for key, r := range a.heard.m {
		if r.grading == id && len(key) > 10 && key[:10] == "signed in " {
			out = append(out, DeviceView{store.Device{Grading: id, Person: r.person, Name: "Signed in with a password", Seen: r.seen, Unsent: r.unsent}, r.name})
		}
	}
	slices.SortFunc(out, func(x, y DeviceView) int { return int(y.Seen - x.Seen) })
	return out
}
