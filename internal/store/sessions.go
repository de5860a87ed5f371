package store

import (
	"context"
	"time"

	"github.com/alexedwards/scs/v2"
)

// Sessions keeps signed-in sessions for scs. Set HashTokenInStore in its
// manager: then only hashes of the tokens come here.
type Sessions struct {
	store *Store
	now   func() time.Time
}

var _ scs.CtxStore = Sessions{}

// Sessions returns the sessions of the base by the clock given.
func (s *Store) Sessions(now func() time.Time) Sessions { return Sessions{s, now} }

// FindCtx returns the data of a session that has not expired.
func (s Sessions) FindCtx(ctx context.Context, token string) (data []byte, found bool, err error) {
	if !storable(token) { // a made-up cookie
		return nil, false, nil
	}
	err = s.store.Read(ctx, func(t *Tx) error {
		data, found, err = maybe(t, scalar[[]byte], `SELECT data FROM sessions WHERE token = $1 AND expires > $2`, token, At(s.now()))
		return err
	})
	return data, found, err
}

// CommitCtx writes a session.
func (s Sessions) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	return s.store.Write(ctx, func(t *Tx) error {
		_, err := t.exec(`INSERT INTO sessions (token, data, expires) VALUES ($1, $2, $3)
			ON CONFLICT (token) DO UPDATE SET data = excluded.data, expires = excluded.expires`, token, data, At(expiry))
		return err
	})
}

// DeleteCtx ends a session.
func (s Sessions) DeleteCtx(ctx context.Context, token string) error {
	if !storable(token) {
		return nil
	}
	return s.store.Write(ctx, func(t *Tx) error {
		_, err := t.exec(`DELETE FROM sessions WHERE token = $1`, token)
		return err
	})
}

// DeleteExpired removes the sessions that have expired.
func (s Sessions) DeleteExpired(ctx context.Context) error {
	return s.store.Write(ctx, func(t *Tx) error {
		_, err := t.exec(`DELETE FROM sessions WHERE expires <= $1`, At(s.now()))
		return err
	})
}

// Find is FindCtx without a context.
func (s Sessions) Find(token string) ([]byte, bool, error) {
	return s.FindCtx(context.Background(), token)
}

// Commit is CommitCtx without a context.
func (s Sessions) Commit(token string, data []byte, expiry time.Time) error {
	return s.CommitCtx(context.Background(), token, data, expiry)
}

// Delete is DeleteCtx without a context.
func (s Sessions) Delete(token string) error {
	return s.DeleteCtx(context.Background(), token)
}
