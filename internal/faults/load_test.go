package faults

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// Load is measured open loop: each request has its planned moment, and how
// long it took counts from there, so that a server that stalls cannot hide it
// by being asked less (Gil Tene's "coordinated omission"). The devices run on
// the same machine as the server.

// loaded is a server under load.
type loaded struct {
	*program
	s       *school
	b       *book
	cookies []string
	c       *http.Client
}

func newLoaded(b *testing.B) *loaded {
	s := newSchool(b, "", 40)
	l := &loaded{program: serve(b, s.dir), s: s, b: newBook(), c: &http.Client{Transport: wire, Timeout: time.Minute}}
	for _, name := range s.examiners {
		l.cookies = append(l.cookies, l.signIn(name))
	}
	return l
}

// devices makes devices that nobody has heard of before.
func (l *loaded) devices(n int) []*device {
	return newDevices(n, l.s, l.cookies, rand.Uint64(), l.b)
}

// times are how long requests took.
type times struct {
	mu   sync.Mutex
	list []time.Duration
	bad  int
	last error
	shed atomic.Int64
}

func (t *times) add(d time.Duration, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.list = append(t.list, d); err != nil {
		t.bad, t.last = t.bad+1, err
	}
}

// report writes the quantiles, in milliseconds.
func (t *times) report(b *testing.B, what string) {
	b.Helper()
	slices.Sort(t.list)
	for _, q := range []struct {
		name string
		at   float64
	}{{"p50", 0.5}, {"p99", 0.99}, {"max", 1}} {
		at := t.list[min(len(t.list)-1, int(q.at*float64(len(t.list))))]
		b.ReportMetric(float64(at.Microseconds())/1000, what+q.name+"-ms")
	}
	if n := t.shed.Load(); n > 0 {
		b.ReportMetric(float64(n)/float64(len(t.list)+int(n)), what+"put-off")
	}
	if t.bad > 0 {
		b.Errorf("%d of %d requests failed, such as: %v", t.bad, len(t.list), t.last)
	}
}

// openLoop lets each device send a batch every so often, for so long, each
// beginning at a moment of its own. One that is late sends at once.
func openLoop(l *loaded, devices []*device, every, long time.Duration, batch int, t *times) {
	began := time.Now()
	var wg sync.WaitGroup
	for i, d := range devices {
		wg.Go(func() {
			for at := every * time.Duration(i) / time.Duration(len(devices)); at < long; at += every {
				time.Sleep(at - time.Since(began))
				d.make(batch)
				err := d.send(l.c, l.at, batch)
				t.add(time.Since(began)-at, err)
			}
		})
	}
	wg.Wait()
}

// readers ask for a page so often, for so long, whatever the answers take.
func readers(l *loaded, path string, perSecond int, long time.Duration, t *times) {
	began := time.Now()
	var wg sync.WaitGroup
	for i := range int(long.Seconds() * float64(perSecond)) {
		at := time.Second * time.Duration(i) / time.Duration(perSecond)
		time.Sleep(at - time.Since(began))
		wg.Go(func() {
			status, _, err := l.get(l.cookies[i%len(l.cookies)], path)
			switch {
			case err == nil && status == http.StatusServiceUnavailable:
				t.shed.Add(1) // asked to come again, as it should be
				return
			case err == nil && status != http.StatusOK:
				err = fmt.Errorf("status %d", status)
			}
			t.add(time.Since(began)-at, err)
		})
	}
	wg.Wait()
}

// finish holds the base against the devices' book: speed counts only where
// nothing is lost.
func (l *loaded) finish(b *testing.B) {
	b.StopTimer()
	if got := l.b.hold(inBase(b, l.s, 0)); got != (verdict{}) || l.b.missing() > 0 {
		b.Errorf("after the load: %+v, %d missing", got, l.b.missing())
	}
	l.stop()
}

const slice = 10 * time.Second

// Twenty examiners mark by exception: a batch of six every three seconds from
// each, 40 marks a second.
func BenchmarkTwentyDevicesAtPace(b *testing.B) {
	l := newLoaded(b)
	var t times
	for b.Loop() {
		openLoop(l, l.devices(20), 3*time.Second, slice, 6, &t)
	}
	t.report(b, "")
	l.finish(b)
}

// A school's day of four hours in a minute: 53 batches of ten marks and 20
// pages a second (L-1).
func BenchmarkADayInAMinute(b *testing.B) {
	l := newLoaded(b)
	var marks, pages times
	for b.Loop() {
		var wg sync.WaitGroup
		wg.Go(func() { readers(l, "/gradings/"+string(l.s.grading), 20, slice, &pages) })
		openLoop(l, l.devices(20), 20*time.Second/53, slice, 10, &marks)
		wg.Wait()
	}
	marks.report(b, "")
	pages.report(b, "page-")
	l.finish(b)
}

// The same marks while more pages are asked for than the machine can give
// (L-5): the pages wait, the marks must not.
func BenchmarkMarksBesideAStormOfReaders(b *testing.B) {
	for _, perSecond := range []int{50, 500} {
		b.Run(fmt.Sprint(perSecond), func(b *testing.B) {
			l := newLoaded(b)
			var marks, pages times
			for b.Loop() {
				var wg sync.WaitGroup
				wg.Go(func() { readers(l, "/gradings/"+string(l.s.grading), perSecond, slice/2, &pages) })
				openLoop(l, l.devices(20), 20*time.Second/53, slice/2, 10, &marks)
				wg.Wait()
			}
			marks.report(b, "")
			pages.report(b, "page-")
			l.finish(b)
		})
	}
}

// burst sends all that devices have kept, all of them at once.
func burst(b *testing.B, devices, each int) {
	l := newLoaded(b)
	var t times
	stored := 0
	for b.Loop() {
		b.StopTimer()
		all := l.devices(devices)
		for _, d := range all {
			d.make(each)
		}
		b.StartTimer()
		var wg sync.WaitGroup
		for _, d := range all {
			wg.Go(func() {
				for len(d.waiting) > 0 {
					began := time.Now()
					err := d.send(l.c, l.at, 100)
					if t.add(time.Since(began), err); err != nil {
						return
					}
				}
			})
		}
		wg.Wait()
		stored += devices * each
	}
	b.ReportMetric(float64(stored)/b.Elapsed().Seconds(), "marks/s")
	t.report(b, "batch-")
	l.finish(b)
}

// The Wi-Fi comes back, and twenty devices have 350 marks each, or what they
// gathered in four hours (L-2).
func BenchmarkBurst20x350(b *testing.B)  { burst(b, 20, 350) }
func BenchmarkBurst20x1575(b *testing.B) { burst(b, 20, 1575) }

// What happens with far more than one school has.
func BenchmarkBurst500x350(b *testing.B) { burst(b, 500, 350) }

func Benchmark500DevicesAtPace(b *testing.B) {
	l := newLoaded(b)
	var t times
	for b.Loop() {
		openLoop(l, l.devices(500), 3*time.Second, slice, 6, &t)
	}
	t.report(b, "")
	l.finish(b)
}

// wireOf is a device's own connection, without the client of net/http and its two
// goroutines: beside a server on the same processors a client must not take what
// it measures.
type wireOf struct {
	net.Conn
	in   *bufio.Reader
	head string
}

func (l *loaded) wireOf(b *testing.B, d *device) *wireOf {
	host := strings.TrimPrefix(l.at, "http://")
	c, err := net.Dial("tcp", host)
	must(b, err)
	return &wireOf{c, bufio.NewReader(c), "POST /gradings/" + string(d.grading) + "/marks HTTP/1.1\r\nHost: " + host + "\r\nCookie: " + d.cookie +
		"\r\nContent-Type: application/json\r\nAccept: application/json\r\nContent-Length: "}
}

// post sends a body and reads the answer.
func (w *wireOf) post(body []byte) (status int, answer []byte, err error) {
	out := append(append(append(make([]byte, 0, len(w.head)+len(body)+10), w.head...), strconv.Itoa(len(body))...), "\r\n\r\n"...)
	if _, err := w.Write(append(out, body...)); err != nil {
		return 0, nil, err
	}
	r, err := http.ReadResponse(w.in, nil)
	if err != nil {
		return 0, nil, err
	}
	defer r.Body.Close()
	answer, err = io.ReadAll(r.Body)
	return r.StatusCode, answer, err
}

// used is the time of processors that a process has worked.
func used(who int) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(who, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// Twenty clients send as fast as they are answered (L-3).
func BenchmarkSaturation(b *testing.B) {
	for _, batch := range []int{1, 35} {
		b.Run(fmt.Sprint(batch), func(b *testing.B) {
			l := newLoaded(b)
			var t times
			before := used(syscall.RUSAGE_SELF)
			for b.Loop() {
				until := time.Now().Add(slice / 2)
				var wg sync.WaitGroup
				for _, d := range l.devices(20) {
					w := l.wireOf(b, d)
					wg.Go(func() {
						defer w.Close()
						for time.Now().Before(until) {
							began := time.Now()
							d.make(batch)
							err := d.sendBy(batch, w.post)
							t.add(time.Since(began), err)
						}
					})
				}
				wg.Wait()
			}
			own := used(syscall.RUSAGE_SELF) - before
			b.ReportMetric(float64(len(t.list)*batch)/b.Elapsed().Seconds(), "marks/s")
			t.report(b, "batch-")
			l.finish(b)
			// What the server itself worked for each mark says more than the
			// rate where other work shares the machine. A second or so of it
			// was spent on signing in.
			did := l.cmd.ProcessState.UserTime() + l.cmd.ProcessState.SystemTime()
			b.ReportMetric(float64(did.Microseconds())/float64(len(t.list)*batch), "server-us/mark")
			b.ReportMetric(float64(own.Microseconds())/float64(len(t.list)*batch), "clients-us/mark")
		})
	}
}

// What a batch takes must not grow with the log: a hundred thousand marks are
// more than a school gives in years.
func BenchmarkBatchOnALongLog(b *testing.B) {
	l := newLoaded(b)
	d := l.devices(1)[0]
	hundred := func() time.Duration {
		began := time.Now()
		for range 100 {
			d.make(20)
			must(b, d.send(l.c, l.at, 20))
		}
		return time.Since(began)
	}
	for b.Loop() {
		short := hundred()
		d.make(100_000)
		must(b, d.drain(l.c, l.at, 1000))
		b.ReportMetric(float64(hundred())/float64(short), "times-as-long")
	}
	l.finish(b)
}
