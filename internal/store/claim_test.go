package store

import (
	"os"
	"path/filepath"
	"testing"

	"rankwright"
)

func TestAFolderIsServedByOneProgram(t *testing.T) {
	dir := t.TempDir()
	// A file that was left behind claims nothing.
	if err := os.WriteFile(filepath.Join(dir, claimName), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	first, err := ClaimFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ClaimFolder(t.Context(), dir); rankwright.KindOf(err) != rankwright.Conflict {
		t.Errorf("a second claim is answered with %v", err)
	}
	if c, err := ClaimFolder(t.Context(), t.TempDir()); err != nil {
		t.Errorf("another folder cannot be claimed: %v", err)
	} else if err := c.Release(); err != nil {
		t.Error(err)
	}
	s, err := Open(t.Context(), dir) // a command beside the server
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := ClaimFolder(t.Context(), dir); err == nil {
		t.Error("a command that ended took the claim with it")
	}
	if err := first.Release(); err != nil {
		t.Fatal(err)
	}
	again, err := ClaimFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := again.Release(); err != nil {
		t.Error(err)
	}
}
