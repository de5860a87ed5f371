package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/alexedwards/scs/v2"

	"rankwright"
)

// holdTurn keeps everybody from writing until the function that it returns is
// called.
func holdTurn(t *testing.T, s *Store) (release func()) {
	t.Helper()
	if err := enter(t.Context(), s.turn); err != nil {
		t.Fatal(err)
	}
	return func() { leave(s.turn) }
}

// queued waits until n gathered writes wait behind the turn. The first has not
// been taken yet, since whoever takes it needs the turn.
func queued(t *testing.T, s *Store, n int) {
	t.Helper()
	for {
		s.gather.mu.Lock()
		waiting := len(s.gather.waiting)
		s.gather.mu.Unlock()
		if waiting == n {
			return
		}
		if t.Context().Err() != nil {
			t.Fatal("the writes never came")
		}
		time.Sleep(time.Millisecond)
	}
}

// gatherAll gives the writes at once, in their order, and returns what became
// of each, a panic as an error.
func gatherAll(t *testing.T, s *Store, writes ...func(*Tx) error) []error {
	t.Helper()
	release := holdTurn(t, s)
	errs := make([]error, len(writes))
	var wg sync.WaitGroup
	for i, fn := range writes {
		wg.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					errs[i] = fmt.Errorf("panic: %v", p)
				}
			}()
			errs[i] = s.Gather(t.Context(), fn)
		})
		queued(t, s, i+1)
	}
	release()
	wg.Wait()
	return errs
}

func TestWritesThatWaitTogetherShareOneTransaction(t *testing.T) {
	s := newBase(t)
	var shared []*Tx
	var writes []func(*Tx) error
	looked := 0
	for i := range 12 {
		writes = append(writes, func(tx *Tx) error {
			shared = append(shared, tx)
			if v, err := Once(tx, "answer", func() (int, error) { looked++; return 42, nil }); v != 42 || err != nil {
				return fmt.Errorf("looked up %d: %w", v, err)
			}
			return tx.SetSetting(fmt.Sprint("k", i), "v")
		})
	}
	for i, err := range gatherAll(t, s, writes...) {
		if err != nil || get(t, s, fmt.Sprint("k", i)) != "v" {
			t.Errorf("write %d: %v", i, err)
		}
		if shared[i] != shared[0] {
			t.Errorf("write %d had a transaction of its own", i)
		}
	}
	if looked != 1 {
		t.Errorf("it was looked up %d times in one transaction", looked)
	}
}

func TestAGatheredWriteThatFailsTakesNobodyWithIt(t *testing.T) {
	s := newBase(t)
	refused := errors.New("the grading is closed")
	ok := func(key string) func(*Tx) error { return func(tx *Tx) error { return tx.SetSetting(key, "v") } }
	tries := 0
	errs := gatherAll(t, s,
		ok("first"),
		func(tx *Tx) error { return errors.Join(tx.SetSetting("refused", "v"), refused) },
		ok("second"),
		func(tx *Tx) error { // swallows the failure of a statement
			tries++
			_ = tx.AddClearance(ClearanceRecord{Entry: "e404", Clearance: "fee"})
			return tx.SetSetting("swallowed", "v")
		},
		func(tx *Tx) error {
			_ = tx.SetSetting("panicked", "v")
			panic("oh")
		},
		ok("third"))
	for i, want := range []string{"", "the grading is closed", "", "missing", "panic: oh", ""} {
		if (errs[i] == nil) != (want == "") || errs[i] != nil && !strings.Contains(errs[i].Error(), want) {
			t.Errorf("write %d: %v, want %q", i, errs[i], want)
		}
	}
	for key, want := range map[string]string{"first": "v", "second": "v", "third": "v", "refused": "", "swallowed": "", "panicked": ""} {
		if got := get(t, s, key); got != want {
			t.Errorf("%s is %q, want %q", key, got, want)
		}
	}
	if tries != 2 {
		t.Errorf("the write with a failed statement ran %d times, want once with the others and once alone", tries)
	}
}

// The disk can fill up in the middle, and then SQLite rolls all of it back by
// itself (sqlite.org/lang_transaction.html, "Response To Errors").
func TestWhenTheSharedTransactionFailsEachIsWrittenAlone(t *testing.T) {
	s := newBase(t)
	errs := gatherAll(t, s,
		func(tx *Tx) error { return tx.SetSetting("first", "v") },
		func(tx *Tx) error { _, err := tx.exec(`ROLLBACK`); return err },
		func(tx *Tx) error { return tx.SetSetting("second", "v") })
	if errs[0] != nil || errs[1] == nil || errs[2] != nil {
		t.Fatalf("%v", errs)
	}
	if get(t, s, "first") != "v" || get(t, s, "second") != "v" {
		t.Error("a write that was told to be kept is not")
	}
}

func TestAWriteTakenBackWhileItWaitsIsNotDone(t *testing.T) {
	s := newBase(t)
	release := holdTurn(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 2)
	go func() { done <- s.Gather(ctx, func(tx *Tx) error { return tx.SetSetting("gathered", "v") }) }()
	queued(t, s, 1)
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("gathered: %v", err)
	}
	if err := s.Write(ctx, func(tx *Tx) error { return tx.SetSetting("alone", "v") }); !errors.Is(err, context.Canceled) {
		t.Errorf("alone: %v", err)
	}
	release()
	set(t, s, "later", "v")
	if err := s.Gather(t.Context(), func(tx *Tx) error { return tx.SetSetting("latest", "v") }); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]string{"gathered": "", "alone": "", "later": "v", "latest": "v"} {
		if got := get(t, s, key); got != want {
			t.Errorf("%s is %q, want %q", key, got, want)
		}
	}
}

// It would not end where marks could keep a page from writing for ever.
func TestAPageGetsItsTurnWhileMarksKeepComing(t *testing.T) {
	s := newBase(t)
	stop := make(chan struct{})
	var wg sync.WaitGroup
	for i := range 4 {
		wg.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
				}
				if err := s.Gather(t.Context(), func(tx *Tx) error { return tx.SetSetting(fmt.Sprint("m", i), fmt.Sprint(n)) }); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for n := range 20 {
		set(t, s, "page", fmt.Sprint(n))
	}
	close(stop)
	wg.Wait()
}

// Readings that fill every place do not keep a mark, or a look at who asks,
// from its own.
func TestMarksDoNotWaitBehindReadings(t *testing.T) {
	s := newBase(t)
	end := make(chan struct{})
	var begun, wg sync.WaitGroup
	for range readerCount {
		begun.Add(1)
		wg.Go(func() {
			if err := s.Read(t.Context(), func(*Tx) error { begun.Done(); <-end; return nil }); err != nil {
				t.Error(err)
			}
		})
	}
	begun.Wait()
	if err := s.Gather(t.Context(), func(tx *Tx) error { return tx.SetSetting("k", "v") }); err != nil {
		t.Error(err)
	}
	if err := s.Peek(t.Context(), func(tx *Tx) error {
		v, _, err := tx.Setting("k")
		if v != "v" {
			t.Errorf("it sees %q", v)
		}
		return err
	}); err != nil {
		t.Error(err)
	}
	late, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Read(late, func(*Tx) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("a fifth reading began beside four: %v", err)
	}
	close(end)
	wg.Wait()
}

func TestAFullDiskIsToldAndHealsWithoutARestart(t *testing.T) {
	s := newBase(t)
	var pages int
	if err := s.writer.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	limit := func(n int) {
		if _, err := s.writer.Exec(fmt.Sprint(`PRAGMA max_page_count = `, n)); err != nil {
			t.Fatal(err)
		}
	}
	limit(pages)
	long := strings.Repeat("x", 10_000)
	errs := gatherAll(t, s,
		func(tx *Tx) error { return tx.SetSetting("small", "v") },
		func(tx *Tx) error { return tx.SetSetting("long", long) },
		func(tx *Tx) error { return tx.SetSetting("other", "v") })
	if errs[0] != nil || errs[2] != nil || get(t, s, "small") != "v" || get(t, s, "other") != "v" {
		t.Errorf("what still fits is not kept: %v", errs)
	}
	wantCode(t, errs[1], "disk_full", "free some space")
	if rankwright.KindOf(errs[1]) != rankwright.Unavailable {
		t.Errorf("a device would not try again after %v", errs[1])
	}
	limit(pages + 10)
	set(t, s, "long", long)
	if get(t, s, "long") != long {
		t.Error("it did not heal")
	}
}

func TestABaseThatTurnsReadOnlyIsToldAndHeals(t *testing.T) {
	s := newBase(t)
	for _, c := range []struct {
		on   int
		code string
	}{{1, "read_only"}, {0, ""}} {
		if _, err := s.writer.Exec(fmt.Sprint(`PRAGMA query_only = `, c.on)); err != nil {
			t.Fatal(err)
		}
		err := s.Gather(t.Context(), func(tx *Tx) error { return tx.SetSetting("k", "v") })
		if c.code == "" && err != nil {
			t.Error(err)
		}
		if c.code != "" {
			wantCode(t, err, c.code, "make its disk and folder writable")
		}
	}
}

// A page that is only looked at does not write its session each time, and a
// full disk does not end it.
func TestASessionThatOnlyLivesOnIsSeldomWritten(t *testing.T) {
	s := newBase(t)
	now := time.UnixMilli(1_000_000_000)
	ss := s.Sessions(func() time.Time { return now })
	encode := func(person string) []byte {
		b, err := scs.GobCodec{}.Encode(time.UnixMilli(9_000_000_000), map[string]any{"person": person, "a": "1", "b": "2", "c": "3", "d": "4"})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	data := encode("someone")
	for bytes.Equal(data, encode("someone")) { // the order of the keys is left to chance
	}
	expires := func() (v int64) {
		t.Helper()
		if err := s.Read(t.Context(), func(tx *Tx) (err error) {
			v, _, err = maybe(tx, scalar[int64], `SELECT expires FROM sessions`)
			return err
		}); err != nil {
			t.Fatal(err)
		}
		return v
	}
	commit := func(data []byte) error { return ss.Commit("tok", data, now.Add(time.Hour)) }
	if err := commit(data); err != nil {
		t.Fatal(err)
	}
	first := expires()
	now = now.Add(extendAfter - time.Millisecond)
	for range 20 {
		if err := commit(encode("someone")); err != nil || expires() != first {
			t.Fatalf("written again within ten minutes: %v", err)
		}
	}
	now = now.Add(time.Millisecond)
	if err := commit(data); err != nil || expires() != first+extendAfter.Milliseconds() {
		t.Errorf("not longer after ten minutes: %v", err)
	}
	if _, err := s.writer.Exec(`PRAGMA query_only = 1`); err != nil {
		t.Fatal(err)
	}
	now = now.Add(extendAfter)
	if err := commit(data); err != nil {
		t.Errorf("a look at a page failed because its session could not be made longer: %v", err)
	}
	wantCode(t, commit(encode("someone else")), "read_only")
	if _, err := s.writer.Exec(`PRAGMA query_only = 0`); err != nil {
		t.Fatal(err)
	}
	if err := ss.Commit("tok", data, now.Add(time.Minute)); err != nil || expires() != now.Add(time.Minute).UnixMilli() {
		t.Errorf("a session could not be made shorter: %v", err)
	}
}
