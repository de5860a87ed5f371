package app

import (
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// problem is a timetable's problem with where in its lists things stand.
type problem struct {
	*timetable.Prepared
	t        *Timetable
	entry    map[rankwright.EntryID]int
	sitting  map[string]int
	examiner map[string]int
}

// apart is the household of an entry that cannot come on the ordinary dates
// while its family can.
func apart(e rankwright.EntryID) rankwright.HouseholdID {
	return rankwright.HouseholdID("apart:" + string(e))
}

// moving says which families that were told a time may get another.
type moving uint8

const (
	agreed   moving = iota // those who said yes
	askable                // and those who said nothing of it
	whatever               // all; whether they said yes is looked at apart
)

// problem puts what is known into the words of the domain.
func (t *Timetable) problem(moves moving) (*problem, error) {
	p := &timetable.Problem{Rules: timetable.DefaultRules(), Weights: t.Weights}
	q := &problem{t: t, entry: map[rankwright.EntryID]int{}, sitting: map[string]int{}, examiner: map[string]int{}}
	for i := range t.Grading.Syllabus.Ranks {
		p.Ranks = append(p.Ranks, t.Grading.Syllabus.Ranks[i].ID)
	}
	for _, s := range t.Sessions {
		p.Sessions = append(p.Sessions, timetable.Session{ID: timetable.SessionID(s.ID), Name: s.Name, Day: s.Day, Makeup: s.MakeUp, Cost: 1})
	}
	was := t.Published
	for i, s := range t.Sittings {
		q.sitting[s.ID] = i
		x := timetable.Sitting{ID: timetable.SittingID(s.ID), Session: timetable.SessionID(s.Session), Mat: timetable.MatID(s.Mat), Start: timetable.Minute(s.Begins),
			Minutes: s.Minutes, Least: s.Least, Most: s.Most, Panel: s.Panel, Cost: 1, Ranks: s.Ranks, Width: s.Mixed}
		if s.Lost {
			x.Hold = timetable.Shut
		}
		for _, person := range was.Panel(s.ID) {
			if slices.ContainsFunc(t.Examiners, func(e ExaminerTimes) bool { return e.Person == person }) {
				x.Was = append(x.Was, rankwright.ExaminerID(person))
			}
		}
		p.Sittings = append(p.Sittings, x)
	}
	households := map[rankwright.HouseholdID]bool{}
	addHousehold := func(h timetable.Household) { households[h.ID], p.Households = true, append(p.Households, h) }
	for i := range t.Families {
		f := &t.Families[i]
		h := timetable.Household{ID: f.ID, Name: f.Name, MayMove: t.mayMove(f.ID, moves)}
		together := false
		for j := range f.Entries {
			together = together || !t.Out[f.Entries[j].Entry.ID]
		}
		wish := 0
		for _, a := range f.Answers {
			if a.Answer == "yes" {
				wish = max(wish, a.Wish)
			}
		}
		for _, s := range t.Sessions {
			if a, ok := f.Answers[s.ID]; ok {
				x := timetable.Answer{Session: timetable.SessionID(s.ID), Suits: suitsOf[a.Answer]}
				if a.Answer == "yes" {
					x.Points = wish - a.Wish
				}
				h.Answers = append(h.Answers, x)
			}
		}
		if together {
			addHousehold(h)
		}
		for j := range f.Entries {
			e := &f.Entries[j]
			if t.Out[e.Entry.ID] {
				addHousehold(t.leftOut(f, e, moves))
			}
			q.entry[e.Entry.ID] = len(p.Entries)
			p.Entries = append(p.Entries, t.entryOf(f, e))
		}
	}
	for i, x := range t.Examiners {
		q.examiner[x.Person] = i
		e := timetable.Examiner{ID: rankwright.ExaminerID(x.Person), Name: x.Name, Highest: rankwright.RankID(x.HighestRank), MostDay: x.Most, InARow: x.Row}
		if e.Highest == "" {
			e.Highest = p.Ranks[len(p.Ranks)-1]
		}
		for _, m := range x.Mats {
			if slices.Contains(t.Mats(), m) {
				e.Mats = append(e.Mats, timetable.MatID(m))
			}
		}
		for _, s := range t.Sessions {
			if !slices.Contains(x.Away, s.ID) {
				e.There = append(e.There, timetable.Presence{Session: timetable.SessionID(s.ID)})
			}
		}
		for _, h := range x.Own {
			if households[h] {
				e.Own = append(e.Own, h)
			}
			if f := t.Family(h); f != nil {
				for j := range f.Entries {
					if a := apart(f.Entries[j].Entry.ID); households[a] {
						e.Own = append(e.Own, a)
					}
				}
			}
		}
		p.Examiners = append(p.Examiners, e)
	}
	keepPromised(p)
	var err error
	q.Prepared, err = timetable.Prepare(p)
	return q, err
}

// keepPromised lets a sitting that families were told take place with those of
// them who are left, also below its least.
func keepPromised(p *timetable.Problem) {
	left := map[timetable.SittingID]int{}
	for i := range p.Entries {
		if p.Entries[i].Told {
			left[p.Entries[i].Was]++
		}
	}
	for w := range p.Sittings {
		if n := left[p.Sittings[w].ID]; n > 0 {
			p.Sittings[w].Least = min(p.Sittings[w].Least, n)
		}
	}
}

// NoLonger says, in sentences for people, why what was told cannot be held as it
// was told, since something happened; nothing while something else is worked on.
func (t *Timetable) NoLonger() ([]string, error) {
	if t.Draft != nil || t.Published == nil {
		return nil, nil
	}
	q, err := t.problem(whatever)
	if err != nil {
		return nil, err
	}
	return q.verify(q.read(t.Published)), nil
}

// verify says which hard limits a plan breaks, in sentences for people.
func (q *problem) verify(p *timetable.Plan) []string {
	said := timetable.Verify(q.Problem, p)
	if len(said) == 0 {
		return nil
	}
	var pairs []string
	name := func(what, id, text string) { pairs = append(pairs, what+" "+id, text, id, text) }
	for i := range q.Problem.Entries {
		name("entry", string(q.Problem.Entries[i].ID), q.Problem.Entries[i].Name)
	}
	for _, x := range q.t.Examiners {
		name("examiner", x.Person, x.Name)
	}
	for i := range q.t.Sittings {
		s := &q.t.Sittings[i]
		name("sitting", s.ID, "“"+q.t.SittingName(s)+"”")
	}
	for _, s := range q.t.Sessions {
		name("session", s.ID, "“"+s.Name+"”")
	}
	pairs = append(pairs, " is shut and has ", " cannot take place and has ", " entries", " children", "1 entry", "1 child")
	words := strings.NewReplacer(pairs...)
	for i := range said {
		said[i] = words.Replace(said[i])
	}
	return said
}

// SittingName is how a sitting is told apart in a sentence.
func (t *Timetable) SittingName(s *Sitting) string {
	name := timetable.Minute(s.Begins).String() + ", mat " + s.Mat
	if in := t.Session(s.Session); in != nil {
		name = in.Name + " " + name
	}
	return name
}

var suitsOf = map[string]timetable.Suits{"yes": timetable.Yes, "if_need_be": timetable.IfNeedBe, "no": timetable.No}

// mayMove says whether a family that was told its time may get another.
func (t *Timetable) mayMove(h rankwright.HouseholdID, moves moving) bool {
	if moves == whatever {
		return true
	}
	if any, ok := t.answered[h][AnyChange]; ok {
		return any.Yes
	}
	// A no to one change is a no until the family says otherwise.
	yes, no := false, false
	for _, m := range t.answered[h] {
		yes, no = yes || m.Yes, no || !m.Yes
	}
	return !no && (yes || moves == askable)
}

// leftOut is the household of a child who cannot come on the ordinary dates: a
// make-up date is as good as it is to the family, and no other will do.
func (t *Timetable) leftOut(f *Family, e *EntryView, moves moving) timetable.Household {
	h := timetable.Household{ID: apart(e.Entry.ID), Name: e.Student.FamilyName + " (" + e.Student.GivenName + ")", MayMove: t.leaves(e.Entry.ID) || t.mayMove(f.ID, moves)}
	for _, s := range t.Sessions {
		a := timetable.Answer{Session: timetable.SessionID(s.ID)}
		if s.MakeUp {
			a.Suits = timetable.IfNeedBe
			if x, ok := f.Answers[s.ID]; ok {
				a.Suits = suitsOf[x.Answer]
			}
		}
		h.Answers = append(h.Answers, a)
	}
	return h
}

// leaves says that an entry cannot come at the time that it was told, having
// said so: a time on a make-up date it keeps like any other.
func (t *Timetable) leaves(e rankwright.EntryID) bool {
	told := t.ToldOf(e)
	if !t.Out[e] || told == nil {
		return false
	}
	w := t.Sitting(told.Sitting)
	return w == nil || !t.Session(w.Session).MakeUp
}

func (t *Timetable) entryOf(f *Family, e *EntryView) timetable.Entry {
	id := e.Entry.ID
	x := timetable.Entry{ID: id, Name: e.Student.FullName(), Household: f.ID, Rank: e.Rank, Age: max(0, e.Age)}
	if i := slices.Index(t.Waiting, id); i >= 0 {
		x.Asked = len(t.Waiting) - i
	}
	out := t.Out[id]
	if out {
		x.Household = apart(id)
	}
	if told := t.ToldOf(id); told != nil && !t.leaves(id) && t.Sitting(told.Sitting) != nil {
		x.Was, x.Told = timetable.SittingID(told.Sitting), true
	}
	if at := t.Current().At(id); t.Locked[id] && at != "" && t.Sitting(at) != nil && !t.Sitting(at).Lost {
		x.Locked = timetable.SittingID(at)
	}
	return x
}

// read turns a kept plan into one of the problem. What is not there any more
// is passed over.
func (q *problem) read(r *PlanRecord) *timetable.Plan {
	p := timetable.EmptyPlan(q.Problem)
	if r == nil {
		return p
	}
	for _, x := range r.Placements {
		e, known := q.entry[x.Entry]
		if w, ok := q.sitting[x.Sitting]; ok && known {
			p.At[e] = w
		}
	}
	open := q.Open(p)
	for _, d := range r.Duties {
		x, known := q.examiner[d.Person]
		if w, ok := q.sitting[d.Sitting]; ok && known && open[w] {
			p.Panels[w] = append(p.Panels[w], x)
		}
	}
	for w := range p.Panels {
		slices.Sort(p.Panels[w])
	}
	return p
}

// write turns a plan into one that can be kept, with its squads.
func (q *problem) write(p *timetable.Plan, facts string) store.Plan {
	out := store.Plan{Grading: q.t.Grading.ID, Kind: draft, Facts: facts, Revision: q.t.revision}
	squads := q.squads(p)
	for e, w := range p.At {
		x := store.Placement{Entry: q.Problem.Entries[e].ID}
		if w != timetable.Waiting {
			x.Sitting, x.Squad = q.t.Sittings[w].ID, squads[e]
		}
		out.Placements = append(out.Placements, x)
	}
	slices.SortFunc(out.Placements, func(a, b store.Placement) int { return compare(a.Entry, b.Entry) })
	for w, panel := range p.Panels {
		for _, x := range panel {
			out.Duties = append(out.Duties, store.Duty{Person: q.t.Examiners[x].Person, Sitting: q.t.Sittings[w].ID})
		}
	}
	return out
}

func compare[T ~string](a, b T) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// squads numbers the squads of a plan through the whole grading, in order of
// time: squad 3 is one squad, on whatever mat.
func (q *problem) squads(p *timetable.Plan) []int {
	out := make([]int, len(p.At))
	next := 1
	for w := range q.t.Sittings {
		var in []int
		for e, at := range p.At {
			if at == w {
				in = append(in, e)
			}
		}
		for _, squad := range q.Squads(in, q.t.Sittings[w].Squad, timetable.SiblingsAnyhow) {
			for _, e := range squad {
				out[e] = next
			}
			next++
		}
	}
	return out
}
