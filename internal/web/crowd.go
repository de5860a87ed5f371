package web

import (
	"bytes"
	"fmt"
	"net/http"
	"runtime"
	"strings"
	"sync/atomic"
	"time"
)

// crowd lets only a few be answered at once of those who look, so that those
// who mark do not wait behind them. Who looks waits in turn, for a while and
// behind not too many others; what changes something is never held up.
type crowd struct {
	room    chan struct{}
	most    int64 // how many may wait
	patient time.Duration
	waiting atomic.Int64
}

func newCrowd() *crowd {
	return &crowd{room: make(chan struct{}, max(2, runtime.GOMAXPROCS(0))), most: 200, patient: 10 * time.Second}
}

// looks says whether a request only looks. A stream of events stays open, and
// is counted where it begins; a clip goes from the disk as it is taken, and is
// not kept whole in memory before.
func looks(r *http.Request) bool {
	return (r.Method == http.MethodGet || r.Method == http.MethodHead) && !strings.Contains(r.Header.Get("Accept"), "text/event-stream") && !clipPath(r.URL.Path)
}

func (c *crowd) behind(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !looks(r) {
			h.ServeHTTP(w, r)
			return
		}
		if !c.enter(r) {
			w.Header().Set("Retry-After", "5")
			w.Header().Set("Cache-Control", "no-store")
			say, next := "Too many people are looking at once.", "Wait a moment, then load the page again. Marks are taken all the same."
			if strings.HasPrefix(r.Header.Get("Accept"), "application/json") {
				w.Header().Set("Content-Type", "application/json")
				w.WriteHeader(http.StatusServiceUnavailable)
				fmt.Fprintf(w, "{%q:%q,%q:%q}", "say", say, "do", next)
				return
			}
			http.Error(w, say+" "+next, http.StatusServiceUnavailable)
			return
		}
		held := &heldBack{ResponseWriter: w, status: http.StatusOK}
		func() {
			defer func() { <-c.room }()
			h.ServeHTTP(held, r)
		}()
		w.WriteHeader(held.status)
		_, _ = w.Write(held.body.Bytes()) // who is gone needs no answer
	})
}

// heldBack keeps an answer until it is whole: somebody on a slow line takes it
// after leaving the room to the next.
type heldBack struct {
	http.ResponseWriter
	status  int
	started bool
	body    bytes.Buffer
}

// WriteHeader implements http.ResponseWriter.
func (h *heldBack) WriteHeader(status int) {
	if !h.started {
		h.status, h.started = status, true
	}
}

// Write implements http.ResponseWriter.
func (h *heldBack) Write(b []byte) (int, error) {
	h.started = true
	return h.body.Write(b)
}

// enter waits for a place in the room, in the order of coming.
func (c *crowd) enter(r *http.Request) bool {
	select {
	case c.room <- struct{}{}:
		return true
	default:
	}
	defer c.waiting.Add(-1)
	if c.waiting.Add(1) > c.most {
		return false
	}
	late := time.NewTimer(c.patient)
	defer late.Stop()
	select {
	case c.room <- struct{}{}:
		return true
	case <-late.C:
	case <-r.Context().Done():
	}
	return false
}
