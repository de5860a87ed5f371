package store

import (
	"context"
	"errors"
	"sync"
	"time"
)

// gatherFor is how long a shared transaction takes in further writes: the
// pages' own writes wait behind it.
const gatherFor = 50 * time.Millisecond

// Gather is Write for small writes that come from many people at once: those
// that wait meanwhile share one transaction and so one wait for the disk
// (group commit), in the order in which they came. It promises what Write
// does, to each by itself: where one fails, what it did is undone and the
// others stand. fn may be run again, and then only what the last run wrote
// is kept; what it learns it must set anew each time.
func (s *Store) Gather(ctx context.Context, fn func(*Tx) error) error {
	w := &gathered{ctx: ctx, fn: fn, done: make(chan struct{})}
	if !s.gather.add(w) {
		go s.writeGathered()
	}
	select {
	case <-w.done:
	case <-ctx.Done():
		if s.gather.remove(w) {
			return ctx.Err()
		}
		<-w.done // it is being written
	}
	if w.panicked != nil {
		panic(w.panicked)
	}
	return w.err
}

// gathered is one write that waits to be taken into a transaction.
type gathered struct {
	ctx      context.Context
	fn       func(*Tx) error
	err      error
	panicked any
	done     chan struct{}
}

// call runs the write and keeps what came of it, a panic too: it belongs to
// whoever gave the write, not to whoever writes.
func (w *gathered) call(t *Tx) (err error) {
	defer func() {
		if w.panicked = recover(); w.panicked != nil {
			err = errors.New("panicked")
		}
		w.err = err
	}()
	return w.fn(t)
}

// gathering holds the writes that wait, in the order in which they came.
type gathering struct {
	mu      sync.Mutex
	waiting []*gathered
	running bool // writeGathered runs, or is about to
}

// add puts a write at the end and says whether somebody will see to it.
func (g *gathering) add(w *gathered) (seen bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.waiting = append(g.waiting, w)
	seen, g.running = g.running, true
	return seen
}

// remove takes a write back, which is too late once it is being written.
func (g *gathering) remove(w *gathered) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	for i, other := range g.waiting {
		if other == w {
			g.waiting = append(g.waiting[:i:i], g.waiting[i+1:]...)
			return true
		}
	}
	return false
}

// next takes the first write that waits; nil is none. With end it then lets
// the next one that comes start anew.
func (g *gathering) next(end bool) *gathered {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.waiting) == 0 {
		g.running = g.running && !end
		return nil
	}
	w := g.waiting[0]
	g.waiting = g.waiting[1:]
	return w
}

// writeGathered writes until nobody waits. Between two transactions it goes
// to the end of the queue of writers, so that pages get their turn.
func (s *Store) writeGathered() {
	for {
		s.turn <- struct{}{}
		first := s.gather.next(true)
		if first == nil {
			<-s.turn
			return
		}
		taken := s.together(first)
		<-s.turn
		for _, w := range taken {
			close(w.done)
		}
	}
}

// errNotTogether ends a shared transaction in which one of the writes failed.
var errNotTogether = errors.New("one of the writes failed")

// together writes the first and those that wait with it in one transaction.
// Nearly always all of them succeed, and then nothing stands between them.
// Where one fails all of it is undone and done again, each behind a savepoint.
func (s *Store) together(first *gathered) (taken []*gathered) {
	began := time.Now()
	err := s.write(context.Background(), true, func(t *Tx) error {
		for w := first; w != nil; w = s.gather.next(false) {
			taken = append(taken, w)
			if w.call(t) != nil || t.broken != nil {
				return errNotTogether
			}
			if time.Since(began) > gatherFor {
				break
			}
		}
		return nil
	})
	switch {
	case taken == nil: // it did not even begin
		first.err = err
		return []*gathered{first}
	case errors.Is(err, errNotTogether):
		return s.eachApart(taken)
	case err != nil:
		s.eachAlone(taken)
	}
	return taken
}

// eachApart writes those that were taken, and those that wait with them, in
// one transaction, each behind a savepoint. A write of which a statement
// failed, or all where the transaction as such failed, is done again by itself.
func (s *Store) eachApart(before []*gathered) (taken []*gathered) {
	var again []*gathered
	began := time.Now()
	taken = before
	err := s.write(context.Background(), true, func(t *Tx) error {
		for i := 0; i < len(taken); i++ {
			failed, err := t.apart(taken[i].call)
			if err != nil {
				return err
			}
			if failed {
				again = append(again, taken[i])
			}
			if i == len(taken)-1 && time.Since(began) <= gatherFor {
				if w := s.gather.next(false); w != nil {
					taken = append(taken, w)
				}
			}
		}
		return nil
	})
	if err != nil {
		again = taken
	}
	s.eachAlone(again)
	return taken
}

// eachAlone gives each write a transaction of its own.
func (s *Store) eachAlone(all []*gathered) {
	for _, w := range all {
		w.err = s.write(w.ctx, true, w.call)
	}
}

// apart runs fn behind a savepoint and undoes what it did where it returns an
// error or a statement failed, which it reports.
func (t *Tx) apart(fn func(*Tx) error) (failed bool, err error) {
	if _, err := t.exec(`SAVEPOINT apart`); err != nil {
		return false, err
	}
	err = fn(t)
	failed = t.broken != nil
	if err != nil || failed {
		t.broken = nil
		t.known = nil
		if _, err := t.exec(`ROLLBACK TO SAVEPOINT apart`); err != nil {
			return failed, err
		}
	}
	_, err = t.exec(`RELEASE SAVEPOINT apart`)
	return failed, err
}
