package web

import (
	"context"
	"net/http"
	"strings"
	"sync"
	"time"

	"rankwright/internal/app"
)

// Marks come often, from a few devices, and each of them asks anew who sends
// it. So who is behind a cookie is kept for a minute, for as long as nothing
// else changes: signing out, a device thrown out, a new password or somebody
// kept out starts a new generation of the base, and all is asked anew. Once a
// minute the session is read, and so it is not ended for want of use.

// quickly says whether an address is answered without reading the session:
// that of marks, and that of what a device says of itself.
func quickly(r *http.Request) bool {
	p := r.URL.Path
	return r.Method == http.MethodPost && r.Header.Get("Accept") == "application/json" && strings.HasPrefix(p, "/gradings/") && strings.Count(p, "/") == 3 &&
		(strings.HasSuffix(p, "/marks") || strings.HasSuffix(p, "/device"))
}

const (
	quickLasts = time.Minute
	quickMost  = 1000
)

type quick struct {
	mu sync.RWMutex
	of map[string]quickOne // by the words of the cookie, which stay in memory
}

type quickOne struct {
	who        app.Actor
	generation uint64
	until      time.Time
}

// quickKey carries, in a request's context, what was known before it was
// asked who sends it.
type quickKey struct{}

type quickAsk struct {
	token      string
	generation uint64
	who        *app.Actor
}

// known finds who sends a request, where that is kept.
func (s *Server) known(token string) (who app.Actor, generation uint64, ok bool) {
	generation = s.app.Generation()
	s.quick.mu.RLock()
	one, ok := s.quick.of[token]
	s.quick.mu.RUnlock()
	now := s.app.Now()
	return one.who, generation, ok && one.generation == generation && now.Before(one.until) && !now.Before(one.until.Add(-quickLasts))
}

// keep keeps who sends a request that was found out the long way.
func (s *Server) keep(ask *quickAsk, who app.Actor) {
	if !who.Role.May(app.GiveMarks) { // both addresses are for those who do
		return
	}
	s.quick.mu.Lock()
	defer s.quick.mu.Unlock()
	if len(s.quick.of) >= quickMost {
		clear(s.quick.of)
	}
	s.quick.of[ask.token] = quickOne{who, ask.generation, s.app.Now().Add(quickLasts)}
}

// shortcut answers what devices send often without reading the session, where
// it is known whose it is. All else goes the long way.
func (s *Server) shortcut(short, long http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !quickly(r) {
			long.ServeHTTP(w, r)
			return
		}
		cookie, err := r.Cookie(s.sessions.Cookie.Name)
		if err != nil {
			long.ServeHTTP(w, r)
			return
		}
		to, ask := long, &quickAsk{token: cookie.Value}
		who, generation, ok := s.known(ask.token)
		if ask.generation = generation; ok {
			ask.who, to = &who, short
		}
		to.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), quickKey{}, ask)))
	})
}
