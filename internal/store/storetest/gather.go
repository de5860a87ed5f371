package storetest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
)

func gather(b Base, fn func(*store.Tx) error) error { return b.Gather(context.Background(), fn) }

// gathered lets many write at once, every third of them badly.
func gathered(t *testing.T, b Base) {
	fill(t, b)
	stop := errors.New("stop")
	var wg sync.WaitGroup
	for i := range 30 {
		wg.Go(func() {
			id := fmt.Sprint("m", i)
			err := gather(b, func(tx *store.Tx) error {
				got, err := tx.AppendMarks([]store.MarkRow{mark(rankwright.MarkID(id), rankwright.DeviceID(id), 1)})
				switch {
				case err != nil:
					return err
				case !got[0].Stored:
					return fmt.Errorf("%s: %+v", id, got[0])
				case i%3 == 1:
					return stop
				case i%3 == 2:
					return tx.AddClearance(store.ClearanceRecord{Entry: "e404", Clearance: "fee"})
				}
				return nil
			})
			if want := i%3 > 0; (err != nil) != want || i%3 == 1 && !errors.Is(err, stop) {
				t.Errorf("%s: %v", id, err)
			}
		})
	}
	wg.Wait()
	var got []string
	for i, m := range marksOf(t, b, "e1") {
		same(t, m.Arrival, int64(i+1)) // what was undone leaves no gap
		got = append(got, string(m.ID))
	}
	slices.Sort(got)
	same(t, got, []string{"m0", "m12", "m15", "m18", "m21", "m24", "m27", "m3", "m6", "m9"})
}

// roads tries the roads of marks to the log: a batch sent up to five times,
// shuffled, split and merged, by two senders at once.
func roads(t *testing.T, b Base) {
	fill(t, b)
	var wg sync.WaitGroup
	const workers = 40
	for w := range workers {
		wg.Go(func() {
			for i := w; i < b.Schedules/slower; i += workers {
				road(t, b, uint64(i))
				if t.Failed() {
					return
				}
			}
		})
	}
	wg.Wait()
	rows := marksOf(t, b, "e1")
	seen := map[rankwright.MarkID]bool{}
	for i, m := range rows {
		same(t, m.Arrival, int64(i+1))
		if seen[m.ID] {
			t.Errorf("%s is there twice", m.ID)
		}
		seen[m.ID] = true
		same(t, m.Mark, made(m.Device, m.Seq).Mark)
	}
}

// made is the mark that a device made with a number.
func made(device rankwright.DeviceID, seq int64) store.MarkRow {
	m := mark(rankwright.MarkID(fmt.Sprintf("%s/%d", device, seq)), device, seq)
	m.Value = scoring.N(int(seq % 4))
	return m
}

// road sends the marks of one device by one schedule and looks at each answer.
func road(t *testing.T, b Base, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 11))
	device := rankwright.DeviceID(fmt.Sprint("d", seed))
	marks := make([]store.MarkRow, 1+r.IntN(6))
	for i := range marks {
		marks[i] = made(device, int64(i+1))
	}
	var sent []store.MarkRow
	for range 1 + r.IntN(5) {
		sent = append(sent, marks...)
	}
	r.Shuffle(len(sent), func(i, j int) { sent[i], sent[j] = sent[j], sent[i] })
	clash := marks[r.IntN(len(marks))] // its id, with another content
	clash.Value, clash.Seq = scoring.N(7), 99

	var mu sync.Mutex
	stored := map[rankwright.MarkID]int{}
	send := func(batch []store.MarkRow, want string) {
		var got []store.MarkStatus
		if err := gather(b, func(tx *store.Tx) (err error) {
			got, err = tx.AppendMarks(batch)
			return err
		}); err != nil {
			t.Errorf("schedule %d: %v", seed, err)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		for i, st := range got {
			switch {
			case st.ID != batch[i].ID || want == "refused" && st.Refuse == "" || want == "" && !st.Stored && !st.Double:
				t.Errorf("schedule %d: %s is answered by %+v", seed, batch[i].ID, st)
			case st.Stored:
				stored[st.ID]++
			}
		}
	}
	var wg sync.WaitGroup
	half := r.IntN(len(sent) + 1)
	for _, list := range [][]store.MarkRow{sent[:half], sent[half:]} {
		var batches [][]store.MarkRow
		for len(list) > 0 {
			n := 1 + r.IntN(len(list))
			batches, list = append(batches, list[:n]), list[n:]
		}
		wg.Go(func() {
			for _, batch := range batches {
				send(batch, "")
			}
		})
	}
	wg.Wait()
	send([]store.MarkRow{clash}, "refused")
	for _, m := range marks {
		if stored[m.ID] != 1 {
			t.Errorf("schedule %d: %s was stored %d times", seed, m.ID, stored[m.ID])
		}
	}
}
