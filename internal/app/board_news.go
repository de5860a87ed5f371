package app

import (
	"context"
	"slices"
	"sync"

	"rankwright"
	"rankwright/internal/store"
)

// News is something that happened at a grading. It says of what kind it is,
// not what: whoever hears it looks at the base.
type News struct {
	Kind string // marks, presence, device, grading
}

// mostListeners keeps a room full of open boards from holding up the marks.
const mostListeners = 100

// mostOfDevice is how many listeners a paired device has, and mostOfPerson one
// person on all devices on which they are signed in. With more the oldest ends:
// it is of a page that is gone, whose connection nobody has closed because the
// network went away.
const (
	mostOfDevice = 4
	mostOfPerson = 20
)

// listeners are those who wait for news, by grading.
type listeners struct {
	mu    sync.Mutex
	count int
	of    map[rankwright.GradingID]map[*Listener]bool
	own   map[string][]*Listener // by person and device, the oldest first
}

// Listener hears of news. Kinds that come faster than they are taken are told
// once.
type Listener struct {
	wake  chan struct{}
	ended chan struct{}
	mu    sync.Mutex
	kinds map[string]bool
}

// C is ready when there is news.
func (l *Listener) C() <-chan struct{} { return l.wake }

// Ended is closed where a newer listener of the same device takes the place.
func (l *Listener) Ended() <-chan struct{} { return l.ended }

// Take returns the kinds of news since it was last called.
func (l *Listener) Take() map[string]bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := l.kinds
	l.kinds = map[string]bool{}
	return out
}

// Listen begins to listen for news of a grading; stop ends it.
func (a *App) Listen(ctx context.Context, who Actor, id rankwright.GradingID) (l *Listener, stop func(), err error) {
	if err := a.see(ctx, who, SeeMarks, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		_, err := tx.Grading(id)
		return err
	}); err != nil {
		return nil, nil, err
	}
	a.listeners.mu.Lock()
	defer a.listeners.mu.Unlock()
	if a.listeners.count >= mostListeners {
		return nil, nil, rankwright.Faultf(rankwright.Unavailable, "too_many_boards", "close some, or refresh by hand", "too many boards are open at once")
	}
	own, most := who.ID+" "+string(who.Device), mostOfPerson
	if who.Device != "" {
		most = mostOfDevice
	}
	if old := a.listeners.own[own]; len(old) >= most {
		close(old[0].ended)
		a.listeners.own[own] = old[1:]
	}
	l = &Listener{wake: make(chan struct{}, 1), ended: make(chan struct{}), kinds: map[string]bool{}}
	if a.listeners.own == nil {
		a.listeners.own = map[string][]*Listener{}
	}
	a.listeners.own[own] = append(a.listeners.own[own], l)
	if a.listeners.of[id] == nil {
		a.listeners.of[id] = map[*Listener]bool{}
	}
	a.listeners.of[id][l] = true
	a.listeners.count++
	var once sync.Once
	return l, func() {
		once.Do(func() {
			a.listeners.mu.Lock()
			defer a.listeners.mu.Unlock()
			delete(a.listeners.of[id], l)
			if a.listeners.own[own] = slices.DeleteFunc(a.listeners.own[own], func(x *Listener) bool { return x == l }); len(a.listeners.own[own]) == 0 {
				delete(a.listeners.own, own)
			}
			if len(a.listeners.of[id]) == 0 {
				delete(a.listeners.of, id)
			}
			a.listeners.count--
		})
	}, nil
}

// tell wakes those who listen to a grading. It never waits for them.
func (a *App) tell(id rankwright.GradingID, n News) {
	a.listeners.mu.Lock()
	defer a.listeners.mu.Unlock()
	for l := range a.listeners.of[id] {
		l.mu.Lock()
		l.kinds[n.Kind] = true
		l.mu.Unlock()
		select {
		case l.wake <- struct{}{}:
		default:
		}
	}
}

// newsOf is the kind of news that an act is.
func newsOf(act Act) News {
	switch act {
	case GiveMarks, GiveBefore:
		return News{Kind: "marks"}
	case CheckIn, StopChild, SettleClear:
		return News{Kind: "presence"}
	case PairDevices:
		return News{Kind: "device"}
	}
	return News{Kind: "grading"}
}

// MarksAfter returns whose marks came after a number, and the number of the
// latest. It says nothing of what they are.
func (a *App) MarksAfter(ctx context.Context, who Actor, id rankwright.GradingID, arrival int64) (entries []rankwright.EntryID, last int64, err error) {
	last = arrival
	err = a.see(ctx, who, SeeMarks, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		there := map[rankwright.EntryID]bool{}
		for {
			rows, err := tx.MarksSince(id, last, 1000)
			if err != nil || len(rows) == 0 {
				return err
			}
			for _, r := range rows {
				if !there[r.Entry] {
					there[r.Entry], entries = true, append(entries, r.Entry)
				}
			}
			last = rows[len(rows)-1].Arrival
		}
	})
	return entries, last, err
}
