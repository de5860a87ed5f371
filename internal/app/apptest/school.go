// Package apptest is a school for tests: a base in a temporary folder, a
// clock that stands still, and people who do things in one line. Each step
// fails the test at the caller's line.
package apptest

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"rankwright"
	"rankwright/examples"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/scoring"
)

// School is a school set up with a head instructor.
type School struct {
	T     testing.TB
	App   *app.App
	Store *store.Store
	Dir   string
	Owner app.Actor
	Now   time.Time
}

// Password is everybody's password.
const Password = "three quiet otters"

// dice is a random source that always throws the same.
type dice struct{ n uint64 }

func (d *dice) Read(b []byte) (int, error) {
	for i := 0; i < len(b); {
		d.n++
		var seed [8]byte
		binary.LittleEndian.PutUint64(seed[:], d.n)
		sum := sha256.Sum256(seed[:])
		i += copy(b[i:], sum[:])
	}
	return len(b), nil
}

// blank is a new base, made once: to make it takes the database longer than
// most tests do.
var blank = sync.OnceValues(func() (data []byte, err error) {
	dir, err := os.MkdirTemp("", "apptest")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "rankwright.db")
	st, err := store.Open(context.Background(), path)
	if err != nil {
		return nil, err
	}
	if err := st.Close(); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
})

// New makes a school on 1 October 2026 with a head instructor.
func New(t testing.TB) *School {
	t.Helper()
	s := &School{T: t, Dir: t.TempDir(), Now: time.Date(2026, 10, 1, 9, 0, 0, 0, time.Local)}
	data, err := blank()
	s.must(err)
	path := filepath.Join(s.Dir, "rankwright.db")
	s.must(os.WriteFile(path, data, 0o600))
	st, err := store.Open(t.Context(), path)
	s.must(err)
	t.Cleanup(func() { st.Close() })
	s.Store = st
	s.App = app.New(st, app.Options{Now: func() time.Time { return s.Now }, Rand: &dice{}, QuickHash: true})
	secret, needed, err := s.App.Setup(t.Context())
	s.must(err)
	if !needed {
		t.Fatal("a new base needs no owner")
	}
	s.Owner, err = s.App.FinishSetup(t.Context(), secret, app.School{Name: "Otterlight Youth Karate and Self-Defence", Place: "Pellmarrow Quay"}, "Sefanaia Lindqvist-Amoako", Password)
	s.must(err)
	return s
}

func (s *School) must(err error) {
	s.T.Helper()
	if err != nil {
		s.T.Fatal(err)
	}
}

// At moves the clock forward to nine in the morning of a day.
func (s *School) At(day string) {
	y, m, d := rankwright.MustDay(day).Date()
	if at := time.Date(y, m, d, 9, 0, 0, 0, time.Local); at.After(s.Now) {
		s.Now = at
	}
}

// Ctx is the test's context.
func (s *School) Ctx() context.Context { return s.T.Context() }

// Publish publishes one of the example syllabuses, such as "otterlight.yaml".
func (s *School) Publish(name string) app.Version {
	s.T.Helper()
	text, err := examples.Files.ReadFile(name)
	s.must(err)
	d, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, string(text))
	s.must(err)
	v, err := s.App.Publish(s.Ctx(), s.Owner, d.Ladder)
	s.must(err)
	return v
}

// Import brings in students from the text of a CSV file, all of it.
func (s *School) Import(csv string) {
	s.T.Helper()
	p, err := s.App.ApplyImport(s.Ctx(), s.Owner, app.Import{File: "students.csv", Data: []byte(csv)}, false)
	if err != nil {
		s.T.Fatalf("%v\n%v", err, p.Plan.Problems())
	}
}

// Person invites somebody and lets them join.
func (s *School) Person(name string, role app.Role, highest rankwright.RankID) app.Actor {
	s.T.Helper()
	secret, err := s.App.Invite(s.Ctx(), s.Owner, name, role, highest)
	s.must(err)
	who, err := s.App.Join(s.Ctx(), secret, Password)
	s.must(err)
	return who
}

// Mark gives one mark as an examiner.
func (s *School) Mark(who app.Actor, g rankwright.GradingID, e rankwright.EntryID, q rankwright.RequirementID, value scoring.Value) {
	s.T.Helper()
	st, err := s.App.AddMarks(s.Ctx(), who, g, []scoring.Mark{{Entry: e, Requirement: q, Value: value}})
	s.must(err)
	if !st[0].Stored {
		s.T.Fatalf("the mark was not stored: %+v", st[0])
	}
}
