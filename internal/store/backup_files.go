package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"

	"rankwright"
)

// A backup is one file, and so the files beside the base travel in it, in
// parts: none of them has to fit into memory, and all is checked together.

const filePart = 256 << 10

// openCopy opens a copy of a base that no other program has open, for writing
// and without a log beside it: where it fails the copy is thrown away.
func openCopy(file string) (*sql.DB, error) {
	c, err := sqlite.NewConnector(address(file) + "?_journal_mode=OFF&_synchronous=OFF&_foreign_keys=1&_dqs=0&_pragma=secure_delete(1)")
	if err != nil {
		return nil, err
	}
	db := sql.OpenDB(c)
	db.SetMaxOpenConns(1)
	return db, nil
}

// carries says whether a copy is of a base that knows kept files.
func carries(ctx context.Context, db *sql.DB) (bool, error) {
	n := 0
	err := db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_master WHERE name = 'kept_files'`).Scan(&n)
	return n > 0, err
}

// packFiles puts the files to which the copy refers into it. One that is
// missing is left out; Lost says so of what is restored.
func (s *Store) packFiles(ctx context.Context, copied string) error {
	db, err := openCopy(copied)
	if err != nil {
		return err
	}
	defer db.Close()
	if ok, err := carries(ctx, db); err != nil || !ok {
		return s.d.fault(err)
	}
	names, err := rowsOf(ctx, db, `SELECT DISTINCT file FROM pictures ORDER BY file`, scalar[string])
	if err != nil {
		return s.d.fault(err)
	}
	for _, name := range names {
		if ok, err := s.isWhole(name); err != nil || !ok {
			if err != nil {
				return err
			}
			continue
		}
		if err := s.packFile(ctx, db, name); err != nil {
			return s.d.fault(err)
		}
	}
	return db.Close()
}

func (s *Store) packFile(ctx context.Context, db *sql.DB, name string) error {
	f, err := s.OpenFile(name)
	if err != nil {
		return err
	}
	defer f.Close()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit it does nothing
	part := make([]byte, filePart)
	for i := 0; ; i++ {
		n, err := io.ReadFull(f, part)
		if n > 0 {
			if _, err := tx.ExecContext(ctx, `INSERT INTO kept_files (file, part, body) VALUES ($1, $2, $3)`, name, i, part[:n]); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return tx.Commit()
		}
		if err != nil {
			return err
		}
	}
}

// unpackFiles takes the files out of a copy into the folder beside the base
// that it becomes. After an error that folder holds nothing.
func unpackFiles(ctx context.Context, copied, dir string) (err error) {
	db, err := openCopy(copied)
	if err != nil {
		return err
	}
	defer db.Close()
	if ok, err := carries(ctx, db); err != nil || !ok {
		return sqliteDialect.fault(err)
	}
	names, err := rowsOf(ctx, db, `SELECT DISTINCT file FROM kept_files ORDER BY file`, scalar[string])
	if err != nil || len(names) == 0 {
		return sqliteDialect.fault(err)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.RemoveAll(dir) // made by this restoring, in a folder that was empty
		}
	}()
	for _, name := range names {
		if !fileName.MatchString(name) {
			return damaged("it holds a file with the name " + strings.ToValidUTF8(fmt.Sprintf("%.20q", name), "?"))
		}
		if err := unpackFile(ctx, db, name, filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	// The base itself is made small again: its files stand beside it now.
	if _, err := db.ExecContext(ctx, `DELETE FROM kept_files`); err != nil {
		return sqliteDialect.fault(err)
	}
	if _, err := db.ExecContext(ctx, `VACUUM`); err != nil {
		return sqliteDialect.fault(err)
	}
	return db.Close()
}

func unpackFile(ctx context.Context, db *sql.DB, name, to string) error {
	tmp := to + ".part"
	if err := touch(tmp); err != nil {
		return unkept(err)
	}
	out, err := os.OpenFile(tmp, os.O_WRONLY|os.O_TRUNC, 0)
	if err != nil {
		return err
	}
	defer out.Close()
	sum := sha256.New()
	for part := 0; ; part++ {
		var body []byte
		err := db.QueryRowContext(ctx, `SELECT body FROM kept_files WHERE file = $1 AND part = $2`, name, part).Scan(&body)
		if errors.Is(err, sql.ErrNoRows) {
			break
		}
		if err != nil {
			return sqliteDialect.fault(err)
		}
		sum.Write(body)
		if _, err := out.Write(body); err != nil {
			return unkept(err)
		}
	}
	if hex.EncodeToString(sum.Sum(nil)) != hashPart(name) {
		return damaged("a picture or clip in it is not what was put there")
	}
	if err := out.Close(); err != nil {
		return unkept(err)
	}
	return settle(tmp, to)
}

// Lost are the pictures and clips whose file is missing or damaged, so that
// somebody adds them anew.
func (s *Store) Lost(ctx context.Context) (whole int, lost []Picture, err error) {
	whole, wrong, err := s.KeptFiles(ctx)
	if err != nil || len(wrong) == 0 {
		return whole, nil, err
	}
	bad := map[string]bool{}
	for _, n := range wrong {
		bad[n] = true
	}
	err = s.Read(ctx, func(tx *Tx) error {
		all, err := tx.Pictures(rankwright.LadderID(""))
		for _, p := range all {
			if bad[p.File] {
				lost = append(lost, p)
			}
		}
		return err
	})
	return whole, lost, err
}
