package solver

import (
	"context"
	"sync/atomic"

	"github.com/tetratelabs/wazero/experimental"
)

// mapped is what all modules have of the machine's addresses, in bytes.
var mapped atomic.Int64

// withMemory lets a module that is made with this context have its memory of
// the machine itself. Go's own would be copied whenever it grows, and the old
// ones would lie about until they are collected: one solve could hold several
// times what it may.
func withMemory(ctx context.Context) context.Context {
	return experimental.WithMemoryAllocator(ctx, experimental.MemoryAllocatorFunc(func(_, most uint64) experimental.LinearMemory {
		all, err := reserve(most)
		if err != nil {
			return &collected{} // where addresses are scarce, Go's own is slower and does
		}
		mapped.Add(int64(len(all)))
		return &reserved{all}
	}))
}

// reserved is a range of addresses for the most that a module may take; the
// machine gives what is touched of it, full of noughts.
type reserved struct{ all []byte }

// Reallocate implements experimental.LinearMemory; nil refuses.
func (r *reserved) Reallocate(size uint64) []byte {
	if size > uint64(len(r.all)) {
		return nil
	}
	return r.all[:size:size]
}

// Free implements experimental.LinearMemory.
func (r *reserved) Free() {
	mapped.Add(-int64(len(r.all)))
	release(r.all)
	r.all = nil
}

// collected is memory of Go's, for where there is no other.
type collected struct{ have []byte }

// Reallocate implements experimental.LinearMemory.
func (g *collected) Reallocate(size uint64) []byte {
	if size > uint64(cap(g.have)) {
		more := make([]byte, size)
		copy(more, g.have)
		g.have = more
	}
	g.have = g.have[:size]
	return g.have
}

// Free implements experimental.LinearMemory.
func (g *collected) Free() { g.have = nil }
