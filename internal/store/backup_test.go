package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/alexedwards/scs/v2"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
	"rankwright/scoring"
)

func wantCode(t *testing.T, err error, code string) {
	t.Helper()
	var f *rankwright.Fault
	if !errors.As(err, &f) || f.Code != code {
		t.Errorf("got %v, want a fault with the code %s", err, code)
	}
}

// grading fills a base with a grading of one entry.
func grading(t testing.TB, s *store.Store) {
	t.Helper()
	if err := s.Write(t.Context(), func(tx *store.Tx) error {
		if _, err := tx.Publish(store.Version{ID: "v1", Ladder: "juniors", Text: "x", Published: 1}); err != nil {
			return err
		}
		if err := tx.PutGrading(store.Grading{ID: "g1", Version: "v1", State: "planning"}); err != nil {
			return err
		}
		if err := tx.PutStudents([]roster.Student{{ID: "s1", GivenName: "Oona"}}, 1); err != nil {
			return err
		}
		return tx.PutEntry(store.Entry{ID: "e1", Grading: "g1", Student: "s1"})
	}); err != nil {
		t.Fatal(err)
	}
}

func markNo(n int64) store.MarkRow {
	return store.MarkRow{Grading: "g1", Received: 2, Mark: scoring.Mark{ID: rankwright.MarkID(fmt.Sprint("m", n)), Device: "d1", Seq: n, Clock: n,
		Entry: "e1", Requirement: "kick", Examiner: "p1", Try: 1, Value: scoring.N(3), At: 1_791_000_000_000 + n}}
}

func addMarks(ctx context.Context, s *store.Store, ms ...store.MarkRow) error {
	return s.Write(ctx, func(tx *store.Tx) error {
		got, err := tx.AppendMarks(ms)
		for _, g := range got {
			if !g.Stored {
				return fmt.Errorf("mark %s: %+v", g.ID, g)
			}
		}
		return err
	})
}

func countMarks(t *testing.T, s *store.Store) (n int64) {
	t.Helper()
	if err := s.Read(t.Context(), func(tx *store.Tx) error {
		ms, err := tx.MarksOfGrading("g1")
		n = int64(len(ms))
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestABackupHoldsEveryMarkAcknowledgedBeforeIt(t *testing.T) {
	s := open(t, t.TempDir())
	grading(t, s)
	var acked atomic.Int64
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for n := int64(1); ; n++ {
			select {
			case <-stop:
				return
			default:
			}
			if err := addMarks(context.Background(), s, markNo(n)); err != nil {
				t.Error(err)
				return
			}
			acked.Store(n)
		}
	})
	for acked.Load() < 20 {
		time.Sleep(time.Millisecond)
	}
	before := acked.Load()
	if before > 100 {
		before = 20 // all of which are acknowledged too
	}
	file := filepath.Join(t.TempDir(), "backup.db")
	err := s.Backup(t.Context(), file)
	close(stop)
	wg.Wait()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "restored")
	if err := store.Restore(t.Context(), file, dir); err != nil {
		t.Fatal(err)
	}
	r := open(t, dir)
	if n := countMarks(t, r); n < before {
		t.Errorf("the backup holds %d marks, and %d were acknowledged before it", n, before)
	}
	if err := r.Check(t.Context()); err != nil {
		t.Error(err)
	}

	// The control: a copy of a base's own file does not hold them. Twenty marks
	// are too few for SQLite to fold its log into the base by itself.
	s = open(t, t.TempDir())
	grading(t, s)
	for n := range before {
		if err := addMarks(t.Context(), s, markNo(n+1)); err != nil {
			t.Fatal(err)
		}
	}
	plain, err := os.ReadFile(s.Path())
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copied.db")
	if err := os.WriteFile(copied, plain, 0o600); err != nil {
		t.Fatal(err)
	}
	if c, err := store.Open(t.Context(), copied); err == nil {
		if n := countMarks(t, c); n >= before {
			t.Errorf("a plain copy holds %d of %d marks; the test proves nothing", n, before)
		}
		c.Close()
	}
}

func TestABackupIsNotWrittenOverAFile(t *testing.T) {
	s := open(t, t.TempDir())
	file := filepath.Join(t.TempDir(), "kept.db")
	if err := os.WriteFile(file, []byte("kept"), 0o600); err != nil {
		t.Fatal(err)
	}
	wantCode(t, s.Backup(t.Context(), file), "file_exists")
	if b, err := os.ReadFile(file); err != nil || string(b) != "kept" {
		t.Errorf("the file holds %q: %v", b, err)
	}
	fresh := filepath.Join(filepath.Dir(file), "fresh.db")
	if err := os.WriteFile(fresh+".part", []byte("left by a backup that was cut off"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(t.Context(), fresh); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(fresh)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
	if _, err := os.Stat(fresh + ".part"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the unfinished file is still there: %v", err)
	}
}

func TestABadBackupIsRefusedAndNothingIsRestored(t *testing.T) {
	s := open(t, t.TempDir())
	grading(t, s)
	dir := t.TempDir()
	good := filepath.Join(dir, "good.db")
	if err := s.Backup(t.Context(), good); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	cut := whole[:len(whole)/2]
	flipped := bytes.Clone(whole)
	at := bytes.LastIndex(flipped, []byte("Oona"))
	copy(flipped[at/4096*4096:], make([]byte, 8)) // the head of the page with the name
	for name, c := range map[string]struct {
		data []byte
		code string
	}{
		"cut":   {cut, "damaged"},
		"torn":  {flipped, "damaged"},
		"empty": {nil, "not_a_base"},
		"text":  {[]byte(strings.Repeat("hello ", 1000)), "not_a_base"},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(dir, name)
			if err := os.WriteFile(file, c.data, 0o600); err != nil {
				t.Fatal(err)
			}
			target := filepath.Join(t.TempDir(), "r")
			wantCode(t, store.Restore(t.Context(), file, target), c.code)
			if left, _ := os.ReadDir(target); len(left) > 0 {
				t.Errorf("left behind: %v", left)
			}
		})
	}
	wantCode(t, store.Restore(t.Context(), good, dir), "not_empty")
	wantCode(t, store.Restore(t.Context(), s.Path(), filepath.Join(dir, "r")), "base_in_use")
	wantCode(t, store.Restore(t.Context(), filepath.Join(dir, "none"), filepath.Join(dir, "r")), "not_found")
	if err := store.Restore(t.Context(), good, filepath.Join(dir, "r")); err != nil {
		t.Error(err)
	}
}

func TestAnErasedNameIsNowhereOnTheDisk(t *testing.T) {
	s := open(t, t.TempDir())
	canaries := []string{"Xanthippe", "Quillfeather", "2016-07-19", "hh-canary", "asthma-canary", "Guardiana", "mail-canary@example.org", "+353-canary", "belt-canary", "shirt-canary"}
	child := roster.Student{ID: "s1", GivenName: canaries[0], FamilyName: canaries[1], BirthDate: rankwright.MustDay(canaries[2]),
		Household: "hh-canary", Notes: canaries[4], BeltSize: canaries[8], ShirtSize: canaries[9],
		Guardians: []roster.Guardian{{Name: canaries[5], Email: canaries[6], Phone: canaries[7]}}}
	// Others about the child, so that pages are split and rewritten.
	all := []roster.Student{child}
	for i := range 60 {
		all = append(all, roster.Student{ID: rankwright.StudentID(fmt.Sprint("t", i)), GivenName: strings.Repeat("x", 80)})
	}
	put := func(ss []roster.Student) {
		t.Helper()
		if err := s.Write(t.Context(), func(tx *store.Tx) error { return tx.PutStudents(ss, 1) }); err != nil {
			t.Fatal(err)
		}
	}
	put(all)
	child.Notes += strings.Repeat(" longer", 2000) // moves to overflow pages
	put([]roster.Student{child})

	found := func() (names []string) {
		files, err := filepath.Glob(filepath.Dir(s.Path()) + "/*")
		if err != nil || len(files) == 0 {
			t.Fatal(files, err)
		}
		for _, file := range files {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range canaries {
				if bytes.Contains(b, []byte(c)) {
					names = append(names, c+" in "+filepath.Base(file))
				}
			}
		}
		return names
	}
	if n := len(found()); n < len(canaries) {
		t.Fatalf("only %d of %d are on the disk before erasing: the test proves nothing", n, len(canaries))
	}
	if err := s.Write(t.Context(), func(tx *store.Tx) error { return tx.EraseStudent("s1", 2) }); err != nil {
		t.Fatal(err)
	}
	if err := s.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	if left := found(); len(left) > 0 {
		t.Errorf("still on the disk: %v", left)
	}
}

func TestACheckpointFailsWhileAReadingHoldsTheLog(t *testing.T) {
	s := open(t, t.TempDir())
	if err := s.Read(t.Context(), func(tx *store.Tx) error {
		if _, _, err := tx.Setting("k"); err != nil { // the view begins with the first statement
			return err
		}
		if err := s.Write(t.Context(), func(tx *store.Tx) error { return tx.SetSetting("k", "v") }); err != nil {
			return err
		}
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond) // it would wait for five seconds
		defer cancel()
		if err := s.Checkpoint(ctx); err == nil {
			t.Error("the log was emptied under a reading")
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if err := s.Checkpoint(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestWhatIsWrittenIsThereAfterOpeningAgain(t *testing.T) {
	dir := t.TempDir()
	s, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	grading(t, s)
	if err := addMarks(t.Context(), s, markNo(1), markNo(2)); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if n := countMarks(t, open(t, dir)); n != 2 {
		t.Errorf("%d marks, want 2", n)
	}
}

// The manager's own option keeps the cookie's token out of the base.
func TestASessionsTokenIsNotInTheBase(t *testing.T) {
	s := open(t, t.TempDir())
	m := scs.New()
	m.HashTokenInStore = true
	m.Store = s.Sessions(time.Now)
	page := m.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/in" {
			m.Put(r.Context(), "person", "p1")
		}
		fmt.Fprint(w, m.GetString(r.Context(), "person"))
	}))
	in := httptest.NewRecorder()
	page.ServeHTTP(in, httptest.NewRequest("GET", "/in", nil))
	cookies := in.Result().Cookies()
	if len(cookies) != 1 || len(cookies[0].Value) < 32 {
		t.Fatalf("cookies: %v", cookies)
	}
	again := httptest.NewRequest("GET", "/", nil)
	again.AddCookie(cookies[0])
	out := httptest.NewRecorder()
	page.ServeHTTP(out, again)
	if out.Body.String() != "p1" {
		t.Errorf("the session holds %q, want p1", out.Body)
	}
	for _, suffix := range []string{"", "-wal"} {
		b, err := os.ReadFile(s.Path() + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(b, []byte(cookies[0].Value)) {
			t.Errorf("the token is in the base%s", suffix)
		}
	}
}

// What one reconnecting tablet sends in a transaction: 10 children × 35 marks.
func BenchmarkAppend350Marks(b *testing.B) {
	s := open(b, b.TempDir())
	grading(b, s)
	n := int64(0)
	for b.Loop() {
		batch := make([]store.MarkRow, 350)
		for i := range batch {
			n++
			batch[i] = markNo(n)
		}
		if err := addMarks(context.Background(), s, batch...); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(350*float64(b.N)/b.Elapsed().Seconds(), "marks/s")
}

func BenchmarkAppendOneMark(b *testing.B) {
	s := open(b, b.TempDir())
	grading(b, s)
	for n := int64(1); b.Loop(); n++ {
		if err := addMarks(context.Background(), s, markNo(n)); err != nil {
			b.Fatal(err)
		}
	}
}
