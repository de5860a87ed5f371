package faults

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"rankwright"
	"rankwright/internal/store"
)

// The disk fills up while a clip comes in: that is said in words, nothing of it
// stays, and with some room again it is taken.
func TestAFullDiskKeepsNothingOfAClip(t *testing.T) {
	dir := mount(t, "size=8m")
	s, err := store.Open(t.Context(), dir)
	must(t, err)
	defer s.Close()
	fine := func(*os.File, int64) (string, error) { return ".mp4", nil }
	_, err = s.Stage(bytes.NewReader(make([]byte, 12<<20)), 24<<20, fine)
	var f *rankwright.Fault
	if !errors.As(err, &f) || f.Code != "disk_full" || f.Say != "the disk of the school's computer is full, and nothing of the file was kept" || f.Do == "" {
		t.Errorf("it is said: %v", err)
	}
	left, err := os.ReadDir(filepath.Join(dir, "pictures"))
	if err != nil || len(left) > 0 {
		t.Errorf("left is %v, %v", left, err)
	}
	staged, err := s.Stage(bytes.NewReader(make([]byte, 1<<20)), 24<<20, fine)
	must(t, err)
	staged.Drop()
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}
