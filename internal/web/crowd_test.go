package web

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"
)

// Those who look fill the room and the queue; a mark goes past all of them.
func TestThoseWhoLookWaitAndThoseWhoMarkDoNot(t *testing.T) {
	c := &crowd{room: make(chan struct{}, 2), most: 3, patient: time.Hour}
	end, inside := make(chan struct{}), make(chan struct{}, 10)
	h := c.behind(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet && r.Header.Get("Accept") != "text/event-stream" {
			inside <- struct{}{}
			<-end
		}
	}))
	ask := func(method, accept string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, "/", nil)
		r.Header.Set("Accept", accept)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	var wg sync.WaitGroup
	for range 5 {
		wg.Go(func() {
			if w := ask(http.MethodGet, "text/html"); w.Code != http.StatusOK {
				t.Errorf("one who waited in turn was answered %d", w.Code)
			}
		})
	}
	<-inside
	<-inside
	for c.waiting.Load() < c.most {
		time.Sleep(time.Millisecond)
	}
	for accept, want := range map[string]string{"text/html": "Wait a moment, then load the page again", "application/json": `{"say":"Too many people are looking at once."`} {
		if w := ask(http.MethodGet, accept); w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), want) {
			t.Errorf("one too many is answered %d %q", w.Code, w.Body)
		}
	}
	if w := ask(http.MethodPost, "application/json"); w.Code != http.StatusOK {
		t.Errorf("a mark is answered %d", w.Code)
	}
	if w := ask(http.MethodGet, "text/event-stream"); w.Code != http.StatusOK {
		t.Errorf("the live board is answered %d", w.Code)
	}
	close(end)
	wg.Wait()
	if len(inside) != 3 || c.waiting.Load() != 0 || len(c.room) != 0 {
		t.Errorf("%d more got in, %d wait and %d are inside", len(inside), c.waiting.Load(), len(c.room))
	}
}

// An answer goes out after its place is free, so that a slow line holds up
// nobody else.
func TestASlowLineHoldsNobodyUp(t *testing.T) {
	c := &crowd{room: make(chan struct{}, 1), most: 0, patient: time.Hour}
	h := c.behind(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("X-Kept", "yes")
		w.WriteHeader(http.StatusTeapot)
		_, _ = w.Write([]byte("a page"))
	}))
	slow := &slowLine{ResponseRecorder: httptest.NewRecorder(), then: func() {
		w := httptest.NewRecorder()
		if h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/", nil)); w.Code != http.StatusTeapot {
			t.Errorf("the next one is answered %d", w.Code)
		}
	}}
	h.ServeHTTP(slow, httptest.NewRequest(http.MethodGet, "/", nil))
	if slow.Code != http.StatusTeapot || slow.Body.String() != "a page" || slow.Header().Get("X-Kept") != "yes" {
		t.Errorf("the answer is %d %q %v", slow.Code, slow.Body, slow.Header())
	}
}

// slowLine lets something happen before it takes the answer.
type slowLine struct {
	*httptest.ResponseRecorder
	then func()
}

func (s *slowLine) Write(b []byte) (int, error) {
	s.then()
	return s.ResponseRecorder.Write(b)
}

func TestOneWhoWaitsTooLongIsToldSo(t *testing.T) {
	c := &crowd{room: make(chan struct{}, 1), most: 3, patient: time.Millisecond}
	c.room <- struct{}{}
	w := httptest.NewRecorder()
	c.behind(http.NotFoundHandler()).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/", nil))
	if w.Code != http.StatusServiceUnavailable {
		t.Errorf("answered %d", w.Code)
	}
}
