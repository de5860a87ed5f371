//go:build unix

package solver

import (
	"bytes"
	"context"
	"runtime"
	"testing"

	"github.com/tetratelabs/wazero/experimental"

	"rankwright/timetable"
)

// What a module wrote stays when its memory grows, growing beyond what was
// agreed is refused, and fresh memory is nought; with both kinds of memory.
func TestAModulesMemoryGrowsAndKeepsWhatItHolds(t *testing.T) {
	const most = 8 * page
	all, err := reserve(most)
	if err != nil {
		t.Fatal(err)
	}
	defer release(all)
	for name, memory := range map[string]experimental.LinearMemory{"reserved": &reserved{all}, "collected": &collected{}} {
		t.Run(name, func(t *testing.T) {
			b := memory.Reallocate(page)
			copy(b, "marks")
			b = memory.Reallocate(most)
			if len(b) != most || !bytes.HasPrefix(b, []byte("marks")) || bytes.Count(b[5:], []byte{0}) != most-5 {
				t.Errorf("%d bytes, the first are %q", len(b), b[:8])
			}
			if name == "reserved" && memory.Reallocate(most+1) != nil {
				t.Error("a byte more than was agreed was given")
			}
		})
	}
}

// A solve holds what it may and no more, and gives it back at once when it
// ends: not when Go next collects.
func TestASolveGivesItsMemoryBackWhenItEnds(t *testing.T) {
	h := New(Options{Memory: 64 << 20})
	t.Cleanup(func() { _ = h.Close() })
	before := mapped.Load()
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	ended := make(chan error)
	go func() {
		_, err := h.Solve(ctx, hard(t), timetable.Limits{})
		ended <- err
	}()
	most := int64(0)
	for most == 0 {
		select {
		case err := <-ended:
			t.Fatalf("the solve ended before it held memory: %v", err)
		default:
			most = mapped.Load() - before
			runtime.Gosched()
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	if most != 64<<20 {
		t.Errorf("the solve held %d bytes, not the 64 MiB that it may", most)
	}
	if left := mapped.Load() - before; left != 0 {
		t.Errorf("%d bytes are still held after the end", left)
	}
}
