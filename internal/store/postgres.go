//go:build postgres

package store

import (
	"context"
	"database/sql"
	"errors"

	"github.com/jackc/pgx/v5/pgconn"
	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"

	"rankwright"
)

var postgresDialect = &dialect{
	words: words{
		Text: `TEXT COLLATE "C"`, Int: "BIGINT", Blob: "BYTEA",
		Begin: `CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'kept for ever' USING ERRCODE = 'RW001'; END $$;`,
		refusal: "CREATE TRIGGER %s BEFORE %s ON %s FOR EACH ROW %sEXECUTE FUNCTION refuse_change();",
	},
	alone:     `SELECT pg_advisory_xact_lock(5237461)`,
	readLevel: sql.LevelRepeatableRead,
	tables:    `SELECT count(*) FROM information_schema.tables WHERE table_schema = current_schema()`,
	class:     postgresClass,
}

// postgresClass reads SQLSTATE (PostgreSQL's documentation, appendix A).
func postgresClass(err error) class {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return other
	}
	switch e.Code {
	case "23505": // unique_violation
		return taken
	case "23503": // foreign_key_violation
		return dangling
	case "RW001": // ours, see refuse_change
		return kept
	case "23502", "23514", "22003": // not_null_violation, check_violation, numeric_value_out_of_range
		return unfit
	case "40001", "40P01", "55P03": // serialization_failure, deadlock_detected, lock_not_available
		return busy
	case "53100": // disk_full
		return full
	case "58030": // io_error
		return disk
	}
	return other
}

// OpenPostgres opens a base in the first schema of a PostgreSQL connection's
// search path. Several programs may share it: an advisory lock lets one of
// them write at a time. Backup, Restore, Check and Checkpoint are the
// database's own there.
func OpenPostgres(ctx context.Context, dsn string) (*Store, error) {
	s := newStore(postgresDialect)
	var err error
	for _, p := range []struct {
		db *(*sql.DB)
		n  int
	}{{&s.writer, 1}, {&s.readers, readerCount}, {&s.peekers, peekerCount}} {
		if *p.db, err = openPostgresPool(dsn, p.n); err != nil {
			s.Close()
			return nil, err
		}
	}
	if err = checkPostgres(ctx, s.writer); err == nil {
		err = s.migrate(ctx, embedded())
	}
	if err != nil {
		s.Close()
		return nil, s.d.fault(err)
	}
	return s, nil
}

func openPostgresPool(dsn string, n int) (*sql.DB, error) {
	db, err := sql.Open("pgx", dsn)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	return db, nil
}

func checkPostgres(ctx context.Context, db *sql.DB) error {
	for _, name := range []string{"fsync", "full_page_writes", "synchronous_commit"} {
		var got string
		if err := db.QueryRowContext(ctx, `SELECT current_setting($1)`, name).Scan(&got); err != nil {
			return err
		}
		if got == "off" {
			return rankwright.Faultf(rankwright.Internal, "wrong_setting", "set "+name+" to on in the database",
				"the setting %s of the database is off and must be on, so that a saved mark outlives a power cut", name)
		}
	}
	return nil
}
