package faults

import (
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// mount gives a small disk of its own. It needs root on Linux: elsewhere the
// test fails, since a fault that was not tried is not survived.
func mount(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "rankwright-faults", dir).CombinedOutput(); err != nil {
		t.Fatalf("no disk can be mounted for the test, which needs root on Linux: %v: %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("the test's disk stays mounted: %v: %s", err, out)
		}
	})
	return dir
}

func remount(t *testing.T, dir, options string) {
	t.Helper()
	if out, err := exec.Command("mount", "-o", "remount,"+options, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
}

// The disk fills up while marks come in. The devices are told so in words and
// keep their marks, pages can still be read, and when somebody has made room
// everything comes in without a restart.
func TestAFullDiskLosesNothingAndHeals(t *testing.T) {
	dir := mount(t, "size=11m")
	s := newSchool(t, dir, 20)
	p := serve(t, dir)
	cookie := p.signIn(s.examiners[0])
	ballast := filepath.Join(dir, "holiday-film.mp4")
	must(t, os.WriteFile(ballast, make([]byte, 8<<20), 0o600))
	b := newBook()
	devices := newDevices(5, s, []string{cookie}, 5, b)
	c := &http.Client{Transport: wire, Timeout: 30 * time.Second}
	var no *refusal
	refused := 0
	for i := 0; refused < 50; i++ {
		if i == 2000 {
			t.Fatal("the disk did not fill up")
		}
		d := devices[i%len(devices)]
		d.make(20)
		switch err := d.send(c, p.at, 20); {
		case errors.As(err, &no):
			refused++
			if no.Status != http.StatusServiceUnavailable || !strings.Contains(no.Say, "disk of the school's computer is full") ||
				!strings.Contains(no.Do, "Free some space") || !strings.Contains(no.Do, "marks stay on the devices") {
				t.Fatalf("a device is told: %v", no)
			}
		case err != nil:
			t.Fatal(err)
		}
	}
	if b.acks == 0 {
		t.Fatal("the disk was full from the beginning")
	}
	if status, _, err := p.get(cookie, "/gradings/"+string(s.grading)); status != http.StatusOK || err != nil {
		t.Errorf("with the disk full a page is %d, %v", status, err)
	}
	rows := inBase(t, s, 0)
	if got := b.hold(rows); got != (verdict{}) {
		t.Errorf("with the disk full: %+v", got)
	}
	kept := len(rows)
	if kept != b.acks {
		t.Errorf("%d marks are in the base, and %d were answered", kept, b.acks)
	}

	must(t, os.Remove(ballast))
	for _, d := range devices {
		if err := d.drain(c, p.at, 20); err != nil {
			t.Fatalf("after room was made: %v", err)
		}
	}
	if got := b.hold(inBase(t, s, int64(kept))); got != (verdict{}) || b.missing() > 0 {
		t.Errorf("after room was made: %+v, %d marks missing", got, b.missing())
	}
	t.Logf("%d marks kept before the disk was full, %d batches refused, %d marks in the end", kept, refused, len(b.found))
	p.stop()
	sound(t, s)
}

// A server that cannot keep marks does not begin to take any.
func TestAReadOnlyDiskIsRefusedInWordsAndLeftAlone(t *testing.T) {
	dir := mount(t, "size=16m")
	s := newSchool(t, dir, 3)
	before, err := os.ReadFile(filepath.Join(dir, "rankwright.db"))
	must(t, err)
	remount(t, dir, "ro")
	p, out, err := start(t, dir)
	must(t, err)
	said, _ := io.ReadAll(out)
	<-p.dead
	if code := p.cmd.ProcessState.ExitCode(); code <= 0 {
		t.Errorf("it ended with %d", code)
	}
	for _, want := range []string{"the disk with the base is read-only", "take the write protection off the disk"} {
		if !strings.Contains(p.errs.String(), want) {
			t.Errorf("it does not say %q:\n%s%s", want, said, p.errs)
		}
	}
	if len(address.Find(said)) > 0 {
		t.Errorf("it gave out an address:\n%s", said)
	}
	files, err := os.ReadDir(dir)
	must(t, err)
	after, err := os.ReadFile(filepath.Join(dir, "rankwright.db"))
	must(t, err)
	if len(files) != 1 || string(after) != string(before) {
		t.Errorf("it changed the folder: %v", files)
	}

	remount(t, dir, "rw")
	p = serve(t, dir)
	b := newBook()
	d := newDevices(1, s, []string{p.signIn(s.examiners[0])}, 6, b)[0]
	d.make(30)
	must(t, d.drain(&http.Client{Transport: wire}, p.at, 10))
	if got := b.hold(inBase(t, s, 0)); got != (verdict{}) || b.missing() > 0 {
		t.Errorf("made writable again: %+v, %d missing", got, b.missing())
	}
	p.stop()
}
