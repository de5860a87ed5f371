package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"rankwright"
)

// readLimit ends a reading transaction: one left open keeps the write-ahead
// log from being folded into the base, and the log grows without end.
const readLimit = 20 * time.Second

// Tx is a transaction. It is good inside the function that it was given to,
// and for one goroutine.
type Tx struct {
	ctx    context.Context
	tx     *sql.Tx
	d      *dialect
	s      *Store
	broken error // the first statement that failed
	// gathered says that other writes share the transaction: see Gather
	gathered bool
	known    map[string]any // what Once has looked up
}

// Read runs fn on one unchanging view of the base. It may take twenty seconds.
// Only a few readings run at once; the others wait in turn.
func (s *Store) Read(ctx context.Context, fn func(*Tx) error) error {
	return s.read(ctx, s.readers, s.reading, fn)
}

// Peek is Read for the few rows with which every request begins, such as who
// is asking: it does not wait behind the readings of whole gradings, and so a
// mark on its way to the log does not either.
func (s *Store) Peek(ctx context.Context, fn func(*Tx) error) error {
	return s.read(ctx, s.peekers, s.peeking, fn)
}

func (s *Store) read(ctx context.Context, from *sql.DB, room chan struct{}, fn func(*Tx) error) error {
	ctx, cancel := context.WithTimeout(ctx, readLimit)
	defer cancel()
	if err := enter(ctx, room); err != nil {
		return err
	}
	defer leave(room)
	return s.run(ctx, from, &sql.TxOptions{ReadOnly: true, Isolation: s.d.readLevel}, fn)
}

// enter waits for a place in the room: those who wait get in in the order in
// which they came, which a pool of connections does not promise.
func enter(ctx context.Context, room chan struct{}) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case room <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func leave(room chan struct{}) { <-room }

// Write runs fn alone, no other writer beside it, and commits what it did when
// fn returns nil. All of it is rolled back where fn returns an error or
// panics, and also where fn swallows the error of a statement that failed.
// What is committed is on the disk. Do not call Write within fn: it would wait
// for itself. Writers take turns in the order in which they came.
func (s *Store) Write(ctx context.Context, fn func(*Tx) error) error {
	if err := enter(ctx, s.turn); err != nil {
		return err
	}
	defer leave(s.turn)
	return s.write(ctx, false, fn)
}

// write is Write for whoever has the turn.
func (s *Store) write(ctx context.Context, gathered bool, fn func(*Tx) error) error {
	if s.failed.Load() {
		return rankwright.Faultf(rankwright.Unavailable, "disk_failed", "stop the program, check the disk, and start it again; marks stay on the devices until then",
			"nothing is written any more since the disk refused to keep what was written")
	}
	err := s.run(ctx, s.writer, nil, func(t *Tx) error {
		if s.d.alone != "" {
			if _, err := t.exec(s.d.alone); err != nil {
				return err
			}
		}
		if t.gathered = gathered; gathered {
			if err := t.begun(); err != nil {
				return err
			}
		}
		return fn(t)
	})
	if !gathered {
		s.generation.Add(1) // also where it failed: nobody knows how far it came
	}
	if s.d.class(err) == disk {
		// After a failed fsync the pages count as written though they are not
		// (Rebello et al., USENIX ATC 2020): nothing more may be promised.
		s.failed.Store(true)
	}
	return err
}

func (s *Store) run(ctx context.Context, db *sql.DB, opts *sql.TxOptions, fn func(*Tx) error) error {
	tx, err := db.BeginTx(ctx, opts)
	if err != nil {
		return s.d.fault(err)
	}
	defer tx.Rollback() // after a commit it does nothing
	t := &Tx{ctx: ctx, tx: tx, d: s.d, s: s}
	if err := fn(t); err != nil {
		return err
	}
	if t.broken != nil {
		return t.broken
	}
	return s.d.fault(tx.Commit())
}

// exec runs a statement and returns the number of rows that it touched.
//
// After one that failed none is run any more: SQLite may have undone the
// transaction by itself, and what is written then would stand at once
// (sqlite.org/lang_transaction.html, "Response To Errors Within A Transaction").
func (t *Tx) exec(query string, args ...any) (int64, error) {
	if t.broken != nil {
		return 0, t.broken
	}
	args, err := bind(args)
	if err != nil {
		return 0, t.fail(err)
	}
	res, err := t.tx.ExecContext(t.ctx, query, args...)
	if err != nil {
		return 0, t.fail(err)
	}
	n, err := res.RowsAffected()
	return n, t.fail(err)
}

// Once returns what load returned when it was first asked for by this name in
// the transaction. Writes that are gathered share a transaction, and so what
// one of them has looked up; none of them may change it.
func Once[T any](t *Tx, name string, load func() (T, error)) (T, error) {
	if v, ok := t.known[name].(T); ok {
		return v, nil
	}
	v, err := load()
	if err != nil {
		return v, err
	}
	if t.known == nil {
		t.known = map[string]any{}
	}
	t.known[name] = v
	return v, nil
}

func (t *Tx) fail(err error) error {
	if err = t.d.fault(err); err != nil && t.broken == nil {
		t.broken = err
	}
	return err
}

// row is what a record is read from.
type row interface{ Scan(...any) error }

// list reads all rows of a query.
func list[T any](t *Tx, read func(row) (T, error), query string, args ...any) ([]T, error) {
	args, err := bind(args)
	if err != nil {
		return nil, err
	}
	rows, err := t.tx.QueryContext(t.ctx, query, args...)
	if err != nil {
		return nil, t.fail(err)
	}
	out, err := each(rows, read)
	return out, t.fail(err)
}

// one reads the first row of a query, and says missing where there is none.
func one[T any](t *Tx, missing *rankwright.Fault, read func(row) (T, error), query string, args ...any) (T, error) {
	v, ok, err := maybe(t, read, query, args...)
	if err == nil && !ok {
		err = missing
	}
	return v, err
}

// maybe reads the first row of a query and says whether there is one.
func maybe[T any](t *Tx, read func(row) (T, error), query string, args ...any) (T, bool, error) {
	out, err := list(t, read, query, args...)
	if err != nil || len(out) == 0 {
		return *new(T), false, err
	}
	return out[0], true, nil
}

// each reads rows to their end. It is the only place where rows are read.
func each[T any](rows *sql.Rows, read func(row) (T, error)) ([]T, error) {
	defer rows.Close()
	var out []T
	for rows.Next() {
		v, err := read(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// scalar reads the one column of a row.
func scalar[T any](r row) (v T, err error) {
	err = r.Scan(&v)
	return v, err
}

// missing says that something asked for is not there.
func missing[ID ~string](what string, id ID) *rankwright.Fault {
	return rankwright.Faultf(rankwright.NotFound, "not_found", "go back and choose from the list", "there is no %s %q", what, string(id))
}

// bind writes arguments as both databases keep them: days as text, yes and no
// as 1 and 0. SQLite would take text with a NUL or broken UTF-8, PostgreSQL
// would not, so neither may have it.
func bind(args []any) ([]any, error) {
	out := make([]any, len(args))
	for i, a := range args {
		switch v := a.(type) {
		case rankwright.Day:
			a = v.String()
		case []byte:
			if v == nil {
				a = []byte{}
			}
		case bool:
			a = int64(0)
			if v {
				a = int64(1)
			}
		}
		a, err := driver.DefaultParameterConverter.ConvertValue(a)
		if err != nil {
			return nil, fmt.Errorf("argument %d: %w", i+1, err)
		}
		if s, ok := a.(string); ok && !storable(s) {
			return nil, rankwright.Faultf(rankwright.Invalid, "bad_text", "type it in again", "%q has characters that are no text", s)
		}
		out[i] = a
	}
	return out, nil
}

func storable(s string) bool { return utf8.ValidString(s) && !strings.ContainsRune(s, 0) }
