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
	broken error // the first statement that failed
}

// Read runs fn on one unchanging view of the base. It may take twenty seconds.
func (s *Store) Read(ctx context.Context, fn func(*Tx) error) error {
	ctx, cancel := context.WithTimeout(ctx, readLimit)
	defer cancel()
	return s.run(ctx, s.readers, &sql.TxOptions{ReadOnly: true, Isolation: s.d.readLevel}, fn)
}

// Write runs fn alone, no other writer beside it, and commits what it did when
// fn returns nil. All of it is rolled back where fn returns an error or
// panics, and also where fn swallows the error of a statement that failed.
// What is committed is on the disk. Do not call Write within fn: it would wait
// for itself.
func (s *Store) Write(ctx context.Context, fn func(*Tx) error) error {
	if s.failed.Load() {
		return rankwright.Faultf(rankwright.Internal, "disk_failed", "stop the program, check the disk, and start it again",
			"nothing is written any more since the disk refused to keep what was written")
	}
	err := s.run(ctx, s.writer, nil, func(t *Tx) error {
		if s.d.alone != "" {
			if _, err := t.exec(s.d.alone); err != nil {
				return err
			}
		}
		return fn(t)
	})
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
	t := &Tx{ctx: ctx, tx: tx, d: s.d}
	if err := fn(t); err != nil {
		return err
	}
	if t.broken != nil {
		return t.broken
	}
	return s.d.fault(tx.Commit())
}

// exec runs a statement and returns the number of rows that it touched.
func (t *Tx) exec(query string, args ...any) (int64, error) {
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
