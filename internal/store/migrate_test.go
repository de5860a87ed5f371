package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"rankwright"
)

// with returns the real migrations and more, by name.
func with(t *testing.T, more map[string]string) fstest.MapFS {
	t.Helper()
	all := fstest.MapFS{}
	names, err := fs.Glob(embedded(), "*.sql")
	if err != nil || len(names) == 0 {
		t.Fatalf("%v %v", names, err)
	}
	for _, name := range names {
		text, err := fs.ReadFile(embedded(), name)
		if err != nil {
			t.Fatal(err)
		}
		all[name] = &fstest.MapFile{Data: text}
	}
	for name, text := range more {
		all[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return all
}

// step names a migration so many steps after the real ones.
func step(t *testing.T, after int, what string) string {
	t.Helper()
	return fmt.Sprintf("%04d_%s.sql", released(t)+after, what)
}

// released counts the real migrations.
func released(t *testing.T) int {
	t.Helper()
	ms, err := readMigrations(embedded())
	if err != nil {
		t.Fatal(err)
	}
	return len(ms)
}

func set(t *testing.T, s *Store, key, value string) {
	t.Helper()
	if err := s.Write(t.Context(), func(tx *Tx) error { return tx.SetSetting(key, value) }); err != nil {
		t.Fatal(err)
	}
}

func get(t *testing.T, s *Store, key string) (v string) {
	t.Helper()
	if err := s.Read(t.Context(), func(tx *Tx) (err error) {
		v, _, err = tx.Setting(key)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return v
}

func copies(t *testing.T, s *Store) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(filepath.Dir(s.path), "*.copy*"))
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestAMigrationLeavesACopyOfTheBaseBeforeIt(t *testing.T) {
	s := newBase(t)
	set(t, s, "k", "before")
	if len(copies(t, s)) != 0 {
		t.Errorf("a new base has copies: %v", copies(t, s))
	}
	if err := s.migrate(t.Context(), with(t, map[string]string{
		step(t, 1, "belts"): "CREATE TABLE belts (id {{.Text}} NOT NULL){{.Strict}};\nUPDATE settings SET value = 'after';",
		step(t, 2, "more"):  "ALTER TABLE belts ADD COLUMN size {{.Int}};",
	})); err != nil {
		t.Fatal(err)
	}
	if v := get(t, s, "k"); v != "after" {
		t.Errorf("the base holds %q after the migration", v)
	}
	made := copies(t, s)
	if len(made) != 1 || filepath.Base(made[0]) != fmt.Sprintf("%s.version-%d.copy", FileName, released(t)) {
		t.Fatalf("copies: %v, want one that names version %d", made, released(t))
	}
	old := filepath.Join(t.TempDir(), "restored")
	if err := Restore(t.Context(), made[0], old); err != nil {
		t.Fatal(err)
	}
	r, err := Open(t.Context(), old)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if v := get(t, r, "k"); v != "before" {
		t.Errorf("the copy holds %q, want what was there before", v)
	}
}

func TestAFailedMigrationLeavesTheBaseAsItWas(t *testing.T) {
	s := newBase(t)
	set(t, s, "k", "before")
	bad := with(t, map[string]string{step(t, 1, "belts"): "UPDATE settings SET value = 'after'; CREATE TABLE belts (id {{.Text}}){{.Strict}}; UPDATE nowhere SET a = 1;"})
	for i := range 2 { // a second try does not write over the first copy
		if err := s.migrate(t.Context(), bad); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("migration %d (belts)", released(t)+1)) {
			t.Fatalf("got %v, want the migration named", err)
		}
		if v, n := get(t, s, "k"), len(copies(t, s)); v != "before" || n != i+1 {
			t.Errorf("the base holds %q and has %d copies", v, n)
		}
	}
	if err := s.migrate(t.Context(), embedded()); err != nil {
		t.Errorf("the version moved on: %v", err)
	}
}

func TestANewerBaseIsRefusedByBothVersions(t *testing.T) {
	s := newBase(t)
	if err := s.migrate(t.Context(), with(t, map[string]string{step(t, 1, "belts"): "CREATE TABLE belts (id {{.Text}}){{.Strict}};"})); err != nil {
		t.Fatal(err)
	}
	backup := filepath.Join(t.TempDir(), "newer.db")
	if err := s.Backup(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	s.Close()
	before, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = Open(t.Context(), s.path)
	wantCode(t, err, "newer_base", FileName, fmt.Sprintf("version %d", released(t)+1), fmt.Sprintf("up to %d", released(t)))
	if after, err := os.ReadFile(s.path); err != nil || string(after) != string(before) {
		t.Errorf("the newer base was written to: %v", err)
	}
	dir := filepath.Join(t.TempDir(), "r")
	wantCode(t, Restore(t.Context(), backup, dir), "newer_base", "newer.db", fmt.Sprintf("version %d", released(t)+1), fmt.Sprintf("up to %d", released(t)))
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("a refused restore left %v", left)
	}
}

func TestAMigrationThatWasEditedIsRefused(t *testing.T) {
	s := newBase(t)
	changed := with(t, nil)
	changed["0001_begin.sql"].Data = append(changed["0001_begin.sql"].Data, '\n')
	wantCode(t, s.migrate(t.Context(), changed), "changed_migration", "step 1 (begin)")
}

func TestMigrationsMustCountFromOne(t *testing.T) {
	for name, files := range map[string]fstest.MapFS{
		"a gap":    with(t, map[string]string{step(t, 2, "x"): ""}),
		"a double": with(t, map[string]string{"0001_x.sql": ""}),
		"a name":   with(t, map[string]string{"two.sql": ""}),
	} {
		if _, err := readMigrations(files); err == nil {
			t.Errorf("%s was read", name)
		}
	}
}

func TestAStepThatAnotherProgramTookIsNotTakenAgain(t *testing.T) {
	s := newBase(t)
	ms, err := readMigrations(embedded())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Write(t.Context(), func(tx *Tx) error { return tx.step(ms) }); err != nil {
		t.Error(err)
	}
}

// Several in one process are harder than several programs: whoever closes the
// file by itself takes away the locks of all.
func TestTwoProgramsMayOpenANewBaseAtOnce(t *testing.T) {
	for range 3 {
		dir := t.TempDir()
		errs := make(chan error, 4)
		for range cap(errs) {
			go func() {
				s, err := Open(context.Background(), dir)
				if err == nil {
					err = s.Close()
				}
				errs <- err
			}()
		}
		for range cap(errs) {
			if err := <-errs; err != nil {
				t.Error(err)
			}
		}
		if len(inUse.of) != 0 {
			t.Errorf("of what was closed %v count as open", inUse.of)
		}
		if left, err := filepath.Glob(filepath.Join(dir, "*.part")); err != nil || len(left) > 0 {
			t.Errorf("left are %v, %v", left, err)
		}
	}
}

// Two copies of one base at the same time do not take each other's file away,
// and what a copy that was cut off left an hour ago goes.
func TestTwoCopiesAtOnceDoNotMeet(t *testing.T) {
	s := newBase(t)
	dir := t.TempDir()
	old := filepath.Join(dir, "base.copy.123.part")
	if err := os.WriteFile(old, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(old, time.Now(), time.Now().Add(-2*time.Hour)); err != nil {
		t.Fatal(err)
	}
	errs := make(chan error, 3)
	for range cap(errs) {
		go func() { errs <- s.copyTo(context.Background(), filepath.Join(dir, "base.copy"), nil) }()
	}
	good := 0
	for range cap(errs) {
		var f *rankwright.Fault
		if err := <-errs; err == nil {
			good++
		} else if !errors.As(err, &f) || f.Code != "file_exists" {
			t.Error(err)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || good == 0 || len(left) != 1 || left[0].Name() != "base.copy" {
		t.Errorf("%d copies were made; left are %v, %v", good, left, err)
	}
}
