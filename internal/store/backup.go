package store

import (
	"context"
	"database/sql"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"

	"rankwright"
)

// Backup writes a whole copy of the base to a new file while the base is in
// use: every mark acknowledged before the call is in it. The file gets its
// name only when it is complete, checked and on the disk. A copy of the base's
// own file would not do: what was written last is in the log beside it. The
// pictures and clips beside the base are in it too.
func (s *Store) Backup(ctx context.Context, path string) error {
	return s.copyTo(ctx, path, s.packFiles)
}

// copyTo is Backup; pack puts into the copy what is not in the base, nil for
// nothing.
func (s *Store) copyTo(ctx context.Context, path string, pack func(ctx context.Context, copied string) error) error {
	if s.path == "" {
		return rankwright.Faultf(rankwright.Conflict, "no_file", "use the database's own tools, such as pg_dump", "this base is not a file that could be copied")
	}
	if exists(path) {
		return rankwright.Faultf(rankwright.Conflict, "file_exists", "choose another name", "the backup was not written, since there is a file %s already", path)
	}
	tmp, err := part(path)
	if err != nil {
		return err
	}
	defer os.Remove(tmp) // after the renaming there is nothing to remove
	db, err := openPool(ctx, dsn(s.path), 1)
	if err != nil {
		return s.refuse(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, `VACUUM INTO $1`, tmp); err != nil {
		return s.d.fault(err)
	}
	if pack != nil {
		if err := pack(ctx, tmp); err != nil {
			return err
		}
	}
	if _, err := inspect(ctx, tmp, "quick_check"); err != nil {
		return err
	}
	return settle(tmp, path)
}

// part makes an empty file beside a path, to be filled and then named so. Each
// call has its own, since two programs may be at the same copy; what was left
// by one that was cut off goes.
func part(path string) (string, error) {
	dir, name := filepath.Dir(path), filepath.Base(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	left, err := os.ReadDir(dir)
	if err != nil {
		return "", err
	}
	for _, f := range left {
		if strings.HasPrefix(f.Name(), name+".") && strings.HasSuffix(f.Name(), ".part") {
			if info, err := f.Info(); err == nil && time.Since(info.ModTime()) > time.Hour {
				os.Remove(filepath.Join(dir, f.Name()))
			}
		}
	}
	if err := os.Remove(path + ".part"); err != nil && !errors.Is(err, os.ErrNotExist) {
		return "", err // the name that earlier versions gave it
	}
	f, err := os.CreateTemp(dir, name+".*.part") // readable by its owner only
	if err != nil {
		return "", err
	}
	return f.Name(), f.Close()
}

// Restore makes a base from a backup in a directory that is new or empty. A
// backup that is damaged, newer than this program or the file of a base in
// use is refused, and then the directory holds nothing.
func Restore(ctx context.Context, from, dir string) error {
	old, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if len(old) > 0 {
		return rankwright.Faultf(rankwright.Conflict, "not_empty", "name a directory that is new or empty",
			"nothing was restored, since there are files in %s already", dir)
	}
	if info, err := os.Stat(from + "-wal"); err == nil && info.Size() > 0 {
		return rankwright.Faultf(rankwright.Invalid, "base_in_use", "make a backup of it and restore that",
			"%s is a base in use and no backup: what was written last is not in this file", from)
	}
	target := filepath.Join(dir, FileName)
	tmp := target + ".part"
	if err := copyFile(from, tmp); err != nil {
		os.Remove(tmp)
		return err
	}
	defer os.Remove(tmp)
	version, err := inspect(ctx, tmp, "integrity_check")
	if err != nil {
		var f *rankwright.Fault
		if errors.As(err, &f) {
			f.Where.File = from
		}
		return err
	}
	ms, err := readMigrations(embedded())
	if err != nil {
		return err
	}
	if version > len(ms) {
		return rankwright.Faultf(rankwright.Conflict, "newer_base", "restore it with the newer program",
			"the backup %s has version %d, and this program knows versions up to %d", from, version, len(ms))
	}
	if err := unpackFiles(ctx, tmp, filepath.Join(dir, filesDir)); err != nil {
		return err
	}
	return settle(tmp, target)
}

// Check reads the whole base and reports damage: pages, indexes and references.
func (s *Store) Check(ctx context.Context) error {
	if s.path == "" {
		return nil // PostgreSQL checks its own pages
	}
	return checkPages(ctx, s.readers, "integrity_check")
}

// Checkpoint folds the write-ahead log into the base and empties it. Until
// then an erased name can still be read in the log.
func (s *Store) Checkpoint(ctx context.Context) error {
	if s.path == "" {
		return nil
	}
	var waiting, logged, folded int
	if err := s.writer.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&waiting, &logged, &folded); err != nil {
		return s.d.fault(err)
	}
	if waiting != 0 {
		return rankwright.Faultf(rankwright.Unavailable, "busy", "try again in a moment", "the log could not be emptied, since somebody was reading it")
	}
	return nil
}

// inspect checks a file that no program has open and returns its version.
func inspect(ctx context.Context, file, pragma string) (version int, err error) {
	at, _, _ := strings.Cut(dsn(file), "?")
	c, err := sqlite.NewConnector(at + "?mode=ro&immutable=1&_dqs=0")
	if err != nil {
		return 0, err
	}
	db := sql.OpenDB(c)
	defer db.Close()
	if err := checkPages(ctx, db, pragma); err != nil {
		return 0, err
	}
	err = db.QueryRowContext(ctx, `SELECT COALESCE(MAX(number), 0) FROM migrations`).Scan(&version)
	if err != nil || version == 0 {
		return 0, &rankwright.Fault{Kind: rankwright.Invalid, Code: "not_a_base", Err: err,
			Say: "this is a database, but no base of this program", Do: "name another file"}
	}
	return version, nil
}

func checkPages(ctx context.Context, db *sql.DB, pragma string) error {
	found, err := rowsOf(ctx, db, "PRAGMA "+pragma+"(5)", func(r row) (string, error) {
		return scalar[string](r)
	})
	if err != nil {
		return sqliteDialect.fault(err)
	}
	if len(found) != 1 || found[0] != "ok" {
		return damaged(strings.Join(found, "; "))
	}
	loose, err := rowsOf(ctx, db, "PRAGMA foreign_key_check", func(r row) (string, error) {
		var table, parent string
		var rowid, key sql.NullInt64
		err := r.Scan(&table, &rowid, &parent, &key)
		return "a row of " + table + " has none of " + parent, err
	})
	if err != nil {
		return sqliteDialect.fault(err)
	}
	if len(loose) > 0 {
		return damaged(loose[0])
	}
	return nil
}

func damaged(how string) *rankwright.Fault {
	return rankwright.Faultf(rankwright.Invalid, "damaged", "keep the file, and restore the last backup that is whole", "the base is damaged: %s", how)
}

func rowsOf[T any](ctx context.Context, db *sql.DB, query string, read func(row) (T, error)) ([]T, error) {
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	return each(rows, read)
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if errors.Is(err, os.ErrNotExist) {
		return missing("file", from)
	}
	if err != nil {
		return err
	}
	defer in.Close()
	if err := touch(to); err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// settle puts a file on the disk and then under its name: VACUUM INTO does not
// sync what it writes, and a new name is safe only when its directory is.
func settle(tmp, path string) error {
	if err := syncFile(tmp, os.O_RDWR); err != nil {
		return err
	}
	if err := os.Rename(tmp, path); err != nil {
		return err
	}
	if err := syncFile(filepath.Dir(path), os.O_RDONLY); err != nil && !errors.Is(err, os.ErrPermission) {
		return err // Windows refuses to sync a directory, and does it itself
	}
	return nil
}

func syncFile(name string, flag int) error {
	f, err := os.OpenFile(name, flag, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
