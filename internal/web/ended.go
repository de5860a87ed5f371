package web

import (
	"context"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
)

// endedStore keeps a session that was ended from coming back: a request that
// was under way meanwhile writes its session at its end, and would write it
// anew. No request takes longer than endedFor.
type endedStore struct {
	scs.Store
	now func() time.Time
	mu  sync.Mutex
	at  map[string]time.Time // by token, when it was ended
}

const endedFor = 5 * time.Minute

func newEndedStore(s scs.Store, now func() time.Time) *endedStore {
	return &endedStore{Store: s, now: now, at: map[string]time.Time{}}
}

// end remembers a token, and forgets those that were ended long ago.
func (s *endedStore) end(token string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.now()
	for t, at := range s.at {
		if now.Sub(at) > endedFor {
			delete(s.at, t)
		}
	}
	s.at[token] = now
}

func (s *endedStore) ended(token string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, ok := s.at[token]
	return ok
}

// DeleteCtx implements scs.CtxStore.
func (s *endedStore) DeleteCtx(ctx context.Context, token string) error {
	s.end(token) // before, so that nothing is written in between
	if c, ok := s.Store.(scs.CtxStore); ok {
		return c.DeleteCtx(ctx, token)
	}
	return s.Store.Delete(token)
}

// FindCtx implements scs.CtxStore.
func (s *endedStore) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	if s.ended(token) { // also what was written in the moment in which it ended
		return nil, false, nil
	}
	if c, ok := s.Store.(scs.CtxStore); ok {
		return c.FindCtx(ctx, token)
	}
	return s.Store.Find(token)
}

// CommitCtx implements scs.CtxStore.
func (s *endedStore) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	if s.ended(token) {
		return nil
	}
	if c, ok := s.Store.(scs.CtxStore); ok {
		return c.CommitCtx(ctx, token, data, expiry)
	}
	return s.Store.Commit(token, data, expiry)
}
