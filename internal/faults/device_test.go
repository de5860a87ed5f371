package faults

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"sync"
	"time"

	"rankwright"
	"rankwright/internal/store"
)

// mark is a mark as it travels (version 1). It is written down here again, so
// that these tests do not agree with the server by sharing its mistake.
type mark struct {
	ID          string                   `json:"id"`
	Device      string                   `json:"device"`
	Seq         int64                    `json:"seq"`
	Clock       int64                    `json:"clock"`
	Entry       rankwright.EntryID       `json:"entry"`
	Requirement rankwright.RequirementID `json:"requirement"`
	Try         int                      `json:"try"`
	Value       string                   `json:"value"`
	At          int64                    `json:"at"`
	Note        string                   `json:"note,omitempty"`
}

// device is a tablet: it keeps every mark until the server has answered it.
type device struct {
	name    string
	cookie  string
	grading rankwright.GradingID
	asked   []question
	chance  *rand.Rand
	seq     int64
	waiting []mark
	book    *book
}

// newDevices makes devices with the examiners' cookies.
func newDevices(n int, s *school, cookies []string, seed uint64, b *book) []*device {
	out := make([]*device, n)
	for i := range out {
		out[i] = &device{name: fmt.Sprintf("device-%x-%d", seed, i), cookie: cookies[i%len(cookies)], grading: s.grading, asked: s.asked,
			chance: rand.New(rand.NewPCG(seed, uint64(i))), book: b}
	}
	return out
}

// make makes marks and keeps them.
func (d *device) make(n int) {
	for range n {
		d.seq++
		q := d.asked[d.chance.IntN(len(d.asked))]
		m := mark{ID: fmt.Sprintf("%s-%08x-%d", d.name, d.chance.Uint32(), d.seq), Device: d.name, Seq: d.seq, Clock: d.seq, Entry: q.entry,
			Requirement: q.requirement, Try: 1, Value: q.values[d.chance.IntN(len(q.values))], At: time.Now().UnixMilli()}
		d.waiting = append(d.waiting, m)
		d.book.wrote(m)
	}
}

// refusal is what the server said where it took nothing.
type refusal struct {
	Status int
	Say    string `json:"say"`
	Do     string `json:"do"`
}

func (r *refusal) Error() string { return fmt.Sprintf("status %d: %s %s", r.Status, r.Say, r.Do) }

// send posts the first n marks that wait and drops those that are answered.
func (d *device) send(c *http.Client, at string, n int) error {
	return d.sendBy(n, func(body []byte) (int, []byte, error) {
		req, err := http.NewRequest(http.MethodPost, at+"/gradings/"+string(d.grading)+"/marks", bytes.NewReader(body))
		if err != nil {
			return 0, nil, err
		}
		req.Header.Set("Cookie", d.cookie)
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("Accept", "application/json")
		r, err := c.Do(req)
		if err != nil {
			return 0, nil, err
		}
		defer r.Body.Close()
		got, err := io.ReadAll(r.Body)
		return r.StatusCode, got, err
	})
}

// sendBy is send by whatever carries a body there and brings its answer back.
func (d *device) sendBy(n int, post func(body []byte) (status int, answer []byte, err error)) error {
	n = min(n, len(d.waiting))
	body, err := json.Marshal(struct {
		V     int    `json:"v"`
		Marks []mark `json:"marks"`
	}{1, d.waiting[:n]})
	if err != nil {
		return err
	}
	status, got, err := post(body)
	if err != nil {
		return err
	}
	if status != http.StatusOK {
		no := &refusal{Status: status}
		if err := json.Unmarshal(got, no); err != nil {
			return fmt.Errorf("status %d: %q", status, got)
		}
		return no
	}
	var answers struct {
		Answers []struct{ ID, Status, Why string }
	}
	if err := json.Unmarshal(got, &answers); err != nil {
		return fmt.Errorf("%w in %q", err, got)
	}
	done := map[string]bool{}
	for _, a := range answers.Answers {
		switch a.Status {
		case "stored", "double":
			done[a.ID] = true
			d.book.answered(a.ID, a.Status == "double")
		default:
			return fmt.Errorf("%s is %q: %s", a.ID, a.Status, a.Why)
		}
	}
	left := d.waiting[:0:0]
	for _, m := range d.waiting {
		if !done[m.ID] {
			left = append(left, m)
		}
	}
	if len(d.waiting)-len(left) != n {
		return fmt.Errorf("%d marks were sent and %d answered", n, len(d.waiting)-len(left))
	}
	d.waiting = left
	return nil
}

// drain sends all that waits.
func (d *device) drain(c *http.Client, at string, batch int) error {
	for len(d.waiting) > 0 {
		if err := d.send(c, at, batch); err != nil {
			return err
		}
	}
	return nil
}

// book is what the devices know, to be held against the base: every mark that
// was made, and every one of which the answer was read to its end.
type book struct {
	mu    sync.Mutex
	made  map[string]mark
	owed  map[string]bool // answered and not yet found in the base
	found map[string]bool
	seqs  map[string]bool
	acks  int
	again int // answers to a mark that was there already
}

func newBook() *book {
	return &book{made: map[string]mark{}, owed: map[string]bool{}, found: map[string]bool{}, seqs: map[string]bool{}}
}

func (b *book) wrote(m mark) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.made[m.ID] = m
}

func (b *book) answered(id string, again bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.acks++; again {
		b.again++
	}
	if !b.found[id] {
		b.owed[id] = true
	}
}

// read counts the answers that were read.
func (b *book) read() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.acks
}

// verdict is what is wrong with a base.
type verdict struct{ lost, doubled, phantom int }

// hold holds marks of the base that were not looked at before against the
// book. All that was answered must be among them by then.
func (b *book) hold(rows []store.MarkRow) (v verdict) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range rows {
		id := string(r.ID)
		m, ok := b.made[id]
		number := fmt.Sprint(r.Device, "/", r.Seq)
		switch {
		case b.found[id] || b.seqs[number]:
			v.doubled++
		case !ok || m.Device != string(r.Device) || m.Seq != r.Seq || m.Clock != r.Clock || m.Entry != r.Entry ||
			m.Requirement != r.Requirement || m.Value != r.Value.String() || m.At != r.At || m.Note != r.Note:
			v.phantom++
		}
		b.found[id], b.seqs[number] = true, true
		delete(b.owed, id)
	}
	v.lost = len(b.owed)
	return v
}

// missing counts the marks that were made and are nowhere in the base.
func (b *book) missing() (n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for id := range b.made {
		if !b.found[id] {
			n++
		}
	}
	return n
}
