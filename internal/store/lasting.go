package store

// What a mark is held against changes seldom, and marks come often. So it is
// kept from one gathered transaction to the next, for as long as nothing but
// gathered writes were made: writers take turns, and each Write that commits
// starts a new generation before the next has its turn. A program beside this
// one is noticed at the beginning of each transaction, by SQLite's own count
// of what other connections commit (PRAGMA data_version); where a database has
// no such count, each transaction is a generation.

// Generation rises with every change but those that were gathered, and with
// every change by another program as soon as something is written here. What
// was read after asking for it holds while it stays.
func (s *Store) Generation() uint64 { return s.generation.Load() }

// Lasting is Once, and keeps what was loaded for the gathered transactions
// that follow, until something else is written. It is for what gathered writes
// do not change; nobody may change what it returns.
func Lasting[T any](t *Tx, name string, load func() (T, error)) (T, error) {
	if !t.gathered {
		return Once(t, name, load)
	}
	if now := t.s.generation.Load(); t.s.lastingOf != now || t.s.lasting == nil {
		t.s.lasting, t.s.lastingOf = map[string]any{}, now
	}
	if v, ok := t.s.lasting[name].(T); ok {
		return v, nil
	}
	v, err := load()
	if err == nil && t.broken == nil {
		t.s.lasting[name] = v
	}
	return v, err
}

// begun looks, in a transaction that will write, whether others have written.
func (t *Tx) begun() error {
	if t.d.others == "" {
		t.s.generation.Add(1)
		return nil
	}
	n, _, err := maybe(t, scalar[int64], t.d.others)
	if err == nil && n != t.s.seen {
		t.s.seen = n
		t.s.generation.Add(1)
	}
	return err
}
