package store

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rankwright"
)

// held opens n connections of a pool at once.
func held(t *testing.T, db *sql.DB, n int) []*sql.Conn {
	t.Helper()
	conns := make([]*sql.Conn, n)
	for i := range conns {
		c, err := db.Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		conns[i] = c
	}
	return conns
}

func pragma(t *testing.T, c *sql.Conn, name string) (v string) {
	t.Helper()
	if err := c.QueryRowContext(t.Context(), "PRAGMA "+name).Scan(&v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

func newBase(t *testing.T) *Store {
	t.Helper()
	s, err := Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func wantCode(t *testing.T, err error, code string, says ...string) {
	t.Helper()
	var f *rankwright.Fault
	if !errors.As(err, &f) || f.Code != code {
		t.Fatalf("got %v, want a fault with the code %s", err, code)
	}
	for _, s := range says {
		if !strings.Contains(f.Error(), s) {
			t.Errorf("%q does not say %q", f.Error(), s)
		}
	}
}

func TestEveryConnectionHasEverySetting(t *testing.T) {
	s := newBase(t)
	db, err := openPool(t.Context(), dsn(s.path), 32)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	conns := held(t, db, 32)
	conns = append(conns, held(t, s.writer, 1)...)
	conns = append(conns, held(t, s.readers, readerCount)...)
	for _, set := range settings {
		for i, c := range conns {
			if got := pragma(t, c, set.pragma); got != set.want {
				t.Errorf("connection %d: %s is %q, want %q", i, set.pragma, got, set.want)
			}
		}
	}
	for i, c := range conns {
		want := "0"
		if i >= 33 {
			want = "1" // readers
		}
		if got := pragma(t, c, "query_only"); got != want {
			t.Errorf("connection %d: query_only is %q, want %q", i, got, want)
		}
	}
}

// The control: what the settings' place in the DSN is for.
func TestAPragmaByExecReachesOneConnectionOnly(t *testing.T) {
	db, err := sql.Open("sqlite", filepath.Join(t.TempDir(), "plain.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("PRAGMA foreign_keys = 1"); err != nil {
		t.Fatal(err)
	}
	on := 0
	for _, c := range held(t, db, 3) {
		if pragma(t, c, "foreign_keys") == "1" {
			on++
		}
	}
	if on != 1 {
		t.Errorf("%d of 3 connections have the setting, want 1", on)
	}
}

func TestAConnectionWithAWrongSettingIsRefused(t *testing.T) {
	file := newBase(t).path
	for _, c := range []struct{ old, new, named string }{
		{"_journal_mode=WAL", "_journal_mode=DELETE", "journal_mode"},
		{"_synchronous=FULL", "_synchronous=NORMAL", "synchronous"},
		{"_busy_timeout=5000", "_busy_timeout=0", "busy_timeout"},
		{"_foreign_keys=1", "_foreign_keys=0", "foreign_keys"},
		{"secure_delete(1)", "secure_delete(0)", "secure_delete"},
		{"recursive_triggers(1)", "recursive_triggers(0)", "recursive_triggers"},
	} {
		t.Run(c.named, func(t *testing.T) {
			f := file
			if c.named == "journal_mode" {
				f = filepath.Join(t.TempDir(), "other.db") // it is kept in the file
			}
			wrong := strings.Replace(dsn(f), c.old, c.new, 1)
			if wrong == dsn(f) {
				t.Fatal("the DSN does not have " + c.old)
			}
			_, err := openPool(t.Context(), wrong, 2)
			wantCode(t, err, "wrong_setting", "the setting "+c.named+" of the base is")
		})
	}
}

func TestSQLiteBeforeTheWALResetFixIsRefused(t *testing.T) {
	for version, want := range map[string]bool{
		"3.51.3": true, "3.51.2": false, "3.51.10": true, "3.54.1": true, "3.7.0": false, "4.0.0": true, "2.99.99": false, "3.51": false, "": false,
	} {
		if got := atLeast(version, leastSQLite); got != want {
			t.Errorf("%q: %v, want %v", version, got, want)
		}
	}
}

func TestTheBaseIsADirectoryOrAFileWhateverItsName(t *testing.T) {
	dir := t.TempDir()
	for name, want := range map[string]string{
		"new":                "new/" + FileName,
		"100 % a?b #c%20&d'": "100 % a?b #c%20&d'/" + FileName,
		"deep/x.db":          "deep/x.db",
	} {
		s, err := Open(t.Context(), filepath.Join(dir, name))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		info, err := os.Stat(filepath.Join(dir, want))
		if err != nil {
			t.Error(err)
			continue
		}
		if info.Size() == 0 || info.Mode().Perm() != 0o600 {
			t.Errorf("%s has %d bytes and mode %v, want a base that only its owner reads", want, info.Size(), info.Mode())
		}
	}
}

func TestAFileThatIsNoBaseIsRefusedAndLeftAlone(t *testing.T) {
	notes := filepath.Join(t.TempDir(), "notes.db")
	if err := os.WriteFile(notes, []byte(strings.Repeat("not a database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Open(t.Context(), notes)
	wantCode(t, err, "not_a_base", "notes.db")

	other := filepath.Join(t.TempDir(), "other.db")
	db, err := sql.Open("sqlite", other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE songs (title TEXT)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	_, err = Open(t.Context(), other)
	wantCode(t, err, "not_a_base", "other.db")
}

func TestAConstraintIsToldByItsCode(t *testing.T) {
	s := newBase(t)
	const columns = `INSERT INTO marks (` + markColumns + `) VALUES `
	for name, c := range map[string]struct {
		sql  string
		want class
	}{
		"a row that is there":   {`INSERT INTO migrations SELECT * FROM migrations`, taken},
		"a missing reference":   {columns + `(1,'a','d',1,1,'g','e','r','x',1,1,1,1,'',1)`, dangling},
		"a check":               {columns + `(1,'a','d',0,1,'g','e','r','x',1,1,1,1,'',1)`, unfit},
		"a missing value":       {`INSERT INTO settings (key, value) VALUES ('a', NULL)`, unfit},
		"a number as text":      {`INSERT INTO guardians VALUES ('a', 'first', '', '', '')`, unfit},
		"a statement that errs": {`SELECT nothing FROM nowhere`, other},
	} {
		err := s.Write(t.Context(), func(t *Tx) error { _, err := t.exec(c.sql); return err })
		if got := s.d.class(err); err == nil || got != c.want {
			t.Errorf("%s: class %d (%v), want %d", name, got, err, c.want)
		}
	}
	if err := s.Write(t.Context(), func(t *Tx) error {
		_, err := t.exec(`INSERT INTO audit VALUES (1, 1, '', '', '', 1, '', '', '')`)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{`UPDATE audit SET at = 2`, `DELETE FROM audit`, `REPLACE INTO audit VALUES (1, 2, '', '', '', 1, '', '', '')`} {
		wantCode(t, s.Write(t.Context(), func(t *Tx) error { _, err := t.exec(q); return err }), "kept")
	}
}

func TestADamagedFileIsToldAndNotServed(t *testing.T) {
	s := newBase(t)
	if err := s.Check(t.Context()); err != nil {
		t.Errorf("a whole base: %v", err)
	}
	if _, err := s.writer.Exec(`PRAGMA foreign_keys = 0`); err != nil {
		t.Fatal(err)
	}
	if _, err := s.writer.Exec(`INSERT INTO guardians VALUES ('nobody', 0, '', '', '')`); err != nil {
		t.Fatal(err)
	}
	wantCode(t, s.Check(t.Context()), "damaged", "guardians", "students")
}

func TestAMomentIsATimeInUTCToTheMillisecond(t *testing.T) {
	at := time.Date(2026, 10, 31, 9, 30, 0, 123456789, time.FixedZone("", 3600))
	if got := At(at).Time(); !got.Equal(at.Truncate(time.Millisecond)) || got.Location() != time.UTC {
		t.Errorf("%v became %v", at, got)
	}
	if At(time.Time{}) != 0 || !Moment(0).Time().IsZero() {
		t.Error("no time and no moment are not the same")
	}
}

func TestAReadingEndsWithItsContext(t *testing.T) {
	s := newBase(t)
	ctx, cancel := context.WithCancel(t.Context())
	err := s.Read(ctx, func(tx *Tx) error {
		cancel()
		_, _, err := tx.Setting("k")
		return err
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's error", err)
	}
}

func TestAfterADiskFailureNothingMoreIsWritten(t *testing.T) {
	s := newBase(t)
	set(t, s, "k", "before")
	failure := errors.New("fsync failed")
	d := *s.d
	d.class = func(err error) class {
		if errors.Is(err, failure) {
			return disk
		}
		return sqliteClass(err)
	}
	s.d = &d
	if err := s.Write(t.Context(), func(*Tx) error { return errors.New("something else") }); err == nil {
		t.Fatal("the error was lost")
	}
	set(t, s, "k", "still") // other errors do not stop writing
	if err := s.Write(t.Context(), func(*Tx) error { return failure }); !errors.Is(err, failure) {
		t.Fatal(err)
	}
	wantCode(t, s.Write(t.Context(), func(tx *Tx) error { return tx.SetSetting("k", "after") }), "disk_failed")
	if v := get(t, s, "k"); v != "still" {
		t.Errorf("reading gives %q", v)
	}
}
