package app

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
)

// Missing is what did not come of the marks of a device, as far as is known:
// by its numbers where it gives them, else by what it said it had not sent.
type Missing struct {
	Log      rankwright.DeviceID // its own name for itself; "" where it gives none
	Name     string
	Examiner string
	Spans    []scoring.Span // the numbers; none where it gives none
	Unsent   int            // marks that it still had when it was last heard of
	Seen     store.Moment   // 0 where it was never heard of but for its marks
	Holds    Holds
	Accepted bool // the head instructor has accepted it
}

// Holds says where marks are that did not come.
type Holds uint8

const (
	// OnDevice are marks that the device says it has: they are still to come.
	OnDevice Holds = iota
	// Nowhere are marks that the device does not say it has, though it was
	// heard of just now.
	Nowhere
	// Unheard are marks of a device that has not been heard of for a while.
	Unheard
	// ThrownOut are marks of a device that may not send any more.
	ThrownOut
)

// Count is how many marks did not come.
func (m *Missing) Count() int64 {
	if m.Spans == nil {
		return int64(m.Unsent)
	}
	n := int64(0)
	for _, s := range m.Spans {
		n += s.Len()
	}
	return n
}

// Numbers writes the numbers that never came as people do, "" where the device
// gives none.
func (m *Missing) Numbers() string {
	const most = 8
	var out []string
	for i, s := range m.Spans {
		if i == most {
			out = append(out, fmt.Sprintf("and %d more runs", len(m.Spans)-most))
			break
		}
		out = append(out, s.String())
	}
	return strings.Join(out, ", ")
}

// Missing returns what did not come of each device's marks.
func (a *App) Missing(ctx context.Context, who Actor, id rankwright.GradingID) (list []Missing, err error) {
	err = a.see(ctx, who, SeeBoard, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		list, err = a.missing(tx, id)
		return err
	})
	return list, err
}

func (a *App) missing(tx *store.Tx, id rankwright.GradingID) ([]Missing, error) {
	counts, err := tx.Counts(id)
	if err != nil {
		return nil, err
	}
	reaches, err := tx.Reaches(id)
	if err != nil {
		return nil, err
	}
	paired, err := tx.Devices(id)
	if err != nil {
		return nil, err
	}
	taken, err := a.accepted(tx, id)
	if err != nil {
		return nil, err
	}
	var out []Missing
	add := func(m Missing, person string) error {
		if m.Count() == 0 {
			return nil
		}
		if person != "" {
			p, err := tx.Person(person)
			if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
				return err
			}
			m.Examiner = p.Name
		}
		m.Accepted = taken.covers(&m)
		out = append(out, m)
		return nil
	}
	named := map[rankwright.DeviceID]bool{} // paired devices that say how they call themselves
	for _, c := range counts {
		named[c.Paired] = true
		r := store.Reach{Log: c.Log}
		if i := slices.IndexFunc(reaches, func(r store.Reach) bool { return r.Log == c.Log }); i >= 0 {
			r = reaches[i]
			reaches = slices.Delete(reaches, i, i+1)
		}
		m := Missing{Log: c.Log, Name: "A device that is signed in with a password", Unsent: c.Unsent, Seen: c.Seen, Holds: a.holds(c.Seen)}
		if i := slices.IndexFunc(paired, func(d store.Device) bool { return d.ID == c.Paired }); i >= 0 {
			m.Name = paired[i].Name
			m.Seen, m.Holds = max(m.Seen, paired[i].Seen), a.holdsPaired(paired[i])
			if m.Holds == OnDevice && a.forgot(paired[i].ID, &c) {
				m.Unsent, m.Holds = 0, Nowhere
			}
		}
		if m.Spans, err = gaps(tx, id, &c, r); err != nil {
			return nil, err
		}
		if c.Since >= 0 && m.Spans == nil {
			continue // all that it had has come since
		}
		if m.Holds == OnDevice && int64(m.Unsent) < m.Count() {
			m.Holds = Nowhere
		}
		if err := add(m, c.Person); err != nil {
			return nil, err
		}
	}
	for _, r := range reaches { // these have sent marks and said nothing
		m := Missing{Log: r.Log, Name: "A device", Holds: Unheard}
		if m.Spans, err = gaps(tx, id, nil, r); err != nil {
			return nil, err
		}
		if m.Spans == nil {
			continue
		}
		person, _, err := tx.MarkedLast(id, r.Log)
		if err != nil {
			return nil, err
		}
		if err := add(m, person); err != nil {
			return nil, err
		}
	}
	for _, d := range paired { // these say how many they have not sent, and nothing more
		if named[d.ID] {
			continue
		}
		if h, ok := a.heard.of(string(d.ID)); ok && h.seen > d.Seen {
			d.Seen, d.Unsent = h.seen, h.unsent
		}
		if err := add(Missing{Name: d.Name, Unsent: d.Unsent, Seen: d.Seen, Holds: a.holdsPaired(d)}, d.Person); err != nil {
			return nil, err
		}
	}
	for _, d := range a.others(id) {
		if !d.named {
			if err := add(Missing{Name: d.Name, Unsent: d.Unsent, Seen: d.Seen, Holds: a.holds(d.Seen)}, d.Person); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// gaps finds the numbers of a device that never came to this grading: those
// after what it had counted before, up to the highest that is known of it. One
// that came to another grading, or was refused, came; one that the device says
// is of another grading is that one's to miss.
func gaps(tx *store.Tx, id rankwright.GradingID, c *store.Count, r store.Reach) ([]scoring.Span, error) {
	after, last := r.First-1, r.Last
	if c != nil && c.Since >= 0 {
		if r.Last == 0 || c.Since < after {
			after = c.Since
		}
		last = max(last, c.Seq)
	}
	if last <= max(after, 0) {
		return nil, nil
	}
	came, err := tx.Came(r.Log, after, last)
	if err != nil || int64(len(came)) == last-after {
		return nil, err
	}
	others, err := tx.Elsewhere(id, r.Log)
	return scoring.Without(scoring.Gaps(came, after, last), others), err
}

func (a *App) holds(seen store.Moment) Holds {
	if a.moment()-seen > store.Moment(silentAfter.Milliseconds()) {
		return Unheard
	}
	return OnDevice
}

// forgot says that a paired device was heard of and does not know any more what
// it had counted: its storage was cleared. It has no name for itself then, or
// has spoken under another for a while.
func (a *App) forgot(id rankwright.DeviceID, c *store.Count) bool {
	h, ok := a.heard.of(string(id))
	return ok && h.seq >= 0 && (h.log == "" || h.log != c.Log && h.seen-c.Seen > store.Moment(silentAfter.Milliseconds()))
}

func (a *App) holdsPaired(d store.Device) Holds {
	if d.Ended != 0 || d.Until < a.moment() {
		return ThrownOut
	}
	if h, ok := a.heard.of(string(d.ID)); ok {
		d.Seen = max(d.Seen, h.seen)
	}
	return a.holds(d.Seen)
}

// accepted is what was accepted as missing, by device.
type accepted map[rankwright.DeviceID][]scoring.Span

// lacking is how an acceptance is kept.
type lacking struct {
	Log    rankwright.DeviceID `json:"log"`
	Name   string              `json:"name"`
	Spans  [][2]int64          `json:"numbers,omitempty"`
	Unsent int                 `json:"unsent,omitempty"`
}

func (a *App) accepted(tx *store.Tx, id rankwright.GradingID) (accepted, error) {
	list, err := tx.Acceptances(id)
	if err != nil {
		return nil, err
	}
	out := accepted{}
	for _, x := range list {
		var lacks []lacking
		if err := json.Unmarshal([]byte(x.Missing), &lacks); err != nil {
			return nil, err
		}
		for _, l := range lacks {
			for _, s := range l.Spans {
				out[l.Log] = append(out[l.Log], scoring.Span{From: s[0], To: s[1]})
			}
			if l.Spans == nil { // so many that are not numbered
				key := unnumbered(l.Log, l.Name)
				out[key] = append(out[key], scoring.Span{From: 1, To: int64(l.Unsent)})
			}
		}
	}
	return out, nil
}

func unnumbered(log rankwright.DeviceID, name string) rankwright.DeviceID {
	return log + "\n" + rankwright.DeviceID(name)
}

func (x accepted) covers(m *Missing) bool {
	if m.Spans == nil {
		return scoring.Within([]scoring.Span{{From: 1, To: int64(m.Unsent)}}, x[unnumbered(m.Log, m.Name)])
	}
	return scoring.Within(m.Spans, x[m.Log])
}

// accept refuses to go on while marks are missing, unless the head instructor
// gives a reason, which is kept for ever with what it is about. What was
// accepted before is not asked again.
func (a *App) accept(tx *store.Tx, who Actor, id rankwright.GradingID, reason string) (kept any, err error) {
	list, err := a.missing(tx, id)
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(m Missing) bool { return m.Accepted })
	if len(list) == 0 {
		return nil, nil
	}
	reason = strings.Join(strings.Fields(reason), " ")
	if reason == "" || who.Role != Owner {
		do := "let the devices send, or write why it goes on without these marks"
		if who.Role != Owner {
			do = "let the devices send, or ask the head instructor, who may accept it with a reason"
		}
		var says []string
		for i := range list {
			if m := &list[i]; m.Spans != nil {
				says = append(says, fmt.Sprintf("numbers %s of %s", m.Numbers(), m.Whose()))
			} else {
				says = append(says, fmt.Sprintf("%d marks of %s", m.Unsent, m.Whose()))
			}
		}
		if len(says) > 5 {
			says = append(says[:5], fmt.Sprintf("and of %d more devices", len(list)-5))
		}
		return nil, rankwright.Faultf(rankwright.Conflict, "marks_missing", do, "marks that were made have not come: %s", strings.Join(says, "; "))
	}
	if len(reason) > 600 {
		return nil, invalid("accept", "write it shorter", "the reason is longer than 600 characters")
	}
	lacks := make([]lacking, len(list))
	for i := range list {
		m := &list[i]
		lacks[i] = lacking{Log: m.Log, Name: m.Name, Unsent: m.Unsent}
		for _, s := range m.Spans {
			lacks[i].Spans = append(lacks[i].Spans, [2]int64{s.From, s.To})
		}
	}
	b, err := json.Marshal(lacks)
	if err != nil {
		return nil, err
	}
	return map[string]any{"missing": lacks, "reason": reason}, tx.AddAcceptance(store.Acceptance{Grading: id, Missing: string(b), Reason: reason, By: who.ID, At: a.moment()})
}

// Whose names the device and its examiner.
func (m *Missing) Whose() string {
	if m.Examiner == "" {
		return m.Name
	}
	return m.Name + " (" + m.Examiner + ")"
}

// RefusedMark is a mark that was refused, with names.
type RefusedMark struct {
	store.Refusal
	Child    string // "" where the entry is none of this grading
	Rank     string
	Shows    string // what was to be shown, "" where that is not asked
	Value    string
	Examiner string
}

// Refused returns the marks of a grading that were refused, that nobody has
// seen to and that have not come in since. An examiner sees their own.
func (a *App) Refused(ctx context.Context, who Actor, id rankwright.GradingID) (v GradingView, list []RefusedMark, err error) {
	if v, err = a.Grading(ctx, who, id); err != nil {
		return v, nil, err
	}
	err = a.see(ctx, who, SeeMarks, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		list, err = refusedMarks(tx, &v, who)
		return err
	})
	return v, list, err
}

func refusedMarks(tx *store.Tx, v *GradingView, who Actor) ([]RefusedMark, error) {
	rows, err := tx.Refusals(v.ID)
	if err != nil {
		return nil, err
	}
	var out []RefusedMark
	for _, r := range rows {
		if !theirs(&r, who) {
			continue
		}
		x := RefusedMark{Refusal: r, Value: r.Mark.Value.String()}
		for _, e := range v.Entries {
			if e.Entry.ID != r.Mark.Entry {
				continue
			}
			x.Child = e.Student.FullName()
			k, _ := v.Syllabus.Rank(e.Rank)
			x.Rank = k.Name
			if q := k.Requirement(r.Mark.Requirement); q != nil {
				x.Shows, x.Value = q.Show, r.Mark.Value.Format(q.Kind)
			}
		}
		by := string(r.Mark.Examiner)
		if by == "" {
			by = r.Sender
		}
		p, err := tx.Person(by)
		if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
			return nil, err
		}
		x.Examiner = p.Name
		out = append(out, x)
	}
	return out, nil
}

func theirs(r *store.Refusal, who Actor) bool {
	return who.Role != Examiner || r.Sender == who.ID || string(r.Mark.Examiner) == who.ID
}

// SeeTo keeps that somebody has seen to a refused mark: it was marked anew, or
// it is of no use. It goes from the lists; what was refused stays in the base.
func (a *App) SeeTo(ctx context.Context, who Actor, id rankwright.GradingID, number int64) error {
	err := a.do(ctx, who, GiveMarks, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		if who.Role == Examiner {
			rows, err := tx.Refusals(id)
			if err != nil {
				return nil, err
			}
			if !slices.ContainsFunc(rows, func(r store.Refusal) bool { return r.No == number && theirs(&r, who) }) {
				return nil, rankwright.Faultf(rankwright.NotFound, "not_found", "load the page again", "there is no refused mark of yours of that number")
			}
		}
		return map[string]any{"what": "a refused mark was seen to", "number": number}, tx.SettleRefusal(id, number, who.ID, a.moment())
	})
	if err == nil {
		a.tell(id, News{Kind: "device"})
	}
	return err
}
