package store

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strconv"
	"text/template"
	"time"

	"rankwright"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migration is one step of the schema, forward only. A released one is never
// edited: its checksum is kept in every base that it was applied to.
type migration struct {
	number   int
	name     string
	text     string
	checksum string
}

var migrationName = regexp.MustCompile(`^(\d{4})_([a-z_]+)\.sql$`)

func embedded() fs.FS {
	sub, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		panic(err) // the name above is a constant
	}
	return sub
}

// readMigrations reads the steps in their order; they count 1, 2, 3 ….
func readMigrations(from fs.FS) ([]migration, error) {
	files, err := fs.ReadDir(from, ".")
	if err != nil {
		return nil, err
	}
	var ms []migration
	for _, f := range files {
		part := migrationName.FindStringSubmatch(f.Name())
		if part == nil {
			return nil, fmt.Errorf("%s is not named like a migration, 0001_what.sql", f.Name())
		}
		text, err := fs.ReadFile(from, f.Name())
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(text)
		number, _ := strconv.Atoi(part[1])
		ms = append(ms, migration{number, part[2], string(text), hex.EncodeToString(sum[:])})
	}
	slices.SortFunc(ms, func(a, b migration) int { return cmp.Compare(a.number, b.number) })
	for i, m := range ms {
		if m.number != i+1 {
			return nil, fmt.Errorf("migration %d is missing or there twice", i+1)
		}
	}
	return ms, nil
}

// migrate brings the base to the newest version, each step in a transaction of
// its own, after a copy of a base that has something in it.
func (s *Store) migrate(ctx context.Context, from fs.FS) error {
	ms, err := readMigrations(from)
	if err != nil {
		return err
	}
	var version int
	if err := s.Write(ctx, func(t *Tx) (err error) {
		version, err = t.ready(ms)
		return err
	}); err != nil {
		return err
	}
	if version == len(ms) {
		return nil
	}
	if version > 0 && s.path != "" {
		if err := s.copyBefore(ctx, version); err != nil {
			return err
		}
	}
	for range ms[version:] {
		if err := s.Write(ctx, func(t *Tx) error { return t.step(ms) }); err != nil {
			return err
		}
	}
	return nil
}

// ready makes the list of migrations where there is none and returns the
// version of the base, or says why it is none of ours.
func (t *Tx) ready(ms []migration) (int, error) {
	tables, _, err := maybe(t, scalar[int64], t.d.tables)
	if err != nil {
		return 0, err
	}
	if tables == 0 {
		if _, err := t.exec(`CREATE TABLE migrations (number ` + t.d.Int + ` NOT NULL PRIMARY KEY, name ` + t.d.Text +
			` NOT NULL, checksum ` + t.d.Text + ` NOT NULL, applied ` + t.d.Int + ` NOT NULL)` + t.d.Strict); err != nil {
			return 0, err
		}
	}
	return t.version(ms)
}

// version returns the number of the last migration of the base, having
// compared all of them with the ones that this program knows.
func (t *Tx) version(ms []migration) (int, error) {
	applied, err := list(t, func(r row) (m migration, err error) {
		err = r.Scan(&m.number, &m.name, &m.checksum)
		return m, err
	}, `SELECT number, name, checksum FROM migrations ORDER BY number`)
	if err != nil {
		return 0, rankwright.Faultf(rankwright.Invalid, "not_a_base", "name another file", "this is a database, but no base of this program")
	}
	if n := len(applied); n > len(ms) {
		return 0, rankwright.Faultf(rankwright.Conflict, "newer_base", "run the newer program, or restore a backup that this one made",
			"the base has version %d, and this program knows versions up to %d", applied[n-1].number, len(ms))
	}
	for i, a := range applied {
		if a.number != ms[i].number || a.checksum != ms[i].checksum {
			return 0, rankwright.Faultf(rankwright.Conflict, "changed_migration", "run the program that made the base",
				"step %d (%s) of the base's schema is not the one that this program knows", a.number, a.name)
		}
	}
	return len(applied), nil
}

// step applies the next migration, if another process did not come first.
func (t *Tx) step(ms []migration) error {
	version, err := t.version(ms)
	if err != nil || version == len(ms) {
		return err
	}
	m := ms[version]
	text, err := render(m, t.d.words)
	if err != nil {
		return err
	}
	if _, err := t.exec(text); err != nil {
		return fmt.Errorf("migration %d (%s): %w", m.number, m.name, err)
	}
	_, err = t.exec(`INSERT INTO migrations (number, name, checksum, applied) VALUES ($1, $2, $3, $4)`,
		m.number, m.name, m.checksum, At(time.Now()))
	return err
}

func render(m migration, w words) (string, error) {
	tmpl, err := template.New(m.name).Parse(m.text)
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	err = tmpl.Execute(&b, w)
	return b.String(), err
}

// copyBefore keeps the base as it was at a version beside it. The copy holds
// what the base held: erasing a student later does not reach it.
func (s *Store) copyBefore(ctx context.Context, version int) error {
	name := fmt.Sprintf("%s.version-%d.copy", s.path, version)
	for i := 2; exists(name); i++ {
		name = fmt.Sprintf("%s.version-%d.copy-%d", s.path, version, i)
	}
	return s.copyTo(ctx, name, nil)
}

func exists(file string) bool {
	_, err := os.Lstat(file)
	return err == nil
}
