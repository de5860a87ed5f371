package store

import (
	"bytes"
	"context"
	"reflect"
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
	err = s.store.Peek(ctx, func(t *Tx) error {
		data, found, err = maybe(t, scalar[[]byte], `SELECT data FROM sessions WHERE token = $1 AND expires > $2`, token, At(s.now()))
		return err
	})
	return data, found, err
}

// CommitCtx writes a session. One whose expiry alone moves is written at most
// once in ten minutes, and where that fails it keeps the expiry that it has:
// reading pages must not wait for the disk, nor end when the disk is full.
func (s Sessions) CommitCtx(ctx context.Context, token string, data []byte, expiry time.Time) error {
	until, same, err := s.kept(ctx, token, data)
	if err != nil {
		return err
	}
	longer := At(expiry) - until
	if same && 0 <= longer && longer < Moment(extendAfter.Milliseconds()) {
		return nil
	}
	err = s.put(ctx, token, data, expiry)
	if same && longer > 0 {
		return nil
	}
	return err
}

const extendAfter = 10 * time.Minute

// kept says whether a session stands with these data, and until when.
func (s Sessions) kept(ctx context.Context, token string, data []byte) (until Moment, same bool, err error) {
	type session struct {
		data    []byte
		expires Moment
	}
	err = s.store.Peek(ctx, func(t *Tx) error {
		old, found, err := maybe(t, func(r row) (x session, err error) {
			err = r.Scan(&x.data, &x.expires)
			return x, err
		}, `SELECT data, expires FROM sessions WHERE token = $1 AND expires > $2`, token, At(s.now()))
		until, same = old.expires, found && alike(old.data, data)
		return err
	})
	return until, same, err
}

// alike compares the data of two sessions: what is in them, since the order in
// which gob writes a map is left to chance.
func alike(a, b []byte) bool {
	if bytes.Equal(a, b) {
		return true
	}
	var codec scs.GobCodec
	until, x, err := codec.Decode(a)
	if err != nil {
		return false
	}
	again, y, err := codec.Decode(b)
	return err == nil && until.Equal(again) && reflect.DeepEqual(x, y)
}

func (s Sessions) put(ctx context.Context, token string, data []byte, expiry time.Time) error {
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
