package ready

import (
	"cmp"
	"slices"

	"rankwright"
	"rankwright/syllabus"
)

// Question asks whether somebody may enter for a rank on a grading day.
type Question struct {
	Syllabus *syllabus.Syllabus
	Rank     rankwright.RankID
	Born     rankwright.Day // zero is unknown
	Standing Standing
	On       rankwright.Day // the grading day

	// CutOff is the date published with the grading on or before which an
	// earlier rank must be dated; zero where none was.
	CutOff rankwright.Day
	// Deadline is the last day whose classes count; zero is the grading day.
	Deadline rankwright.Day
	// Pace is how many classes a week the student comes to, for the forecast
	// only; zero where none is wanted.
	Pace rankwright.Amount
}

// Standing is what is on record about somebody, as far as entry needs it.
type Standing struct {
	// Ladder is the one that Rank is on; "" is that of the syllabus. What is
	// said here of the rank held goes before History.
	Ladder rankwright.LadderID
	Rank   rankwright.RankID // "" is no rank yet
	// Since is the day Rank was given, or the first day for somebody without
	// a rank; zero is unknown.
	Since rankwright.Day
	// Started is the first day of training; zero is Since where there is no
	// rank yet, and unknown otherwise.
	Started rankwright.Day
	// History is every rank known to have been given, in any order, on any
	// ladder. The rank held now may be in it or not.
	History []Given

	Classes   int // since Rank was given
	Offered   int // classes the school held since then that the student could have come to
	WeeksHeld int // weeks since then in which the school held classes
	Credits   []Tally
	Points    []Score
	Results   []Result
	Cleared   []rankwright.ClearanceID
}

// Given is a rank that was given.
type Given struct {
	Ladder rankwright.LadderID // "" is that of the syllabus
	Rank   rankwright.RankID
	On     rankwright.Day
}

// Tally is how often a thing that earns credit was done.
type Tally struct {
	Name string
	N    int
}

// Score is how many points of a name were gathered.
type Score struct {
	Name   string
	Amount rankwright.Amount
}

// Result is the outcome of an earlier grading. A grading at which somebody
// was absent, was stopped or was not fully examined is not one that was
// taken: it counts neither as a try nor as a "not yet".
type Result struct {
	Ladder     rankwright.LadderID // "" is that of the syllabus
	Rank       rankwright.RankID
	On         rankwright.Day
	Outcome    syllabus.Outcome
	Label      string
	Points, Of rankwright.Amount
}

func (r *Result) taken() bool {
	return r.Outcome == syllabus.Promoted || r.Outcome == syllabus.Held || r.Outcome == syllabus.NotYet
}

// record is a question with its facts put in order.
type record struct {
	*Question
	s    *syllabus.Syllabus
	rank *syllabus.Rank
	end  rankwright.MonthEnd

	given    []Given          // by day; on this ladder then from below
	turning  []turning        // ranks of other ladders that turn into ranks here
	gradings []rankwright.Day // taken on this ladder, each day once
	notYet   []rankwright.Day // at this rank
	now      int              // place of the rank held on this ladder, or -1
	since    rankwright.Day   // from which time in rank counts
	started  rankwright.Day

	forecast bool
}

// turning is a rank that turns into a rank of this ladder by itself on a day,
// and keeps the date on which it was given.
type turning struct {
	rank    rankwright.RankID
	on, was rankwright.Day
}

func newRecord(q *Question, rank *syllabus.Rank) *record {
	s := q.Syllabus
	r := &record{Question: q, s: s, rank: rank, end: s.Counting.MonthEnd}
	r.given = slices.Clone(q.Standing.History)
	if q.Standing.Rank != "" {
		r.given = append(r.given, Given{q.Standing.Ladder, q.Standing.Rank, q.Standing.Since})
	}
	for i := range r.given {
		r.given[i].Ladder = r.home(r.given[i].Ladder)
	}
	slices.SortFunc(r.given, func(a, b Given) int {
		return cmp.Or(cmp.Compare(a.On, b.On), cmp.Compare(a.Ladder, b.Ladder),
			cmp.Compare(r.place(a.Rank), r.place(b.Rank)), cmp.Compare(a.Rank, b.Rank))
	})
	r.given = slices.Compact(r.given)

	for i := range s.Ranks {
		for _, c := range s.Ranks[i].Eligibility.Conversions {
			if g, ok := r.latest(c.Ladder, c.Ranks); ok && c.Automatic && q.Born != 0 {
				on, _ := r.ageDays(syllabus.AgeTerm{AtLeast: c.May, Counted: c.Counted})
				r.turning = append(r.turning, turning{s.Ranks[i].ID, max(on.First(FirstDay), g.On), g.On})
			}
		}
	}

	for _, g := range r.given {
		if g.Ladder == "" && g.On != 0 {
			r.gradings = append(r.gradings, g.On)
		}
	}
	for i := range q.Standing.Results {
		e := &q.Standing.Results[i]
		if r.home(e.Ladder) != "" || !e.taken() {
			continue
		}
		r.gradings = append(r.gradings, e.On)
		if e.Rank == q.Rank && e.Outcome == syllabus.NotYet {
			r.notYet = append(r.notYet, e.On)
		}
	}
	slices.Sort(r.gradings)
	r.gradings = slices.Compact(r.gradings)
	slices.Sort(r.notYet)

	r.now, r.since, r.started = r.held()
	return r
}

// held returns the place on this ladder of the rank held now (-1 for none),
// the day from which time in rank counts and the first day of training; zero
// is unknown. What Standing says of the rank held goes before the history.
func (r *record) held() (now int, since, started rankwright.Day) {
	st := &r.Standing
	started = st.Started
	if started == 0 && st.Rank == "" {
		started = st.Since
	}
	now, since = -1, st.Since
	if since == 0 && st.Rank == "" {
		since = started
	}
	for _, t := range r.turning {
		since = t.was
	}
	here := st.Rank != "" && r.home(st.Ladder) == ""
	for _, g := range r.given {
		if g.Ladder == "" && (!here || g.Rank == st.Rank) {
			now, since = r.place(g.Rank), g.On
		}
	}
	return now, since, started
}

// home writes this ladder as "".
func (r *record) home(l rankwright.LadderID) rankwright.LadderID {
	if l == r.s.Ladder {
		return ""
	}
	return l
}

func (r *record) place(id rankwright.RankID) int {
	_, i := r.s.Rank(id)
	return i
}

// latest is the rank held last on a ladder, if it is one of ranks.
func (r *record) latest(l rankwright.LadderID, ranks []rankwright.RankID) (Given, bool) {
	l = r.home(l)
	for _, g := range slices.Backward(r.given) {
		if g.Ladder == l {
			return g, slices.Contains(ranks, g.Rank)
		}
	}
	return Given{}, false
}
