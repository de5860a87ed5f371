package store_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rankwright/internal/store"
)

// kept puts a file beside a base and a picture that refers to it.
func kept(t *testing.T, s *store.Store, id string, data []byte) store.Picture {
	t.Helper()
	f, err := s.Stage(bytes.NewReader(data), 1<<20, func(*os.File, int64) (string, error) { return ".mp4", nil })
	if err != nil {
		t.Fatal(err)
	}
	defer f.Drop()
	p := store.Picture{ID: id, Ladder: "juniors", Kind: "section", About: "falls", File: f.File, Media: "video/mp4", Bytes: f.Bytes, Alt: "A fall", At: 1}
	if err := s.Write(t.Context(), func(tx *store.Tx) error {
		if err := tx.Settle(f); err != nil {
			return err
		}
		p, err = tx.AddPicture(p)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return p
}

func names(t *testing.T, s *store.Store) (out []string) {
	t.Helper()
	found, err := os.ReadDir(filepath.Join(filepath.Dir(s.Path()), "pictures"))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	for _, e := range found {
		out = append(out, e.Name())
	}
	return out
}

func content(t *testing.T, s *store.Store, p store.Picture) []byte {
	t.Helper()
	f, err := s.OpenFile(p.File)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestAFileStaysAsLongAsAPictureRefersToIt(t *testing.T) {
	s := open(t, t.TempDir())
	one, two := kept(t, s, "pic-1", []byte("the same bytes")), kept(t, s, "pic-2", []byte("the same bytes"))
	if one.File != two.File || len(names(t, s)) != 1 {
		t.Fatalf("the same bytes are kept as %v", names(t, s))
	}
	if got := content(t, s, one); string(got) != "the same bytes" {
		t.Errorf("it holds %q", got)
	}
	for i, id := range []string{"pic-1", "pic-2"} {
		if err := s.Write(t.Context(), func(tx *store.Tx) error { return tx.RemovePicture(id) }); err != nil {
			t.Fatal(err)
		}
		if err := s.RemoveUnused(t.Context(), one.File); err != nil {
			t.Fatal(err)
		}
		if got := len(names(t, s)); got != 1-i {
			t.Errorf("%d files are left after %s went", got, id)
		}
	}
	_, err := s.OpenFile(one.File)
	wantCode(t, err, "no_file")
	for _, name := range []string{"../rankwright.db", "", "x.jpg", strings.Repeat("a", 64) + ".jpg/.."} {
		_, err := s.OpenFile(name)
		wantCode(t, err, "not_found")
	}
}

// What is cut off, refused or too large leaves nothing; what was left over by a
// crash goes later, and not what may be on its way.
func TestNothingHalfStays(t *testing.T) {
	s := open(t, t.TempDir())
	fine := func(*os.File, int64) (string, error) { return ".jpg", nil }
	cut := errors.New("the line was cut")
	_, err := s.Stage(io.MultiReader(strings.NewReader("the first half"), failing{cut}), 1<<20, fine)
	if !errors.Is(err, cut) {
		t.Errorf("got %v", err)
	}
	_, err = s.Stage(bytes.NewReader(make([]byte, 1<<20+1)), 1<<20, fine)
	wantCode(t, err, "file_large")
	_, err = s.Stage(strings.NewReader("x"), 1<<20, func(*os.File, int64) (string, error) { return "", cut })
	if !errors.Is(err, cut) {
		t.Errorf("got %v", err)
	}
	dropped, err := s.Stage(strings.NewReader("x"), 1<<20, fine)
	if err != nil {
		t.Fatal(err)
	}
	dropped.Drop()
	if left := names(t, s); left != nil {
		t.Errorf("%v is left", left)
	}
	dir := filepath.Join(filepath.Dir(s.Path()), "pictures")
	young, old, foreign := filepath.Join(dir, "coming-1.part"), filepath.Join(dir, "coming-2.part"), filepath.Join(dir, "notes.txt")
	for _, name := range []string{young, old, foreign} {
		if err := os.WriteFile(name, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	long := time.Now().Add(-2 * time.Hour)
	for _, name := range []string{old, foreign} {
		if err := os.Chtimes(name, long, long); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.RemoveUnused(t.Context(), ""); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(names(t, s), " "); got != "coming-1.part notes.txt" {
		t.Errorf("left are %s", got)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// A backup is one file with the pictures in it. What is restored has them, its
// base is no larger for it, and what was missing before is told.
func TestARestoredSchoolHasItsPictures(t *testing.T) {
	s := open(t, t.TempDir())
	grading(t, s)
	large := bytes.Repeat([]byte("moving pictures "), 50_000) // in several parts
	one, two, gone := kept(t, s, "pic-1", large), kept(t, s, "pic-2", []byte("a stance")), kept(t, s, "pic-3", []byte("lost later"))
	bad := kept(t, s, "pic-4", []byte("damaged later"))
	dir := filepath.Join(filepath.Dir(s.Path()), "pictures")
	if err := os.Remove(filepath.Join(dir, gone.File)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, bad.File), []byte("other bytes"), 0o600); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "backup.db")
	if err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "restored")
	if err := store.Restore(t.Context(), file, to); err != nil {
		t.Fatal(err)
	}
	r := open(t, to)
	if !bytes.Equal(content(t, r, one), large) || string(content(t, r, two)) != "a stance" {
		t.Error("the pictures came back otherwise")
	}
	whole, lost, err := r.Lost(t.Context())
	if err != nil || whole != 2 || len(lost) != 2 || lost[0].ID != "pic-3" || lost[1].ID != "pic-4" {
		t.Errorf("%d are whole, lost are %v, %v", whole, lost, err)
	}
	if err := r.Check(t.Context()); err != nil {
		t.Error(err)
	}
	base, err := os.Stat(r.Path())
	if err != nil || base.Size() > int64(len(large)) {
		t.Errorf("the restored base has %d bytes, %v", base.Size(), err)
	}
	if left := names(t, r); len(left) != 2 {
		t.Errorf("beside it stand %v", left)
	}
	// A picture changed in the backup is found, and nothing is restored.
	all, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	i := bytes.LastIndex(all, []byte("a stance"))
	copy(all[i:], "b STANCE")
	if err := os.WriteFile(file, all, 0o600); err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "again")
	wantCode(t, store.Restore(context.Background(), file, again), "damaged")
	if left, err := os.ReadDir(again); err == nil && len(left) > 0 {
		t.Errorf("left is %v", left)
	}
}
