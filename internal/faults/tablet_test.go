//go:build storage

package faults

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"rankwright/internal/store"
)

// hall stands between the tablet and the program. It signs the tablet in, lets
// no mark through while it is away, and can spoil the page's own scripts.
type hall struct {
	url   string
	away  atomic.Bool
	spoil spoiler
}

// spoiler is what is put in the place of what, in scripts by name as they are
// written; as they travel they are leaner.
type spoiler map[string][2]string

// of is the script of an address as the spoiler has it, nil where it leaves it
// alone.
func (s spoiler) of(path string) ([]byte, error) {
	name := path[strings.LastIndex(path, "/")+1:]
	x, ok := s[name]
	if !ok {
		return nil, nil
	}
	was, err := os.ReadFile(filepath.Join("..", "web", "mat", name))
	if err != nil {
		return nil, err
	}
	is := bytes.ReplaceAll(was, []byte(x[0]), []byte(x[1]))
	if bytes.Equal(was, is) {
		return nil, fmt.Errorf("there was nothing to spoil in %s", name)
	}
	return is, nil
}

func newHall(t *testing.T, at, cookie string, spoil spoiler) *hall {
	t.Helper()
	to, err := url.Parse(at)
	must(t, err)
	h := &hall{spoil: spoil}
	p := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(to)
			r.Out.Host = r.In.Host
			r.Out.Header.Set("Cookie", cookie)
		},
		ModifyResponse: func(r *http.Response) error {
			is, err := h.spoil.of(r.Request.URL.Path)
			if is == nil || err != nil {
				return err
			}
			r.Header.Del("Content-Encoding")
			r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(is)), int64(len(is))
			r.Header.Set("Content-Length", strconv.Itoa(len(is)))
			return nil
		},
	}
	ts := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && strings.HasSuffix(r.URL.Path, "/marks") && h.away.Load() {
			panic(http.ErrAbortHandler)
		}
		p.ServeHTTP(w, r)
	}))
	t.Cleanup(ts.Close)
	h.url = ts.URL
	return h
}

// tablet is a Chromium whose profile is on a disk of its own.
type tablet struct {
	t          *testing.T
	image, dir string
	ctx        context.Context
	stop       func()
}

// watchPuts notes every mark that the page hands to its log, as text, in the
// page's memory: what the page can be held to once it says "kept".
const watchPuts = `globalThis.handed = new Map(); const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (...a) { const r = put.apply(this, a); if (this.name === 'marks' && !a[0].done) handed.set(a[0].mark.id, JSON.stringify(a[0].mark)); return r };`

func (d *tablet) on(at string) {
	d.t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		d.t.Fatal("this test needs Chromium, and none is installed (on Debian: apt-get install chromium)")
	}
	left, _ := filepath.Glob(filepath.Join(d.dir, "Singleton*"))
	for _, name := range left {
		must(d.t, os.Remove(name)) // of the browser that died
	}
	alloc, end := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.UserDataDir(d.dir), chromedp.NoFirstRun,
		chromedp.NoDefaultBrowserCheck, chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-dev-shm-usage", true))
	ctx, cancel := chromedp.NewContext(alloc)
	ctx, late := context.WithTimeout(ctx, time.Minute)
	d.ctx = ctx
	d.stop = sync.OnceFunc(func() { late(); cancel(); end() })
	d.t.Cleanup(d.stop)
	must(d.t, chromedp.Do(ctx))
	_, err = chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: watchPuts})
	must(d.t, err)
	must(d.t, chromedp.Do(ctx, chromedp.Navigate(at)))
}

func ask[T any](d *tablet, expression string) T {
	d.t.Helper()
	v, err := chromedp.Run(d.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		d.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// said waits until the page says something like it of the marks, and has no tap
// in hand: it does not want to be left while one is not kept yet.
const said = `globalThis.said ??= async (like) => { for (let i = 0; i < 1500; i++) { const s = document.getElementById('mat-saved')?.textContent ?? ''; if (like.test(s) && dispatchEvent(new Event('beforeunload', { cancelable: true }))) return s; await new Promise((r) => setTimeout(r, 10)) } throw new Error('the page says: ' + document.getElementById('mat-saved')?.textContent) };`

// cut takes the power away: the browser is dead at once, the disk is what had
// reached it, and what the kernel still meant to write is gone. The picture of
// the disk must be of one moment. So it is taken when every process of the
// browser has ended, on a file system that commits when it is told to (fsync)
// and not by the clock: a commit while the image is copied would leave a disk
// that never was, its journal newer than what the journal is for.
func (d *tablet) cut() {
	d.t.Helper()
	d.die()
	was, at := d.image, filepath.Join(d.t.TempDir(), "image")
	run(d.t, "cp", "--sparse=always", was, at) // before it is unmounted, which would write the rest
	d.off()
	must(d.t, os.Remove(was))
	d.image, d.dir = at, d.t.TempDir()
	loopWith(d.t, at, d.dir, slowCommit)
}

// die kills the browser with all of its processes.
func (d *tablet) die() {
	d.t.Helper()
	must(d.t, chromedp.FromContext(d.ctx).Browser.Process().Kill())
	for i := 0; ; i++ {
		left := processesOn(d.dir)
		if len(left) == 0 {
			return
		}
		if i == 200 {
			d.t.Fatalf("processes of the browser do not end: %v", left)
		}
		for _, pid := range left {
			if p, err := os.FindProcess(pid); err == nil {
				_ = p.Kill() // it may have ended meanwhile
			}
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// off takes the disk out.
func (d *tablet) off() {
	d.t.Helper()
	d.stop()
	for i := 0; exec.Command("umount", d.dir).Run() != nil; i++ { // the kernel lets go of what the dead had mapped
		if i == 100 {
			run(d.t, "umount", d.dir)
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// plug puts a copy of a disk in.
func (d *tablet) plug(image string) {
	d.t.Helper()
	d.image, d.dir = filepath.Join(d.t.TempDir(), "image"), d.t.TempDir()
	run(d.t, "cp", "--sparse=always", image, d.image)
	loopWith(d.t, d.image, d.dir, slowCommit)
}

const slowCommit = "loop,commit=3600"

func loopWith(t *testing.T, image, dir, options string) {
	t.Helper()
	run(t, "mount", "-o", options, image, dir)
	t.Cleanup(func() {
		if exec.Command("mountpoint", "-q", dir).Run() == nil {
			run(t, "umount", dir)
		}
	})
}

// processesOn lists the processes that were started with a profile, or hold a
// file in it: the folder is this test's alone.
func processesOn(dir string) (pids []int) {
	entries, _ := os.ReadDir("/proc")
	for _, e := range entries {
		pid, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		line, _ := os.ReadFile(filepath.Join("/proc", e.Name(), "cmdline")) // it may have ended
		on := bytes.Contains(line, []byte("--user-data-dir="+dir+"\x00"))
		files, _ := filepath.Glob(filepath.Join("/proc", e.Name(), "fd", "*"))
		for _, f := range append(files, filepath.Join("/proc", e.Name(), "cwd")) {
			at, _ := os.Readlink(f)
			on = on || strings.HasPrefix(at, dir+"/")
		}
		if on && pid != os.Getpid() {
			pids = append(pids, pid)
		}
	}
	return pids
}

// deviceCuts is how often the tablet's power is cut; make faults sets more.
func deviceCuts(t *testing.T) int {
	if v := os.Getenv("RANKWRIGHT_DEVICE_CUTS"); v != "" {
		n, err := strconv.Atoi(v)
		must(t, err)
		return n
	}
	return 10
}

const inLog = `new Promise((done, fail) => { const o = indexedDB.open('rankwright'); o.onerror = () => fail(o.error); o.onsuccess = () => { const db = o.result; if (!db.objectStoreNames.contains('marks')) { db.close(); done([]); return } const all = db.transaction('marks').objectStore('marks').getAll(); all.onsuccess = () => { db.close(); done(all.result.filter((h) => !h.done).map((h) => JSON.stringify(h.mark))) } } })`

// freshTablet opens the page once where the server is away, switches the tablet
// off in peace, and gives what it has on its disk then.
func freshTablet(t *testing.T, d *tablet, h *hall, at string) (image string) {
	t.Helper()
	h.away.Store(true)
	d.on(h.url + at)
	ask[bool](d, said+`said(/^All marks are saved/).then(() => true)`)
	must(t, chromedp.Cancel(d.ctx))
	d.off()
	return d.image
}

// cutTablet takes a tablet that was never cut, marks on the page, cuts the power
// as soon as the page says that the marks are kept, looks what the device has
// when it is on again, and lets it send that; so many times. It gives the marks
// that were called kept and those of them that were gone, as text.
func cutTablet(t *testing.T, d *tablet, h *hall, at string, times int) (kept, lost []string) {
	t.Helper()
	fresh := freshTablet(t, d, h, at)
	for i := range times {
		h.away.Store(true)
		d.plug(fresh)
		d.on(h.url + at)
		ask[bool](d, said+`said(/^All marks are saved/).then(() => true)`)
		// A row at once where it has no marks yet, then eight taps, each on its own.
		now := ask[[]string](d, fmt.Sprintf(`(async () => {
			const rows = [...document.querySelectorAll('tr[data-q][data-kind="tick"]')].filter((tr) => tr.querySelector('.mat-all'));
			const row = rows[%d %% rows.length];
			row.querySelector('.mat-all').click();
			for (let k = 0; k < 8; k++) { row.querySelectorAll('button.tap')[(k + %d) %% 20].click(); await new Promise((r) => setTimeout(r, k)) }
			await said(/^\d+ marks not sent yet: no connection\. They are kept on this device;/);
			return [...handed.values()] })()`, i, i))
		if len(now) < 8 {
			t.Fatalf("only %d marks were made", len(now))
		}
		d.cut()
		d.on(h.url + at)
		ask[bool](d, said+`said(/^(All marks are saved|\d+ marks? not sent yet)/).then(() => true)`)
		has := ask[[]string](d, inLog)
		for _, m := range now {
			if !slices.Contains(has, m) {
				lost = append(lost, m)
			}
		}
		kept = append(kept, now...)
		h.away.Store(false)
		ask[bool](d, said+`dispatchEvent(new Event('online')), said(/^All marks are saved/).then(() => true)`)
		d.die()
		d.off()
		must(t, os.Remove(d.image))
	}
	return kept, lost
}

// tabletAndHall sets up a school on the mat and a tablet with a disk of its own.
func tabletAndHall(t *testing.T, spoil spoiler) (s *school, d *tablet, h *hall, at string) {
	t.Helper()
	s = newSchool(t, "", 20)
	p := serve(t, s.dir)
	h = newHall(t, p.at, p.signIn(s.examiners[0]), spoil)
	h.away.Store(true)
	image, dir := filepath.Join(t.TempDir(), "image"), t.TempDir()
	must(t, os.WriteFile(image, nil, 0o600))
	must(t, os.Truncate(image, 256<<20))
	run(t, "mkfs.ext4", "-q", image)
	loopWith(t, image, dir, slowCommit)
	return s, &tablet{t: t, image: image, dir: dir}, h, "/gradings/" + string(s.grading) + "/marks"
}

// A tablet's battery dies the moment its page says that the marks are kept on
// this device. On again, it has every one, and the server gets it once.
//
// It is a device that was never cut before, and it sends when it is on again.
// One that goes on without a connection is tried below.
func TestStorageATabletWhosePowerIsCutHasEveryMarkItCalledKept(t *testing.T) {
	s, d, h, at := tabletAndHall(t, nil)
	n := deviceCuts(t)
	kept, lost := cutTablet(t, d, h, at, n)
	if len(lost) > 0 || len(kept) < 8*n {
		t.Errorf("of %d marks that were called kept %d are gone", len(kept), len(lost))
	}
	base := map[string]store.MarkRow{}
	for _, r := range inBase(t, s, 0) {
		base[string(r.ID)] = r
	}
	for _, text := range kept {
		var m mark
		must(t, json.Unmarshal([]byte(text), &m))
		r, ok := base[m.ID]
		if !ok || m.Device != string(r.Device) || m.Seq != r.Seq || m.Clock != r.Clock || m.Entry != r.Entry || m.Requirement != r.Requirement ||
			m.Try != r.Try || m.Value != r.Value.String() || m.At != r.At || m.Note != r.Note {
			t.Errorf("the device kept %s, the base has %+v", text, r)
		}
	}
	if len(base) != len(kept) {
		t.Errorf("%d marks are in the base, %d were called kept", len(base), len(kept))
	}
	t.Logf("%d cuts, %d marks called kept, %d lost; %d in the base", n, len(kept), len(lost), len(base))
}

// noCopy is a page that keeps no second copy of its marks.
var noCopy = [2]string{"can = secure && !!", "can = secure && !"}

// The control: a page that leaves it to the browser when its log is written,
// and keeps no second copy, must be found out. With the second copy alone none
// is lost; with one that is not written through some are.
func TestStorageATabletWhosePowerIsCutSeesAPageThatDoesNotWriteThrough(t *testing.T) {
	relaxed := [2]string{"'strict'", "'relaxed'"}
	for _, c := range []struct {
		name  string
		spoil spoiler
		loses bool
	}{
		{"durability default, no second copy", spoiler{"log.js": {"'strict'", "'default'"}, "copy.js": noCopy}, true},
		{"durability relaxed, no second copy", spoiler{"log.js": relaxed, "copy.js": noCopy}, true},
		{"durability relaxed, the second copy not written through", spoiler{"log.js": relaxed, "second.js": {"this.#files[0].flush();", ""}}, true},
		{"durability relaxed, the second copy as it is", spoiler{"log.js": relaxed}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, d, h, at := tabletAndHall(t, c.spoil)
			const times = 3
			kept, lost := cutTablet(t, d, h, at, times)
			if c.loses && len(lost) == 0 {
				t.Errorf("none of %d marks was lost in %d cuts: the test shows nothing", len(kept), times)
			}
			if !c.loses && len(lost) > 0 {
				t.Errorf("%d of %d marks were lost in %d cuts", len(lost), len(kept), times)
			}
			t.Logf("of %d marks called kept %d were lost in %d cuts", len(kept), len(lost), times)
		})
	}
}

// zeros puts noughts behind Chromium's log of IndexedDB, as ext4 was seen to
// leave them there after a cut: the place of a write that nobody waited for.
func (d *tablet) zeros(n int) {
	d.t.Helper()
	logs, err := filepath.Glob(filepath.Join(d.dir, "Default", "IndexedDB", "*.leveldb", "*.log"))
	if must(d.t, err); len(logs) == 0 {
		d.t.Fatal("the browser's log is not where it was looked for")
	}
	for _, name := range logs {
		was, err := os.Stat(name)
		must(d.t, err)
		must(d.t, os.Truncate(name, was.Size()+int64(n)))
	}
}

// goOnTablet cuts a tablet's power, leaves noughts behind its log, lets it go
// on without a connection, and starts it a third time. It gives the marks that
// were called kept, and those of them that are not on the device then.
func goOnTablet(t *testing.T, d *tablet, h *hall, at string, times int) (kept, lost []string) {
	t.Helper()
	fresh := freshTablet(t, d, h, at)
	for i := range times {
		d.plug(fresh)
		was := map[string]bool{}
		for life := range 2 {
			d.on(h.url + at)
			ask[bool](d, said+`said(/^(All marks are saved|\d+ marks? not sent yet)/).then(() => true)`)
			now := ask[[]string](d, fmt.Sprintf(`(async () => {
				const rows = [...document.querySelectorAll('tr[data-q][data-kind="tick"]')].filter((tr) => tr.querySelector('.mat-all'));
				for (let k = 0; k < 8; k++) { rows[%d %% rows.length].querySelectorAll('button.tap')[k].click(); await new Promise((r) => setTimeout(r, k)) }
				await said(/^\d+ marks not sent yet: no connection\. They are kept on this device;/);
				return [...handed.values()] })()`, 2*i+life))
			for _, m := range now {
				was[m] = true
			}
			d.cut()
			d.zeros(40 + 900*i)
		}
		d.on(h.url + at)
		ask[bool](d, said+`said(/^(All marks are saved|\d+ marks? not sent yet)/).then(() => true)`)
		has := ask[[]string](d, inLog)
		for m := range was {
			kept = append(kept, m)
			if !slices.Contains(has, m) {
				lost = append(lost, m)
			}
		}
		d.die()
		d.off()
		must(t, os.Remove(d.image))
	}
	return kept, lost
}

// A tablet whose battery died goes on without a connection and is started once
// more. Chromium wrote its log on behind the noughts and reads no further than
// them; the second copy has what stands there. Without the copy marks are
// gone, which shows that there was something to see.
func TestStorageATabletThatWasCutAndGoesOnWithoutAConnectionHasEveryMark(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil spoiler
	}{{"with the second copy", nil}, {"without", spoiler{"copy.js": noCopy}}} {
		t.Run(c.name, func(t *testing.T) {
			_, d, h, at := tabletAndHall(t, c.spoil)
			n := max(3, deviceCuts(t)/10)
			if c.spoil != nil {
				n = 3
			}
			kept, lost := goOnTablet(t, d, h, at, n)
			if len(kept) < 16*n {
				t.Errorf("only %d marks were called kept", len(kept))
			}
			if c.spoil == nil && len(lost) > 0 {
				t.Errorf("of %d marks that were called kept %d are gone: %v", len(kept), len(lost), lost)
			}
			if c.spoil != nil && len(lost) == 0 {
				t.Errorf("none of %d marks was lost: the test shows nothing", len(kept))
			}
			t.Logf("%d devices cut twice, %d marks called kept, %d lost", n, len(kept), len(lost))
		})
	}
}
