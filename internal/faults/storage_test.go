//go:build storage

package faults

import (
	"encoding/json"
	"errors"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/store"
)

// These tests need root, a loop device, mkfs.ext4 and strace. They run with
// make faults, and fail where one of them is missing.

func run(t *testing.T, name string, args ...string) {
	t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %v: %v: %s", name, args, err, out)
	}
}

// ext4 gives a disk with ext4 in a file, mounted.
func ext4(t *testing.T) (image, dir string) {
	image, dir = filepath.Join(t.TempDir(), "image"), t.TempDir()
	must(t, os.WriteFile(image, nil, 0o600))
	must(t, os.Truncate(image, 48<<20))
	run(t, "mkfs.ext4", "-q", image)
	loop(t, image, dir)
	return image, dir
}

func loop(t *testing.T, image, dir string) {
	t.Helper()
	run(t, "mount", "-o", "loop", image, dir)
	t.Cleanup(func() {
		if exec.Command("mountpoint", "-q", dir).Run() == nil {
			run(t, "umount", dir)
		}
	})
}

// cable is a server whose power is cut: after the kill the disk is what had
// reached it, and what the kernel still meant to write is gone.
type cable struct {
	t     *testing.T
	image string
	dir   string
	on    func(dir string) (at string)
	off   func()
	read  func(dir string, arrival int64) []store.MarkRow
}

func (c *cable) start() string                       { return c.on(c.dir) }
func (c *cable) since(arrival int64) []store.MarkRow { return c.read(c.dir, arrival) }

func (c *cable) kill() {
	c.off()
	next, dir := filepath.Join(c.t.TempDir(), "image"), c.t.TempDir()
	run(c.t, "cp", c.image, next) // before the old one is unmounted, which would write the rest
	run(c.t, "umount", c.dir)
	must(c.t, os.Remove(c.image))
	loop(c.t, next, dir)
	c.image, c.dir = next, dir
}

const cuts = 50

func TestStorageAPowerCut(t *testing.T) {
	image, dir := ext4(t)
	s := newSchool(t, dir, 20)
	p := serve(t, dir)
	cookie := p.signIn(s.examiners[0])
	p.stop()
	wire.CloseIdleConnections()
	b := newBook()
	c := &cable{t: t, image: image, dir: dir,
		on:  func(dir string) string { s.dir = dir; p = serve(t, dir); return p.at },
		off: func() { p.kill() },
		read: func(dir string, arrival int64) []store.MarkRow {
			return inBase(t, s, arrival)
		}}
	if got := killLoop(t, c, newDevices(8, s, []string{cookie}, 33, b), b, cuts, 33); got != (verdict{}) {
		t.Errorf("%+v", got)
	}
	t.Logf("%d cuts, %d answers", cuts, b.acks)
	p.stop()
	sound(t, s)
}

// The control: a server that writes its marks into a file and does not wait
// for the disk must be found out.
func TestStorageAPowerCutSeesAServerThatDoesNotSync(t *testing.T) {
	image, dir := ext4(t)
	b := newBook()
	var srv *careless
	file := func(dir string) string { return filepath.Join(dir, "marks.json") }
	c := &cable{t: t, image: image, dir: dir,
		on: func(dir string) string {
			srv = &careless{ids: map[rankwright.MarkID]bool{}}
			if data, err := os.ReadFile(file(dir)); err == nil && json.Unmarshal(data, &srv.disk) != nil {
				srv.disk = nil
			}
			for _, r := range srv.disk {
				srv.ids[r.ID] = true
			}
			return srv.start()
		},
		off: func() {
			srv.kill()
			data, err := json.Marshal(srv.since(0))
			must(t, err)
			must(t, os.WriteFile(file(dir), data, 0o600))
		},
		read: func(_ string, arrival int64) []store.MarkRow {
			return srv.since(min(arrival, int64(len(srv.disk))))
		}}
	s := &school{grading: "g", asked: []question{{"e", "q", []string{"0", "1", "x"}}}}
	got := killLoop(t, c, newDevices(4, s, []string{""}, 34, b), b, 3, 34)
	srv.kill()
	if got.lost == 0 {
		t.Errorf("the harness sees %+v", got)
	}
}

// stopsTaking sends until the server refuses, and wants it to do so in words
// and from then on, while pages can be read.
func stopsTaking(t *testing.T, p *program, d *device, b *book) {
	t.Helper()
	c := &http.Client{Transport: wire, Timeout: 20 * time.Second}
	for n := 0; ; n++ {
		d.make(10)
		err := d.send(c, p.at, 10)
		if err == nil && n < 200 {
			continue
		}
		var no *refusal
		if !errors.As(err, &no) || no.Status != http.StatusServiceUnavailable || !strings.Contains(no.Say, "disk refused to keep") || !strings.Contains(no.Do, "marks stay on the devices") {
			t.Fatalf("a device is told: %v", err)
		}
		break
	}
	acks := b.acks
	for range 20 {
		if d.send(c, p.at, 10) == nil {
			t.Fatal("marks were taken again on a disk that had failed")
		}
	}
	if status, _, err := p.get(d.cookie, "/gradings/"+string(d.grading)); err != nil || status != http.StatusOK || b.acks != acks {
		t.Errorf("a page is %d, %v", status, err)
	}
}

// comesBack starts the server anew and lets the device send what it kept.
func comesBack(t *testing.T, s *school, d *device, b *book) {
	t.Helper()
	p := serve(t, s.dir)
	c := &http.Client{Transport: wire, Timeout: 20 * time.Second}
	must(t, d.drain(c, p.at, 10))
	if got := b.hold(inBase(t, s, 0)); got != (verdict{}) || b.missing() > 0 {
		t.Errorf("%+v, %d missing", got, b.missing())
	}
	p.stop()
	sound(t, s)
}

// The kernel makes the disk read-only under the running server, as it does
// when the disk has a fault.
func TestStorageADiskThatTurnsReadOnly(t *testing.T) {
	image, dir := ext4(t)
	s := newSchool(t, dir, 20)
	p := serve(t, dir)
	b := newBook()
	d := newDevices(1, s, []string{p.signIn(s.examiners[0])}, 31, b)[0]
	d.make(200)
	must(t, d.drain(&http.Client{Transport: wire}, p.at, 20))
	run(t, "mount", "-o", "remount,abort", dir)
	stopsTaking(t, p, d, b)
	p.kill()
	again := t.TempDir() // after a check, as one would start the machine again
	copied := image + ".copy"
	run(t, "cp", image, copied)
	check := exec.Command("e2fsck", "-p", copied)
	if out, err := check.CombinedOutput(); err != nil && check.ProcessState.ExitCode() != 1 { // 1 is: mended
		t.Fatalf("e2fsck: %v: %s", err, out)
	}
	loop(t, copied, again)
	s.dir = again
	comesBack(t, s, d, b)
}

// The disk reports an error when it is told to keep something (fsync), once
// or for ever. What the server was told is kept is not, so that it must not
// try again and call it good (Rebello et al., USENIX ATC 2020).
func TestStorageADiskThatFailsToSync(t *testing.T) {
	for _, when := range []string{"1", "3", "7", "1+", "4+"} {
		t.Run(when, func(t *testing.T) {
			s := newSchool(t, "", 20)
			p := serve(t, s.dir)
			b := newBook()
			d := newDevices(1, s, []string{p.signIn(s.examiners[0])}, 32, b)[0]
			trace := exec.Command("strace", "-f", "-qq", "-e", "trace=fsync,fdatasync", "-e", "inject=fsync,fdatasync:error=EIO:when="+when,
				"-o", "/dev/null", "-p", strconv.Itoa(p.cmd.Process.Pid))
			must(t, trace.Start())
			time.Sleep(time.Second) // strace says nothing when it is ready
			stopsTaking(t, p, d, b)
			must(t, trace.Process.Signal(os.Interrupt))
			_ = trace.Wait() // it ends by our signal
			stopsTaking(t, p, d, b)
			p.kill()
			comesBack(t, s, d, b)
		})
	}
}
