package store

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// A base that is reached by two names is one file, and opening it by the second
// one leaves the locks of the first. A lock of an open file description meets
// those of the process itself (fcntl(2), F_OFD_GETLK), so it sees them.
func TestABaseReachedByTwoNamesKeepsItsLocks(t *testing.T) {
	dir := t.TempDir()
	real, other := filepath.Join(dir, "school"), filepath.Join(dir, "shortcut")
	if err := os.Mkdir(real, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(real, other); err != nil {
		t.Fatal(err)
	}
	first, err := Open(t.Context(), real)
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	look, err := os.OpenFile(first.Path(), os.O_RDWR, 0) // closed last of all: it would take the locks along
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { look.Close() })
	locked := func() bool {
		const ofdGetLock, shared = 36, 0x40000002 // SQLite's bytes for those who read (os.h, SHARED_FIRST)
		l := syscall.Flock_t{Type: syscall.F_WRLCK, Start: shared, Len: 510}
		if err := syscall.FcntlFlock(look.Fd(), ofdGetLock, &l); err != nil {
			t.Fatal(err)
		}
		return l.Type != syscall.F_UNLCK
	}
	if !locked() {
		t.Fatal("no lock is seen on an open base: the test shows nothing")
	}
	second, err := Open(t.Context(), other)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	if !locked() {
		t.Error("opening a base by another name took the locks of the store that has it open")
	}
}
