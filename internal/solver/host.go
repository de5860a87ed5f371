package solver

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
)

// state is what the host keeps for one solve.
type state struct {
	readings int64 // how often the module has asked for the time
	limit    int64 // after so many the clock jumps; 0 is never
	pages    uint32
	full     bool            // memory was refused
	caller   context.Context // whose word to stop counts
	stopped  bool
}

type stateKey struct{}

const (
	// tick is how far the module's clock moves at each reading. Measured on an
	// idle machine a reading comes about every 20 to 60 microseconds of work;
	// HiGHS weighs some of its choices by elapsed time, so the step is near.
	tick = 40e-6
	jump = 1e9 // seconds: beyond every limit of time
)

// now is the module's clock in seconds: it counts its readings, and jumps when
// work or the caller's patience is used up.
func (s *state) now() float64 {
	s.readings++
	if !s.stopped && ((s.limit > 0 && s.readings >= s.limit) || s.caller.Err() != nil) {
		s.stopped = true
	}
	t := float64(s.readings) * tick
	if s.stopped {
		t += jump
	}
	return t
}

// errTrap ends an instance that threw, aborted or left.
var errTrap = errors.New("the module gave up")

// host gives the module the twenty functions that it imports. There are no
// files, no environment and no real clock behind them.
func host(ctx context.Context, r wazero.Runtime, m wazero.CompiledModule) error {
	const badFile, noFile = 8, -44 // errno of WASI; -ENOENT
	answer := func(v int32) func(*state, api.Module, []uint64) {
		return func(_ *state, _ api.Module, stack []uint64) { stack[0] = api.EncodeI32(v) }
	}
	trap := func(*state, api.Module, []uint64) { panic(errTrap) }
	functions := map[string]func(*state, api.Module, []uint64){
		"a": trap, // __cxa_throw: nothing in the module catches
		"b": trap, // exit
		"k": trap, // abort
		"r": trap, // proc_exit
		"c": func(s *state, _ api.Module, stack []uint64) { // emscripten_get_now, milliseconds
			stack[0] = api.EncodeF64(s.now() * 1e3)
		},
		"j": func(s *state, _ api.Module, stack []uint64) { // date_now, milliseconds
			stack[0] = api.EncodeF64(s.now() * 1e3)
		},
		"p": func(s *state, m api.Module, stack []uint64) { // clock_time_get, nanoseconds
			if !m.Memory().WriteUint64Le(uint32(stack[2]), uint64(s.now()*1e9)) {
				panic(errTrap)
			}
			stack[0] = 0
		},
		"d": answer(badFile),                       // fd_close
		"e": answer(noFile),                        // fcntl64
		"g": answer(badFile),                       // fd_read
		"h": answer(noFile),                        // ioctl
		"i": answer(noFile),                        // openat
		"t": answer(badFile),                       // fd_seek
		"l": answer(0),                             // setitimer
		"m": func(*state, api.Module, []uint64) {}, // tzset
		"s": func(*state, api.Module, []uint64) {}, // runtime_keepalive_clear
		"n": answer(0),                             // environ_get
		"o": func(_ *state, m api.Module, stack []uint64) { // environ_sizes_get: none
			if !m.Memory().WriteUint32Le(uint32(stack[0]), 0) || !m.Memory().WriteUint32Le(uint32(stack[1]), 0) {
				panic(errTrap)
			}
			stack[0] = 0
		},
		"f": func(_ *state, m api.Module, stack []uint64) { // fd_write: swallowed
			vectors, count, written := uint32(stack[1]), uint32(stack[2]), uint32(stack[3])
			var sum uint32
			for i := range min(count, 1024) {
				n, ok := m.Memory().ReadUint32Le(vectors + 8*i + 4)
				if !ok {
					panic(errTrap)
				}
				sum += n
			}
			if !m.Memory().WriteUint32Le(written, sum) {
				panic(errTrap)
			}
			stack[0] = 0
		},
		"q": func(s *state, m api.Module, stack []uint64) { // resize_heap
			stack[0] = api.EncodeI32(s.grow(m.Memory(), uint32(stack[0])))
		},
	}
	b := r.NewHostModuleBuilder("a")
	for _, def := range m.ImportedFunctions() {
		module, name, _ := def.Import()
		f, ok := functions[name]
		if !ok || module != "a" {
			return fmt.Errorf("the module asks for %s.%s, which this host does not have", module, name)
		}
		b = b.NewFunctionBuilder().WithGoModuleFunction(api.GoModuleFunc(func(ctx context.Context, m api.Module, stack []uint64) {
			s, ok := ctx.Value(stateKey{}).(*state)
			if !ok {
				panic(errTrap)
			}
			f(s, m, stack)
		}), def.ParamTypes(), def.ResultTypes()).Export(name)
	}
	_, err := b.Instantiate(ctx)
	return err
}

// grow gives the module so many bytes, and twice what it has where there is
// room: each growth copies all of it and leaves the old to the garbage.
func (s *state) grow(memory api.Memory, want uint32) int32 {
	have, _ := memory.Grow(0)
	need := uint32((uint64(want) + page - 1) / page)
	if need <= have {
		return 1
	}
	if need > s.pages {
		s.full = true
		return 0
	}
	if _, ok := memory.Grow(min(max(need, 2*have), s.pages) - have); ok {
		return 1
	}
	s.full = true
	return 0
}

// The module's memory, written and read in whole arrays.

func (x *instance) malloc(size int) uint32 {
	at := uint32(x.call(fnMalloc, uint64(max(size, 8))))
	if at == 0 && x.fail == nil {
		x.state.full = true
		x.fail = errTrap
	}
	return at
}

func (x *instance) bytes(at uint32, size int) []byte {
	if x.fail != nil {
		return nil
	}
	b, ok := x.memory.Read(at, uint32(size))
	if !ok {
		x.fail = errTrap
	}
	return b
}

func (x *instance) floats(values []float64) uint32 {
	at := x.malloc(8 * len(values))
	b := x.bytes(at, 8*len(values))
	if x.fail == nil {
		for i, v := range values {
			putUint64(b[8*i:], math.Float64bits(v))
		}
	}
	return at
}

func (x *instance) ints(values []int32) uint32 {
	at := x.malloc(4 * len(values))
	b := x.bytes(at, 4*len(values))
	if x.fail == nil {
		for i, v := range values {
			putUint32(b[4*i:], uint32(v))
		}
	}
	return at
}

func (x *instance) text(s string) uint32 {
	at := x.malloc(len(s) + 1)
	if b := x.bytes(at, len(s)+1); x.fail == nil {
		copy(b, s)
		b[len(s)] = 0
	}
	return at
}

func (x *instance) readFloats(at uint32, n int) []float64 {
	b := x.bytes(at, 8*n)
	if x.fail != nil {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Float64frombits(getUint64(b[8*i:]))
	}
	return out
}
