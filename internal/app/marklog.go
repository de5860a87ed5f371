package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Batch is marks as a device sends them. One that could not be read is refused
// with its Why.
type Batch struct {
	Marks []scoring.Sent
	// Sent is what the device takes the time to be, in milliseconds since 1970
	// UTC; 0 where it does not say.
	Sent int64
}

// Receipt answers a batch, each mark in its order.
type Receipt struct {
	Answers []Answered
	// ClockOff is by how many milliseconds the device's clock is ahead of the
	// server's, less than 0 where it is behind; 0 is within two minutes, or not
	// known. It is there to be shown: no mark counts for more or less by it.
	ClockOff int64
	// Clock is the largest logical clock of the grading's marks; 0 is not known.
	Clock int64
}

const (
	mostMarks = 2000
	clockNear = 2 * time.Minute
)

// AddMarks puts marks into the log, and answers each one: stored, there
// already, or refused and why. One that is refused never stops the others.
// What is answered as stored is on the disk.
func (a *App) AddMarks(ctx context.Context, who Actor, id rankwright.GradingID, marks []scoring.Mark) ([]Answered, error) {
	b := Batch{Marks: make([]scoring.Sent, len(marks))}
	for i, m := range marks {
		b.Marks[i].Mark = m
	}
	r, err := a.TakeMarks(ctx, who, id, b)
	return r.Answers, err
}

// TakeMarks is AddMarks for a device, which also wants to know whether its
// clock is right. Batches that come at once are written together.
func (a *App) TakeMarks(ctx context.Context, who Actor, id rankwright.GradingID, b Batch) (r Receipt, err error) {
	if len(b.Marks) > mostMarks {
		return r, rankwright.Faultf(rankwright.TooLarge, "too_many_marks", "send them in smaller batches", "a batch may hold at most %d marks, not %d", mostMarks, len(b.Marks))
	}
	refused := 0
	err = a.doBy(ctx, a.st.Gather, who, GiveMarks, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		answers, count, err := a.takeMarks(tx, who, id, b.Marks)
		r.Answers, refused = answers, count["refused"]
		return count, err
	})
	if err != nil {
		return Receipt{}, err
	}
	if refused > 0 {
		a.tell(id, News{Kind: "device"})
	}
	r.ClockOff = a.clockOff(b)
	highest := int64(0)
	for i, st := range r.Answers {
		if st.Stored {
			highest = max(highest, b.Marks[i].Clock)
		}
	}
	r.Clock = a.clocks.raise(id, highest)
	return r, nil
}

// clockLeap is how far a device's logical clock may run ahead: a device that
// was away for years of tapping stays within it.
const clockLeap = 1_000_000

func (a *App) takeMarks(tx *store.Tx, who Actor, id rankwright.GradingID, marks []scoring.Sent) ([]Answered, map[string]int, error) {
	// Looked up once for as long as nothing but marks is written.
	s, err := store.Lasting(tx, "asked at "+string(id), func() (*asked, error) { return a.asked(tx, id) })
	if err != nil {
		return nil, nil, err
	}
	now := a.moment()
	// A logical clock far beyond all that were seen would leave no room for
	// those that come after it. To find the largest that was seen takes a look
	// at every mark of the grading, and so it is asked for only where it
	// matters: most marks bring a clock that is good whatever was seen.
	near := int64(len(marks)) + clockLeap
	clock, last := int64(0), near
	if slices.ContainsFunc(marks, func(m scoring.Sent) bool { return m.Clock == 0 || m.Clock > near }) {
		if clock, err = tx.MaxClock(id); err != nil {
			return nil, nil, err
		}
		last = clock + near
	}
	answers, others := make([]Answered, len(marks)), 0
	rows, places := make([]store.MarkRow, 0, len(marks)), make([]int, 0, len(marks))
	sent := make([]scoring.Mark, len(marks)) // as they are kept
	for i := range marks {
		m := marks[i].Mark
		sent[i] = m
		if why := marks[i].Why; why != "" {
			answers[i] = Answered{ID: m.ID, Refuse: "it cannot be read: " + why}
			continue
		}
		if m.ID == "" { // from a page without a log of its own
			secret, err := a.secret(10)
			if err != nil {
				return nil, nil, err
			}
			m.ID, m.Device, m.Seq = rankwright.MarkID("m-"+secret), rankwright.DeviceID("page-"+secret), 1
		}
		if m.Clock == 0 {
			clock++
			m.Clock = clock
		}
		if m.At == 0 {
			m.At = int64(now)
		}
		m.Try = max(1, m.Try)
		answers[i].ID = m.ID
		if m.Clock > last {
			answers[i].Refuse = "this mark's own count is far beyond all others; write it down, reload the page and mark it again"
			continue
		}
		if answers[i].Refuse, err = s.refuse(tx, who, &m); err != nil {
			return nil, nil, err
		}
		sent[i] = m
		if string(m.Examiner) != who.ID && answers[i].Refuse == "" {
			others++
		}
		if answers[i].Refuse == "" {
			rows, places = append(rows, store.MarkRow{Mark: m, Grading: id, Received: now}), append(places, i)
		}
	}
	stored, err := tx.AppendMarks(rows)
	if err != nil {
		return nil, nil, err
	}
	for k, st := range stored {
		answers[places[k]] = st
	}
	// A refused mark came all the same: it leaves no gap in the numbers of its
	// device, and a person has to see to it. A page without a log of its own
	// shows the refusal to whoever typed.
	var refusals []store.Refusal
	for i, st := range answers {
		if st.Refuse != "" && (marks[i].ID != "" || marks[i].Why != "") {
			refusals = append(refusals, store.Refusal{Mark: sent[i], Grading: id, Why: st.Refuse, Sender: who.ID, Received: now})
		}
	}
	if err := tx.AddRefusals(refusals); err != nil {
		return nil, nil, err
	}
	count := map[string]int{}
	if others > 0 {
		count["in_another_examiners_name"] = others
	}
	for _, st := range answers {
		switch {
		case st.Stored:
			count["stored"]++
		case st.Double:
			count["double"]++
		default:
			count["refused"]++
		}
	}
	return answers, count, nil
}

// standing is a grading as it stands in the transaction.
func standing(tx *store.Tx, id rankwright.GradingID) (store.Grading, error) {
	return store.Lasting(tx, "grading "+string(id), func() (store.Grading, error) { return tx.Grading(id) })
}

// asked is what marks are held against: the entries, the requirements and the
// panel of a grading, without the students.
type asked struct {
	syllabus *syllabus.Syllabus
	ranks    map[rankwright.EntryID]*syllabus.Rank
	highest  map[rankwright.ExaminerID]rankwright.RankID
	own      map[rankwright.ExaminerID]map[rankwright.EntryID]bool // of their own household
}

func (a *App) asked(tx *store.Tx, id rankwright.GradingID) (*asked, error) {
	_, s, err := a.askedAt(tx, id)
	if err != nil {
		return nil, err
	}
	entries, err := tx.Entries(id)
	if err != nil {
		return nil, err
	}
	panel, err := tx.Examiners(id)
	if err != nil {
		return nil, err
	}
	own, err := ownEntries(tx, id)
	if err != nil {
		return nil, err
	}
	out := &asked{s, make(map[rankwright.EntryID]*syllabus.Rank, len(entries)), make(map[rankwright.ExaminerID]rankwright.RankID, len(panel)), own}
	for _, e := range entries {
		out.ranks[e.ID], _ = s.Rank(e.Rank)
	}
	for _, x := range panel {
		out.highest[rankwright.ExaminerID(x.Person)] = rankwright.RankID(x.HighestRank)
	}
	return out, nil
}

// refuse says why a mark cannot be taken, "" where it can. It fills in whose
// mark it is.
func (s *asked) refuse(tx *store.Tx, who Actor, m *scoring.Mark) (why string, err error) {
	k := s.ranks[m.Entry]
	if k == nil {
		return "this child is not entered in this grading", nil
	}
	q := k.Requirement(m.Requirement)
	switch {
	case q == nil:
		return fmt.Sprintf("%s is not asked for %s", m.Requirement, k.Name), nil
	case m.Value.Sort == scoring.Number && !scoring.Can(q, m.Value.Num):
		_, err := scoring.ParseValue(q, m.Value.Format(q.Kind))
		var f *rankwright.Fault
		if errors.As(err, &f) {
			return fmt.Sprintf("%s cannot be the mark of “%s”; %s", m.Value, q.Show, f.Do), nil
		}
		return fmt.Sprintf("%s cannot be the mark of “%s”", m.Value, q.Show), nil
	case m.Value.Sort == scoring.Abstain && q.Kind != syllabus.Consent:
		return "only a vote can be an abstention", nil
	case m.Try > q.Tries:
		return fmt.Sprintf("%s is marked on at most %d tries", q.Show, q.Tries), nil
	}
	if m.Examiner == "" {
		m.Examiner = rankwright.ExaminerID(who.ID)
	}
	if who.Role == Examiner && string(m.Examiner) != who.ID {
		return "it was made by another examiner; it can be sent when they sign in on this device", nil
	}
	high, ok := s.highest[m.Examiner]
	before := q.Before && who.Role.May(GiveBefore)
	if !ok && !before {
		return "only somebody on the panel of this grading gives marks", nil
	}
	if s.own[m.Examiner][m.Entry] {
		p, err := tx.Person(string(m.Examiner))
		return fmt.Sprintf("%s does not examine a child of their own household", p.Name), err
	}
	if high == "" || before {
		return "", nil
	}
	_, most := s.syllabus.Rank(high)
	_, place := s.syllabus.Rank(k.ID)
	_, least := s.syllabus.Rank(q.Examiner) // -1 where anybody may
	if place <= most && least <= most {
		return "", nil
	}
	p, err := tx.Person(string(m.Examiner))
	if place <= most {
		return fmt.Sprintf("%s is examined by those who may examine %s; %s examines up to %s", q.Show, rankName(s.syllabus, q.Examiner), p.Name, rankName(s.syllabus, high)), err
	}
	return fmt.Sprintf("%s examines up to %s", p.Name, rankName(s.syllabus, high)), err
}

// clockOff tells a clock that is wrong by what the device takes the time to
// be. Where it does not say, only a clock that is ahead can be told, by a mark
// from the future: one from the past may have waited on the device.
func (a *App) clockOff(b Batch) int64 {
	now := int64(a.moment())
	off := b.Sent - now
	if b.Sent == 0 {
		off = 0
		for _, m := range b.Marks {
			if m.At != 0 {
				off = max(off, m.At-now)
			}
		}
	}
	if near := clockNear.Milliseconds(); -near <= off && off <= near {
		return 0
	}
	return off
}
