package files

import (
	"fmt"
	"io"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"

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
	entry, rank, age, lead := t.column("entry"), t.column("rank"), t.column("age_on_day"), t.column("lead")
	status, waived, retries := t.column("status"), t.column("waived"), t.column("retries")
	out := &Entries{at: map[string]int{}}
	lines := map[string]int{}
	for t.next() {
		e := Entry{ID: rankwright.EntryID(strings.Clone(t.get(entry))), Age: -1, Lead: rankwright.ExaminerID(strings.Clone(t.get(lead)))}
		if e.ID == "" {
			t.fault(entry, "missing", "write the student's id", "the row has no entry")
			continue
		}
		if strings.ContainsFunc(string(e.ID), unicode.IsControl) {
			t.fault(entry, "bad_text", "use letters and digits", "the entry %q holds a character that cannot be seen", e.ID)
			continue
		}
		if line, twice := lines[string(e.ID)]; twice {
			t.fault(entry, "double_id", "keep one row an entry", "entry %q is already on line %d", e.ID, line)
			continue
		}
		lines[string(e.ID)] = t.line
		if e.Rank = findRank(s, t.get(rank)); e.Rank == nil {
			switch n := namedRanks(s, t.get(rank)); {
			case t.get(rank) == "":
				t.fault(rank, "missing", "write the rank tried for, one of: "+rankIDs(s), "entry %q has no rank", e.ID)
			case n > 1:
				t.fault(rank, "unknown_rank", "use the id, one of: "+rankIDs(s), "%d ranks have the name %q", n, t.get(rank))
			default:
				t.fault(rank, "unknown_rank", "use one of: "+rankIDs(s), "there is no rank %q on the ladder", t.get(rank))
			}
			continue
		}
		if a := t.get(age); a != "" {
			if e.Age, err = strconv.Atoi(a); err != nil || e.Age < 0 || e.Age > 120 {
				t.fault(age, "bad_age", "write whole years, such as 9", "%q is not an age", a)
			}
		}
		switch st := strings.ToLower(t.get(status)); st {
		case "", "present":
		case "absent":
			e.Presence = decide.Away
		case "unwell":
			e.Presence = decide.Unwell
		case "stopped":
			e.Presence = decide.Halted
		default:
			t.fault(status, "unknown_word", "write present, absent, unwell or stopped", "the status cannot be %q", st)
		}
		for _, id := range strings.Fields(t.get(waived)) {
			if e.Rank.Requirement(rankwright.RequirementID(id)) == nil {
				t.fault(waived, "unknown_id", "use ids of the rank's requirements, with spaces between", "rank %q does not ask for %q", e.Rank.Name, id)
			}
			e.Waived = append(e.Waived, rankwright.RequirementID(strings.Clone(id)))
		}
		if n := t.get(retries); n != "" {
			if e.Retries, err = strconv.Atoi(n); err != nil || e.Retries < 0 || e.Retries > 1000 {
				t.fault(retries, "bad_number", "write how many part retries there were, such as 1", "%q is not a number of retries", n)
			}
		}
		out.at[string(e.ID)] = len(out.List)
		out.List = append(out.List, e)
	}
	return out, t.err()
}

// findRank finds a rank by its id, or by its name where only one rank has it.
func findRank(s *syllabus.Syllabus, word string) *syllabus.Rank {
	if k, _ := s.Rank(rankwright.RankID(word)); k != nil {
		return k
	}
	if namedRanks(s, word) != 1 {
		return nil
	}
	return &s.Ranks[slices.IndexFunc(s.Ranks, func(k syllabus.Rank) bool { return called(&k, word) })]
}

func namedRanks(s *syllabus.Syllabus, word string) int {
	n := 0
	for i := range s.Ranks {
		if called(&s.Ranks[i], word) {
			n++
		}
	}
	return n
}

func called(k *syllabus.Rank, word string) bool {
	return strings.EqualFold(k.Name, word) || strings.EqualFold(string(k.ID), word)
}

func rankIDs(s *syllabus.Syllabus) string {
	var ids []string
	for _, k := range s.Ranks {
		ids = append(ids, string(k.ID))
	}
	return strings.Join(ids, ", ")
}

// ReadMarks reads marks.csv into the entries.
func (es *Entries) ReadMarks(name string, r io.Reader) error {
	t, err := open(name, r, []string{"entry", "requirement", "examiner", "value", "at"}, []string{"mark_id", "device", "seq", "try", "note"})
	if err != nil {
		return err
	}
	entry, requirement, examiner, value, when := t.column("entry"), t.column("requirement"), t.column("examiner"), t.column("value"), t.column("at")
	id, device, seq, try, note := t.column("mark_id"), t.column("device"), t.column("seq"), t.column("try"), t.column("note")
	words := map[string]string{} // one copy of each examiner's and device's id
	intern := func(s string) string {
		if w, ok := words[s]; ok {
			return w
		}
		s = strings.Clone(s)
		words[s] = s
		return s
	}
	byRank := es.asked()
	for t.next() {
		at, ok := es.at[t.get(entry)]
		if !ok {
			t.noEntry(entry)
			continue
		}
		e := &es.List[at]
		q := byRank[e.Rank][t.get(requirement)]
		if q == nil {
			t.fault(requirement, "unknown_id", "correct the id, or enter the student for another rank", "rank %q does not ask for %q", e.Rank.Name, t.get(requirement))
			continue
		}
		m := scoring.Mark{Entry: e.ID, Requirement: q.ID, Examiner: rankwright.ExaminerID(intern(t.get(examiner))), Try: 1}
		if m.Examiner == "" {
			t.fault(examiner, "missing", "write the examiner's id", "the mark has no examiner")
			continue
		}
		if m.Value, err = scoring.ParseValue(q, t.get(value)); err != nil {
			f := *err.(*rankwright.Fault)
			t.fault(value, f.Code, f.Do, "%s", f.Say)
			continue
		}
		m.At = t.moment(when)
		m.ID = rankwright.MarkID(strings.Clone(t.get(id)))
		m.Device = rankwright.DeviceID(intern(t.get(device)))
		m.Note = strings.Clone(t.get(note))
		if s := t.get(seq); s != "" {
			if m.Seq, err = strconv.ParseInt(s, 10, 64); err != nil || m.Seq < 0 {
				t.fault(seq, "bad_number", "write a whole number", "%q is not the number of a mark", s)
			}
		}
		if s := t.get(try); s != "" {
			if m.Try, err = strconv.Atoi(s); err != nil || m.Try < 1 || m.Try > q.Tries {
				do, say := fmt.Sprintf("write a number from 1 to %d", q.Tries), fmt.Sprintf("%s has %d tries", q.ID, q.Tries)
				if q.Tries == 1 {
					do, say = "write 1, or leave it empty", string(q.ID)+" has one try"
				}
				t.fault(try, "out_of_range", do, "%s, so the try cannot be %q", say, s)
			}
		}
		if e.Marks == nil {
			e.Marks = make([]scoring.Mark, 0, len(e.Rank.Requirements))
		}
		e.Marks = append(e.Marks, m)
	}
	return t.err()
}

func (t *table) noEntry(c column) {
	if t.get(c) == "" {
		t.fault(c, "missing", "write the student's id", "the row has no entry")
		return
	}
	t.fault(c, "unknown_id", "add it to the entries, or correct the id", "there is no entry %q", t.get(c))
}

// asked looks up the requirements of every rank that somebody tries for.
func (es *Entries) asked() map[*syllabus.Rank]map[string]*syllabus.Requirement {
	out := map[*syllabus.Rank]map[string]*syllabus.Requirement{}
	for i := range es.List {
		k := es.List[i].Rank
		if out[k] != nil {
			continue
		}
		out[k] = map[string]*syllabus.Requirement{}
		for j := range k.Requirements {
			out[k][string(k.Requirements[j].ID)] = &k.Requirements[j]
		}
	}
	return out
}

// moment reads a time to the millisecond since 1970; an empty cell is 0. A
// time without a zone is taken for UTC: only the order counts.
func (t *table) moment(c column) int64 {
	s := t.get(c)
	if s == "" {
		return 0
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02"} {
		if m, err := time.Parse(layout, s); err == nil {
			return m.UnixMilli()
		}
	}
	t.fault(c, "bad_time", "write it as 2026-10-10T10:05:00Z, or leave it empty", "%q is not a time", s)
	return 0
}

// ReadClearances reads clearances.csv into the entries. Of several rows of one
// clearance the latest counts, and of equally late ones the last row.
func (es *Entries) ReadClearances(name string, r io.Reader, s *syllabus.Syllabus) error {
	t, err := open(name, r, []string{"entry", "clearance", "met", "at"}, nil)
	if err != nil {
		return err
	}
	entry, clearance, isMet, when := t.column("entry"), t.column("clearance"), t.column("met"), t.column("at")
	type row struct {
		met, there bool
		at         int64
	}
	latest := make([]map[rankwright.ClearanceID]row, len(es.List))
	for t.next() {
		at, ok := es.at[t.get(entry)]
		if !ok {
			t.noEntry(entry)
			continue
		}
		c := s.Clearance(rankwright.ClearanceID(t.get(clearance)))
		if c == nil {
			t.fault(clearance, "unknown_id", "use one of the ids under clearances in the syllabus", "there is no clearance %q", t.get(clearance))
			continue
		}
		rw := row{there: true}
		switch strings.ToLower(t.get(isMet)) {
		case "yes", "1", "true":
			rw.met = true
		case "no", "0", "false":
		case "":
			t.fault(isMet, "not_yes_no", "write yes or no", "it is not said whether the clearance is met")
		default:
			t.fault(isMet, "not_yes_no", "write yes or no", "met cannot be %q", t.get(isMet))
		}
		rw.at = t.moment(when)
		if latest[at] == nil {
			latest[at] = map[rankwright.ClearanceID]row{}
		}
		if was := latest[at][c.ID]; !was.there || rw.at >= was.at {
			latest[at][c.ID] = rw
		}
	}
	for i := range latest {
		for _, c := range s.Clearances {
			if latest[i][c.ID].met {
				es.List[i].Met = append(es.List[i].Met, c.ID)
			}
		}
	}
	return t.err()
}

// exact refuses a mean of more examiners than has no remainder.
func (es *Entries) exact(s *syllabus.Syllabus) error {
	for i := range es.List {
		e := &es.List[i]
		if len(e.Marks) <= rankwright.MaxMean {
			continue
		}
		seen := map[rankwright.RequirementID]map[rankwright.ExaminerID]bool{}
		for _, m := range e.Marks {
			q := e.Rank.Requirement(m.Requirement)
			c := s.Combine[q.Kind]
			if q.Combine != nil {
				c = *q.Combine
			}
			if c.Method != syllabus.Mean {
				continue
			}
			if seen[q.ID] == nil {
				seen[q.ID] = map[rankwright.ExaminerID]bool{}
			}
			if seen[q.ID][m.Examiner] = true; len(seen[q.ID]) > rankwright.MaxMean {
				return rankwright.Faultf(rankwright.Invalid, "too_many_examiners", "leave out the marks of some, or combine by median",
					"entry %q has marks of more than %d examiners for %s, and their mean would not be exact", e.ID, rankwright.MaxMean, q.ID)
			}
		}
	}
	return nil
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
	if err := es.exact(s); err != nil {
		return nil, err
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
