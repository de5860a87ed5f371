package faults

import (
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"
)

// cutter passes a connection on to the server and cuts it after so many bytes
// in one direction, or lets it hang there.
type cutter struct {
	ln     net.Listener
	to     string
	mu     sync.Mutex
	up     int // bytes of the request that get through; -1 is all
	down   int // bytes of the answer that get through; -1 is all
	upSeen int // of the last connection
	dnSeen int
	hang   chan struct{} // where a line that is not cut hangs until this is closed
	late   int           // requests of which something got through when that was
	drip   time.Duration // between one byte and the next; 0 is as they come
	open   int           // connections
}

func newCutter(t *testing.T, to string) *cutter {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	c := &cutter{ln: ln, to: strings.TrimPrefix(to, "http://"), up: -1, down: -1}
	t.Cleanup(func() { ln.Close() })
	go func() {
		for {
			conn, err := ln.Accept()
			if err != nil {
				return // closed
			}
			c.opened(1)
			go func() {
				defer c.opened(-1)
				c.pass(conn)
			}()
		}
	}()
	return c
}

func (c *cutter) cut(up, down int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.up, c.down, c.upSeen, c.dnSeen, c.hang, c.drip = up, down, 0, 0, nil, 0
}

// hold lets a line hang where cut would end it. What was held back goes on its
// way when the channel is closed, whether or not anybody still waits for it.
func (c *cutter) hold(up, down int) chan struct{} {
	c.cut(up, down)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.hang = make(chan struct{})
	return c.hang
}

func (c *cutter) seen() (up, down int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.upSeen, c.dnSeen
}

// slow lets one byte pass at a time, with so much time between.
func (c *cutter) slow(drip time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.drip = drip
}

func (c *cutter) opened(n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.open += n
}

// idle waits until every connection has ended.
func (c *cutter) idle() {
	for {
		c.mu.Lock()
		open := c.open
		c.mu.Unlock()
		if open == 0 {
			return
		}
		time.Sleep(time.Millisecond)
	}
}

func (c *cutter) pass(from net.Conn) {
	defer from.Close()
	to, err := net.Dial("tcp", c.to)
	if err != nil {
		return
	}
	defer to.Close()
	c.mu.Lock()
	up, down, hang, drip := c.up, c.down, c.hang, c.drip
	c.mu.Unlock()
	done := make(chan struct{}, 2)
	flow := func(dst, src net.Conn, most int, seen *int) {
		defer func() { done <- struct{}{} }()
		buf := make([]byte, 64<<10)
		passed := 0
		freed := false
		for {
			if most >= 0 && passed == most {
				if hang == nil {
					return
				}
				<-hang
				most, freed = -1, true
			}
			room := len(buf)
			if drip > 0 {
				room = 1
				time.Sleep(drip)
			}
			if most >= 0 {
				room = min(room, most-passed)
			}
			n, err := src.Read(buf[:room])
			if n > 0 {
				if _, err := dst.Write(buf[:n]); err != nil {
					return
				}
				passed += n
				c.mu.Lock()
				*seen += n
				if freed && seen == &c.upSeen {
					c.late++
					freed = false
				}
				c.mu.Unlock()
			}
			if err != nil {
				return
			}
		}
	}
	go flow(to, from, up, &c.upSeen)
	go flow(from, to, down, &c.dnSeen)
	<-done // whichever ends first ends both
	if hang != nil {
		<-done // but what hung is answered, though nobody hears it
	}
}

// A connection is cut at every byte of a request with twenty marks and of its
// answer. The device sends again, and each mark is there once.
func TestACutAtAnyByteIsHarmless(t *testing.T) { bothWays(t, 0, cutEverywhere) }

// bothWays has one device meet a fault in its requests and another one in its
// answers, at once, and holds the base against what they made.
func bothWays(t *testing.T, seed uint64, meet func(t *testing.T, p *program, d *device, way string)) {
	t.Helper()
	s := newSchool(t, "", 20)
	p := serve(t, s.dir)
	cookie := p.signIn(s.examiners[0])
	b := newBook()
	var wg sync.WaitGroup
	for i, way := range []string{"request", "answer"} {
		d := newDevices(1, s, []string{cookie}, seed+uint64(i), b)[0]
		d.name = way[:1]
		wg.Go(func() { meet(t, p, d, way) })
	}
	wg.Wait()
	if got := b.hold(inBase(t, s, 0)); got != (verdict{}) || b.missing() > 0 {
		t.Errorf("%+v, %d missing", got, b.missing())
	}
	p.stop()
}

func cutEverywhere(t *testing.T, p *program, d *device, way string) {
	proxy := newCutter(t, p.at)
	at := "http://" + proxy.ln.Addr().String()
	c := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, DisableCompression: true}, Timeout: 20 * time.Second}
	long := 0
	for range 5 { // now and then an answer also brings a cookie, and so is longer than those that are cut
		proxy.cut(-1, -1)
		d.make(20)
		if err := d.send(c, at, 20); err != nil {
			t.Error(err)
			return
		}
		up, down := proxy.seen()
		if way == "answer" {
			up = down
		}
		if long == 0 || up < long {
			long = up
		}
	}
	if long < 500 {
		t.Errorf("the %s has only %d bytes", way, long)
	}
	cuts, felt := 0, 0
	for n := 0; n < long; n += slower {
		d.make(20 - len(d.waiting))
		if way == "answer" {
			proxy.cut(-1, n)
		} else {
			proxy.cut(n, -1)
		}
		if cuts++; d.send(c, at, 20) != nil {
			felt++
		}
		proxy.cut(-1, -1)
		if err := d.drain(c, at, 20); err != nil {
			t.Errorf("the %s was cut after %d bytes, and then sent again: %v", way, n, err)
			return
		}
	}
	if felt < cuts*9/10 {
		t.Errorf("only %d of %d cuts of the %s were felt by the device", felt, cuts, way)
	}
	t.Logf("the %s cut at %d places", way, cuts)
}

// A line that hangs is worse than one that is cut: nobody hears of its end. The
// device gives up and sends again by another one; then what hung arrives after
// all, behind newer marks. Each mark is there once.
func TestALineThatHangsAndThenDeliversIsHarmless(t *testing.T) { bothWays(t, 30, hangEverywhere) }

func hangEverywhere(t *testing.T, p *program, d *device, way string) {
	proxy := newCutter(t, p.at)
	at := "http://" + proxy.ln.Addr().String()
	client := func(patience time.Duration) *http.Client {
		return &http.Client{Transport: &http.Transport{DisableKeepAlives: true, DisableCompression: true}, Timeout: patience}
	}
	d.make(20)
	if err := d.send(client(20*time.Second), at, 20); err != nil {
		t.Error(err)
		return
	}
	long, down := proxy.seen()
	if way == "answer" {
		long = down
	}
	hung, gaveUp := 0, 0
	for n := 0; n < long; n += long / 30 {
		d.make(20 - len(d.waiting))
		var free chan struct{}
		if way == "answer" {
			free = proxy.hold(-1, n)
		} else {
			free = proxy.hold(n, -1)
		}
		if hung++; d.send(client(150*time.Millisecond), at, 20) != nil {
			gaveUp++
		}
		proxy.cut(-1, -1)
		d.make(1) // newer than what hangs
		err := d.drain(client(20*time.Second), at, 21)
		close(free)
		proxy.idle()
		if err != nil {
			t.Errorf("the %s hung after %d bytes, and then was sent again: %v", way, n, err)
			return
		}
	}
	proxy.slow(100 * time.Microsecond)
	d.make(20)
	if err := d.send(client(20*time.Second), at, 20); err != nil {
		t.Errorf("a line that drips: %v", err)
	}
	proxy.mu.Lock()
	defer proxy.mu.Unlock()
	// An answer without a cookie is shorter than the first, and may have ended before it hangs.
	if way == "request" && (gaveUp != hung || proxy.late != hung) || gaveUp < hung*4/5 {
		t.Errorf("of %d lines that hung in the %s %d were given up, and %d delivered late", hung, way, gaveUp, proxy.late)
	}
	t.Logf("the %s hung at %d places, and %d came late", way, hung, proxy.late)
}

// A device that lets its request drip, or says nothing more, holds nobody up.
func TestADeviceThatHangsHoldsNobodyUp(t *testing.T) {
	s := newSchool(t, "", 20)
	p := serve(t, s.dir)
	b := newBook()
	cookie := p.signIn(s.examiners[0])
	d := newDevices(1, s, []string{cookie}, 21, b)[0]
	for range 100 {
		conn, err := net.Dial("tcp", strings.TrimPrefix(p.at, "http://"))
		must(t, err)
		defer conn.Close()
		_, err = io.WriteString(conn, "POST /gradings/"+string(s.grading)+"/marks HTTP/1.1\r\nHost: x\r\nCookie: "+cookie+
			"\r\nContent-Type: application/json\r\nContent-Length: 5000\r\n\r\n{\"v\":1,\"marks\":[")
		must(t, err)
	}
	for range 20 {
		d.make(10)
		must(t, d.send(&http.Client{Transport: wire, Timeout: 20 * time.Second}, p.at, 10))
	}
	if got := b.hold(inBase(t, s, 0)); got != (verdict{}) || b.missing() > 0 {
		t.Errorf("%+v, %d missing", got, b.missing())
	}
}
