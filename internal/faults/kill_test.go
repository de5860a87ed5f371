package faults

import (
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"strconv"
	"sync"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
)

// victim is a server that can be killed at any moment, and its marks.
type victim interface {
	start() (at string)
	kill()
	// since returns the marks in the base after a number.
	since(arrival int64) []store.MarkRow
}

// cycles is how often the program is killed; make faults sets more.
func cycles(t *testing.T) int {
	if v := os.Getenv("RANKWRIGHT_KILL_CYCLES"); v != "" {
		n, err := strconv.Atoi(v)
		must(t, err)
		return n
	}
	return 200 / slower
}

// killLoop lets devices mark for a moment, kills the server, starts it again
// and holds its base against the devices' book; so many times. At the end the
// devices send what they still have.
func killLoop(t *testing.T, v victim, devices []*device, b *book, times int, seed uint64) (total verdict) {
	t.Helper()
	chance := rand.New(rand.NewPCG(seed, 4))
	c := &http.Client{Transport: wire, Timeout: 10 * time.Second}
	at, arrival := v.start(), int64(0)
	hold := func() {
		rows := v.since(arrival)
		if len(rows) > 0 {
			arrival = rows[len(rows)-1].Arrival
		}
		w := b.hold(rows)
		total.lost, total.doubled, total.phantom = total.lost+w.lost, total.doubled+w.doubled, total.phantom+w.phantom
		clear(b.owed) // each loss is counted once
	}
	for i := range times {
		var wg sync.WaitGroup
		before := b.read()
		for _, d := range devices {
			wg.Go(func() {
				for {
					d.make(1 + d.chance.IntN(20) - min(19, len(d.waiting)))
					if d.send(c, at, 1+d.chance.IntN(20)) != nil {
						return // the server is gone, and the marks wait
					}
				}
			})
		}
		// Mostly in full swing, and now and then before the first answer.
		for late := time.Now().Add(5 * time.Second); i%4 > 0 && b.read() == before && time.Now().Before(late); {
			time.Sleep(time.Millisecond)
		}
		time.Sleep(time.Duration(chance.Int64N(int64(70 * time.Millisecond))))
		v.kill()
		wg.Wait()
		wire.CloseIdleConnections()
		at = v.start()
		hold()
	}
	for _, d := range devices {
		// An answer that is cut off is sent for again, as a device does.
		err := d.drain(c, at, 100)
		for again := 0; err != nil && again < 20; again++ {
			err = d.drain(c, at, 100)
		}
		if err != nil {
			t.Fatalf("what waited on a device was not taken at the end: %v", err)
		}
	}
	hold()
	if n := b.missing(); n != 0 && total.lost == 0 {
		t.Errorf("%d marks were made, and are in the base of nobody", n)
	}
	return total
}

// real is the program itself.
type real struct {
	t *testing.T
	s *school
	p *program
}

func (r *real) start() string                       { r.p = serve(r.t, r.s.dir); return r.p.at }
func (r *real) kill()                               { r.p.kill() }
func (r *real) since(arrival int64) []store.MarkRow { return inBase(r.t, r.s, arrival) }

// Twenty devices send, and the server dies at random moments, as it does when
// the laptop's battery falls out. Every mark that was answered is there, none
// twice, and none that nobody made.
func TestNoMarkIsLostOrDoubledWhenTheServerIsKilled(t *testing.T) {
	s := newSchool(t, "", 20)
	first := serve(t, s.dir)
	var cookies []string
	for _, name := range s.examiners {
		cookies = append(cookies, first.signIn(name))
	}
	first.kill()
	wire.CloseIdleConnections()
	seed := uint64(time.Now().UnixNano())
	if v := os.Getenv("RANKWRIGHT_SEED"); v != "" {
		var err error
		seed, err = strconv.ParseUint(v, 10, 64)
		must(t, err)
	}
	b := newBook()
	n := cycles(t)
	r := &real{t: t, s: s}
	began := time.Now()
	got := killLoop(t, r, newDevices(20, s, cookies, seed, b), b, n, seed)
	t.Logf("%d kills in %s, %d marks made, %d answers read, %d of them to a mark kept just before a kill; RANKWRIGHT_SEED=%d", n, time.Since(began).Round(time.Second), len(b.made), b.acks, b.again, seed)
	if got != (verdict{}) {
		t.Errorf("%d marks lost, %d doubled, %d made up (RANKWRIGHT_SEED=%d)", got.lost, got.doubled, got.phantom, seed)
	}
	if b.acks < 20*n {
		t.Errorf("only %d answers were read in %d cycles: the server was hardly under load", b.acks, n)
	}
	r.p.stop()
	sound(t, s)
}

// careless is a server that keeps marks in memory, with a fault.
type careless struct {
	fault  string
	mu     sync.Mutex
	ids    map[rankwright.MarkID]bool
	disk   []store.MarkRow
	cache  []store.MarkRow // answered and not on the disk yet
	served int
	srv    *httptest.Server
}

func (c *careless) start() string {
	c.mu.Lock()
	c.cache = nil
	c.mu.Unlock()
	c.srv = httptest.NewServer(c)
	return c.srv.URL
}

func (c *careless) kill() {
	c.srv.CloseClientConnections()
	c.srv.Close()
}

func (c *careless) since(arrival int64) (out []store.MarkRow) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return append(out, c.disk[arrival:]...)
}

func (c *careless) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	var batch struct{ Marks []mark }
	if json.NewDecoder(r.Body).Decode(&batch) != nil {
		panic(http.ErrAbortHandler)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	type answer struct {
		ID     string `json:"id"`
		Status string `json:"status"`
	}
	answers := []answer{}
	for _, m := range batch.Marks {
		if !c.ids[rankwright.MarkID(m.ID)] || c.fault == "keeps a repeat" {
			c.keep(m)
		}
		answers = append(answers, answer{m.ID, "stored"})
	}
	if c.fault == "makes one up" && c.served == 0 {
		c.keep(mark{ID: "nobody's", Device: "none", Seq: 1, Value: "1"})
	}
	if c.served++; c.served%5 == 0 && c.fault != "answers before it keeps" {
		panic(http.ErrAbortHandler) // kept, and the answer is cut off
	}
	_ = json.NewEncoder(w).Encode(map[string]any{"v": 1, "answers": answers})
}

func (c *careless) keep(m mark) {
	v, err := rankwright.ParseAmount(m.Value)
	row := store.MarkRow{Mark: scoring.Mark{ID: rankwright.MarkID(m.ID), Device: rankwright.DeviceID(m.Device), Seq: m.Seq, Clock: m.Clock,
		Entry: m.Entry, Requirement: m.Requirement, Value: scoring.Value{Sort: scoring.Number, Num: v}, At: m.At}}
	if err != nil {
		row.Value = scoring.Value{}
	}
	c.cache = append(c.cache, row)
	if c.fault == "answers before it keeps" && len(c.cache) < 50 {
		return
	}
	for _, row := range c.cache {
		row.Arrival = int64(len(c.disk) + 1)
		c.disk = append(c.disk, row)
		c.ids[row.ID] = true
	}
	c.cache = nil
}

// The control: a harness that finds nothing on a careless server would prove
// nothing about ours.
func TestTheKillLoopSeesACarelessServer(t *testing.T) {
	for fault, sees := range map[string]func(verdict) bool{
		"none":                    func(v verdict) bool { return v == verdict{} },
		"answers before it keeps": func(v verdict) bool { return v.lost > 0 && v.doubled == 0 && v.phantom == 0 },
		"keeps a repeat":          func(v verdict) bool { return v.doubled > 0 && v.lost == 0 && v.phantom == 0 },
		"makes one up":            func(v verdict) bool { return v == verdict{phantom: 1} },
	} {
		t.Run(fault, func(t *testing.T) {
			b := newBook()
			s := &school{grading: "g", asked: []question{{"e", "q", []string{"0", "1", "x"}}}}
			c := &careless{fault: fault, ids: map[rankwright.MarkID]bool{}}
			got := killLoop(t, c, newDevices(4, s, []string{""}, 7, b), b, 5, 7)
			c.kill()
			if !sees(got) {
				t.Errorf("the harness sees %+v", got)
			}
		})
	}
}
