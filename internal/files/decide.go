package files

import (
	"fmt"
	"io"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Entry is one row of entries.csv.
type Entry struct {
	ID       rankwright.EntryID
	Rank     *syllabus.Rank
	Age      int // -1 where not given
	Lead     rankwright.ExaminerID
	Presence decide.Presence
	Waived   []rankwright.RequirementID
	Retries  int
	Marks    []scoring.Mark
	Met      []rankwright.ClearanceID
}

// Entries is entries.csv in the order of its rows.
type Entries struct {
	List []Entry
	at   map[string]int
}

// ReadEntries reads entries.csv: entry and rank (id or name), and optionally
// age_on_day, lead, status, waived and retries.
func ReadEntries(name string, r io.Reader, s *syllabus.Syllabus) (*Entries, error) {
	t, err := open(name, r, []string{"entry", "rank"}, []string{"age_on_day", "lead", "status", "waived", "retries"})
	if err != nil {
		return nil, err
	}
	ranks := map[string]*syllabus.Rank{}
	for i := range s.Ranks {
		ranks[strings.ToLower(s.Ranks[i].Name)] = &s.Ranks[i]
	}
	for i := range s.Ranks {
		ranks[string(s.Ranks[i].ID)] = &s.Ranks[i]
	}
	out := &Entries{at: map[string]int{}}
	for t.next() {
		e := Entry{ID: rankwright.EntryID(strings.Clone(t.get("entry"))), Age: -1, Lead: rankwright.ExaminerID(strings.Clone(t.get("lead")))}
		if e.ID == "" {
			t.fault("entry", "missing", "write the student's id", "the entry has no id")
			continue
		}
		if _, twice := out.at[string(e.ID)]; twice {
			t.fault("entry", "double_id", "keep one row an entry", "entry %q stands there twice", e.ID)
			continue
		}
		rank := t.get("rank")
		e.Rank = ranks[rank]
		if e.Rank == nil {
			e.Rank = ranks[strings.ToLower(rank)]
		}
		if e.Rank == nil {
			t.fault("rank", "unknown_rank", "use one of: "+rankNames(s), "there is no rank %q on the ladder", rank)
			continue
		}
		if a := t.get("age_on_day"); a != "" {
			age, err := strconv.Atoi(a)
			if err != nil || age < 0 || age > 120 {
				t.fault("age_on_day", "bad_age", "write whole years", "%q is not an age", a)
			}
			e.Age = age
		}
		switch st := strings.ToLower(t.get("status")); st {
		case "", "present":
		case "absent":
			e.Presence = decide.Away
		case "unwell":
			e.Presence = decide.Unwell
		case "stopped":
			e.Presence = decide.Halted
		default:
			t.fault("status", "unknown_word", "write present, absent, unwell or stopped", "the status cannot be %q", st)
		}
		for _, id := range strings.Fields(t.get("waived")) {
			if e.Rank.Requirement(rankwright.RequirementID(id)) == nil {
				t.fault("waived", "unknown_id", "use ids of the rank's requirements, with spaces between", "rank %q does not ask for %q", e.Rank.Name, id)
			}
			e.Waived = append(e.Waived, rankwright.RequirementID(strings.Clone(id)))
		}
		if n := t.get("retries"); n != "" {
			if e.Retries, err = strconv.Atoi(n); err != nil || e.Retries < 0 {
				t.fault("retries", "bad_number", "write how many part retries there were", "%q is not a number of retries", n)
			}
		}
		out.at[string(e.ID)] = len(out.List)
		out.List = append(out.List, e)
	}
	return out, t.err()
}

func rankNames(s *syllabus.Syllabus) string {
	var names []string
	for _, k := range s.Ranks {
		names = append(names, string(k.ID))
	}
	return strings.Join(names, ", ")
}

// ReadMarks reads marks.csv into the entries.
func (es *Entries) ReadMarks(name string, r io.Reader) error {
	t, err := open(name, r, []string{"entry", "requirement", "examiner", "value", "at"}, []string{"mark_id", "device", "seq", "try", "note"})
	if err != nil {
		return err
	}
	words := map[string]string{} // one copy of each examiner's and device's id
	intern := func(s string) string {
		if w, ok := words[s]; ok {
			return w
		}
		s = strings.Clone(s)
		words[s] = s
		return s
	}
	type asked map[string]*syllabus.Requirement
	byRank := map[*syllabus.Rank]asked{}
	for i := range es.List {
		k := es.List[i].Rank
		if byRank[k] != nil {
			continue
		}
		m := asked{}
		for j := range k.Requirements {
			m[string(k.Requirements[j].ID)] = &k.Requirements[j]
		}
		byRank[k] = m
	}
	for t.next() {
		at, ok := es.at[t.get("entry")]
		if !ok {
			t.fault("entry", "unknown_id", "add it to the entries, or correct the id", "there is no entry %q", t.get("entry"))
			continue
		}
		e := &es.List[at]
		q := byRank[e.Rank][t.get("requirement")]
		if q == nil {
			t.fault("requirement", "unknown_id", "correct the id, or enter the student for another rank", "rank %q does not ask for %q", e.Rank.Name, t.get("requirement"))
			continue
		}
		m := scoring.Mark{Entry: e.ID, Requirement: q.ID, Examiner: rankwright.ExaminerID(intern(t.get("examiner"))), Try: 1}
		if m.Value, err = scoring.ParseValue(q, t.get("value")); err != nil {
			f := *err.(*rankwright.Fault)
			t.fault("value", f.Code, f.Do, "%s", f.Say)
			continue
		}
		if s := t.get("at"); s != "" {
			if m.At, ok = moment(s); !ok {
				t.fault("at", "bad_time", "write it as 2026-10-10T10:05:00Z, or leave it empty", "%q is not a time", s)
			}
		}
		m.ID = rankwright.MarkID(strings.Clone(t.get("mark_id")))
		m.Device = rankwright.DeviceID(intern(t.get("device")))
		m.Note = strings.Clone(t.get("note"))
		if s := t.get("seq"); s != "" {
			if m.Seq, err = strconv.ParseInt(s, 10, 64); err != nil {
				t.fault("seq", "bad_number", "write a whole number", "%q is not a number", s)
			}
		}
		if s := t.get("try"); s != "" {
			if m.Try, err = strconv.Atoi(s); err != nil || m.Try < 1 || m.Try > q.Tries {
				t.fault("try", "out_of_range", fmt.Sprintf("write a number from 1 to %d", q.Tries), "%s is marked on %d tries at most, not on try %q", q.ID, q.Tries, s)
			}
		}
		if e.Marks == nil {
			e.Marks = make([]scoring.Mark, 0, len(e.Rank.Requirements))
		}
		e.Marks = append(e.Marks, m)
	}
	return t.err()
}

// moment reads a time to the millisecond since 1970.
func moment(s string) (int64, bool) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UnixMilli(), true
		}
	}
	return 0, false
}

// ReadClearances reads clearances.csv into the entries. Of several rows of one
// clearance the latest counts, and of equally late ones the last row.
func (es *Entries) ReadClearances(name string, r io.Reader, s *syllabus.Syllabus) error {
	t, err := open(name, r, []string{"entry", "clearance", "met", "at"}, nil)
	if err != nil {
		return err
	}
	type key struct {
		entry int
		id    rankwright.ClearanceID
	}
	type row struct {
		met bool
		at  int64
	}
	latest := map[key]row{}
	for t.next() {
		at, ok := es.at[t.get("entry")]
		if !ok {
			t.fault("entry", "unknown_id", "add it to the entries, or correct the id", "there is no entry %q", t.get("entry"))
			continue
		}
		id := rankwright.ClearanceID(strings.Clone(t.get("clearance")))
		if s.Clearance(id) == nil {
			t.fault("clearance", "unknown_id", "use the ids under clearances in the syllabus", "there is no clearance %q", id)
			continue
		}
		rw := row{}
		switch strings.ToLower(t.get("met")) {
		case "yes", "1", "true":
			rw.met = true
		case "no", "0", "false":
		default:
			t.fault("met", "not_yes_no", "write yes or no", "met cannot be %q", t.get("met"))
		}
		if x := t.get("at"); x != "" {
			if rw.at, ok = moment(x); !ok {
				t.fault("at", "bad_time", "write it as 2026-10-10T10:05:00Z, or leave it empty", "%q is not a time", x)
			}
		}
		k := key{at, id}
		if was, ok := latest[k]; !ok || rw.at >= was.at {
			latest[k] = rw
		}
	}
	for k, rw := range latest {
		if rw.met {
			es.List[k.entry].Met = append(es.List[k.entry].Met, k.id)
		}
	}
	return t.err()
}

// Decide judges every entry, in the order of the rows, on as many cores as
// there are, and hands each verdict to turn; what turn returns is collected in
// the same order.
func Decide[T any](es *Entries, s *syllabus.Syllabus, day rankwright.Day, turn func(*decide.Verdict) T) ([]T, error) {
	judges := map[*syllabus.Rank]*decide.Judge{}
	for i := range es.List {
		k := es.List[i].Rank
		if judges[k] == nil {
			j, err := decide.Compile(s, k.ID)
			if err != nil {
				return nil, err
			}
			judges[k] = j
		}
	}
	out := make([]T, len(es.List))
	workers := min(runtime.GOMAXPROCS(0), 1+len(es.List)/64)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := w; i < len(es.List); i += workers {
				e := &es.List[i]
				j := judges[e.Rank]
				v := j.Decide(decide.Case{Entry: e.ID, Day: day, Band: band(s, e.Age), Card: j.Fold(e.Marks), Lead: e.Lead,
					Presence: e.Presence, Waived: e.Waived, Met: e.Met, Retries: e.Retries})
				out[i] = turn(&v)
			}
		})
	}
	wg.Wait()
	return out, nil
}

func band(s *syllabus.Syllabus, age int) int {
	if age < 0 {
		return -1
	}
	return s.Band(age)
}
