// Package solver solves mathematical programmes: HiGHS, compiled to
// WebAssembly, inside the pure-Go runtime wazero. It needs no C compiler, no
// process and no file of the machine.
//
// The host owns the clock of the solver. A solve under a limit of work ends at
// the same place on a busy and on an idle machine, and a solve whose context is
// done ends with the best solution so far and its bound.
//
// HiGHS: Q. Huangfu and J. A. J. Hall, "Parallelizing the dual revised simplex
// method", Mathematical Programming Computation 10 (2018) 119-142, and
// https://highs.dev. Where the module comes from stands in PROVENANCE.md.
package solver

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"

	"rankwright"
)

// packed is the module, compressed with gzip.
//
//go:embed highs.wasm.gz
var packed []byte

// wasmHash is the SHA-256 of the module as it stands in the npm package.
const wasmHash = "528be4365bea1d4188988646b244263f50320df55782e14d6af5bce7cd45c840"

// Version is the version of HiGHS in the module.
const Version = "1.15.1"

const (
	page         = 65536
	defaultPages = 8192  // 512 MiB
	mostPages    = 32768 // 2 GiB, what the module was built for
)

// Options of a Solver. The zero value is in order.
type Options struct {
	// Folder is where the module's machine code is kept between runs, about
	// 20 MB, so that the next start takes a tenth of a second in place of two.
	// It must be the user's own, for what stands in it is run. "" keeps nothing.
	Folder string
	// Memory is the most bytes that one solve may take; 0 is 512 MiB.
	Memory int64
}

// HiGHS is a timetable.Solver. It may be used from several goroutines at once.
type HiGHS struct {
	options Options
	pages   uint32

	mu       sync.Mutex
	runtime  wazero.Runtime
	compiled wazero.CompiledModule
	closed   bool
}

// New makes a solver. The module is compiled at the first solve, or by Prepare.
func New(o Options) *HiGHS {
	h := &HiGHS{options: o, pages: defaultPages}
	if o.Memory > 0 {
		h.pages = uint32(min(max(o.Memory/page, 512), mostPages))
	}
	return h
}

// Fast says whether this platform runs the module as machine code. Elsewhere
// wazero interprets it, and a solve takes some sixty times as long: callers
// should then rely on the local search, which needs no module, and say so.
func Fast() bool {
	switch runtime.GOOS {
	case "linux", "darwin", "freebsd", "netbsd", "windows":
		return runtime.GOARCH == "amd64" || runtime.GOARCH == "arm64"
	case "dragonfly", "solaris", "illumos":
		return runtime.GOARCH == "amd64"
	}
	return false
}

// Prepare compiles the module, or loads it from the folder. A folder that
// cannot be used, or whose content is broken, costs time and nothing else.
func (h *HiGHS) Prepare(ctx context.Context) error {
	_, _, err := h.ready(ctx)
	return err
}

func (h *HiGHS) ready(ctx context.Context) (wazero.Runtime, wazero.CompiledModule, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return nil, nil, rankwright.Faultf(rankwright.Internal, "solver_closed", "", "the solver was closed")
	}
	if h.compiled != nil {
		return h.runtime, h.compiled, nil
	}
	wasm, err := unpack(packed)
	if err != nil {
		return nil, nil, err
	}
	for _, folder := range attempts(h.options.Folder) {
		if h.runtime, h.compiled, err = open(ctx, wasm, folder, h.pages); err == nil {
			return h.runtime, h.compiled, nil
		}
		if ctx.Err() != nil {
			break
		}
		if folder != "" {
			// Half a file after a full disk, or code of another make: once more
			// from nothing, and then without the folder.
			_ = os.RemoveAll(folder)
		}
	}
	return nil, nil, &rankwright.Fault{Kind: rankwright.Unavailable, Code: "solver_start",
		Say: "the solver could not be started", Do: "try again; the local search works without it", Err: err}
}

// attempts lists the folders to try, one after the other.
func attempts(folder string) []string {
	if folder == "" || !Fast() {
		return []string{""}
	}
	folder = filepath.Join(folder, "highs-"+wasmHash[:12])
	if os.MkdirAll(folder, 0o700) != nil || !private(folder) {
		return []string{""}
	}
	return []string{folder, folder, ""}
}

// private says whether nobody else may write into a folder: what stands in it
// is run as machine code.
func private(folder string) bool {
	info, err := os.Lstat(folder)
	return err == nil && info.IsDir() && (runtime.GOOS == "windows" || info.Mode().Perm()&0o022 == 0)
}

func open(ctx context.Context, wasm []byte, folder string, pages uint32) (r wazero.Runtime, m wazero.CompiledModule, err error) {
	defer func() {
		if p := recover(); p != nil {
			r, m, err = nil, nil, errors.New("the runtime broke off while it read the module")
		}
	}()
	config := wazero.NewRuntimeConfig().WithMemoryLimitPages(pages)
	if folder != "" {
		cache, err := wazero.NewCompilationCacheWithDir(folder)
		if err != nil {
			return nil, nil, err
		}
		config = config.WithCompilationCache(cache)
	}
	r = wazero.NewRuntimeWithConfig(ctx, config)
	workers := min(runtime.GOMAXPROCS(0), 4)
	if m, err = r.CompileModule(experimental.WithCompilationWorkers(ctx, workers), wasm); err == nil {
		err = host(ctx, r, m)
	}
	if err != nil {
		_ = r.Close(context.WithoutCancel(ctx))
		return nil, nil, err
	}
	return r, m, nil
}

// unpack gives the module, if it is the one that was checked in.
func unpack(packed []byte) ([]byte, error) {
	fault := func(err error) error {
		return &rankwright.Fault{Kind: rankwright.Internal, Code: "solver_module",
			Say: "the solver's module is not the one that belongs to this program", Do: "install the program again", Err: err}
	}
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fault(err)
	}
	wasm, err := io.ReadAll(io.LimitReader(z, 16<<20))
	if err != nil {
		return nil, fault(err)
	}
	if sum := sha256.Sum256(wasm); hex.EncodeToString(sum[:]) != wasmHash {
		return nil, fault(errors.New("SHA-256 is " + hex.EncodeToString(sum[:])))
	}
	return wasm, nil
}

// Close gives back the machine code. Solves under way end with a fault.
func (h *HiGHS) Close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	if h.runtime == nil {
		return nil
	}
	err := h.runtime.Close(context.Background())
	h.runtime, h.compiled = nil, nil
	return err
}

// Names of what the module exports. The build shortens them, and they change
// with each release of the npm package: they were read from its highs.js.
const (
	fnStart       = "v" // constructors, once an instance
	fnMalloc      = "uc"
	fnCreate      = "F"
	fnPassLP      = "U"
	fnPassMIP     = "V"
	fnSetSolution = "Va"
	fnRun         = "N"
	fnModelStatus = "Ga"
	fnGetSolution = "Ea"
	fnIntInfo     = "Aa"
	fnDoubleInfo  = "Ba"
	fnBoolOption  = "ia"
	fnIntOption   = "ja"
	fnRealOption  = "ka"
	fnTextOption  = "la"
	fnVersion     = "H"
	memoryName    = "u"
)

// instance is one life of the module: one solve.
type instance struct {
	ctx    context.Context
	module api.Module
	memory api.Memory
	state  *state
	fail   error
}

// call calls an export; after a failure it does nothing more.
func (x *instance) call(name string, args ...uint64) uint64 {
	if x.fail != nil {
		return 0
	}
	f := x.module.ExportedFunction(name)
	if f == nil {
		x.fail = errors.New("the module has no export " + name)
		return 0
	}
	out, err := f.Call(x.ctx, args...)
	if err != nil {
		x.fail = err
		return 0
	}
	if len(out) == 0 {
		return 0
	}
	return out[0]
}
