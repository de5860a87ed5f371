package store

import (
	"context"
	"database/sql/driver"
	"strings"
)

// keeping is a connection that compiles each statement once: to read the text
// of a statement costs SQLite more than to run it. Only whole statements of a
// fixed text are kept, of which this package has some hundreds.
type keeping struct {
	whole
	kept map[string]*compiled
}

// whole is what the driver's connections can do.
type whole interface {
	driver.Conn
	driver.ConnBeginTx
	driver.ConnPrepareContext
	driver.ExecerContext
	driver.QueryerContext
	driver.Pinger
	driver.SessionResetter
	driver.Validator
}

// compiled is a kept statement. It is busy while somebody reads its rows.
type compiled struct {
	driver.Stmt
	busy bool
}

const mostKept = 500

// dataVersion asks SQLite for its count of what other connections commit.
const dataVersion = "PRAGMA data_version"

// of returns the statement of a text, nil where it is none to be kept.
func (k *keeping) of(ctx context.Context, query string) (*compiled, error) {
	if s := k.kept[query]; s != nil {
		if s.busy {
			return nil, nil
		}
		return s, nil
	}
	word, _, _ := strings.Cut(strings.TrimLeft(query, " \t\n"), " ")
	if query == dataVersion {
		word = "SELECT" // it sets nothing
	}
	switch word {
	case "SELECT", "INSERT", "UPDATE", "DELETE", "SAVEPOINT", "RELEASE":
	default:
		return nil, nil
	}
	if len(k.kept) >= mostKept || strings.Contains(query, ";") {
		return nil, nil
	}
	st, err := k.whole.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	s := &compiled{Stmt: st}
	k.kept[query] = s
	return s, nil
}

// Close implements driver.Conn.
func (k *keeping) Close() error {
	for _, s := range k.kept {
		_ = s.Stmt.Close() // the connection ends, and all that it holds with it
	}
	return k.whole.Close()
}

// ExecContext implements driver.ExecerContext.
func (k *keeping) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	s, err := k.of(ctx, query)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return k.whole.ExecContext(ctx, query, args)
	}
	return s.Stmt.(driver.StmtExecContext).ExecContext(ctx, args)
}

// QueryContext implements driver.QueryerContext.
func (k *keeping) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	s, err := k.of(ctx, query)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return k.whole.QueryContext(ctx, query, args)
	}
	rows, err := s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, args)
	if err != nil {
		return nil, err
	}
	s.busy = true
	return &keptRows{rows, s}, nil
}

type keptRows struct {
	driver.Rows
	of *compiled
}

// Close implements driver.Rows.
func (r *keptRows) Close() error {
	r.of.busy = false
	return r.Rows.Close()
}
