package timetable

import (
	"fmt"
	"slices"

	"rankwright"
)

// RemedyKind is a kind of change that a person can decide on.
type RemedyKind string

// The remedies.
const (
	OpenSitting  RemedyKind = "open"    // let a shut sitting take place
	AddSitting   RemedyKind = "add"     // hold one more sitting after the last of its mat
	RaiseMost    RemedyKind = "raise"   // let so many more into a sitting
	WidenRanks   RemedyKind = "widen"   // let more ranks share a sitting
	LowerLeast   RemedyKind = "lower"   // let a sitting take place with fewer
	AskPresence  RemedyKind = "examine" // ask an examiner to be there in a session
	FindExaminer RemedyKind = "find"    // find one more examiner for a session
	AskHousehold RemedyKind = "ask"     // ask a household about a session
	AskMove      RemedyKind = "move"    // ask a household for its yes to another time
	UnlockEntry  RemedyKind = "unlock"  // take a lock off
	mostRemedies            = 12
)

// Remedy is a change that would give the entry a place, and has been tried: with
// it there is a plan for the entry and everybody who was placed. Numbers are
// places in the problem's lists, or -1.
type Remedy struct {
	Kind      RemedyKind
	Sitting   int
	Session   int
	Household int
	Entry     int
	Examiner  int
	By        int               // RaiseMost, LowerLeast: by how many; WidenRanks: the width then
	Rank      rankwright.RankID // WidenRanks: to let in; FindExaminer: to examine
	New       Sitting           // AddSitting
}

func remedy(kind RemedyKind) Remedy {
	return Remedy{Kind: kind, Sitting: -1, Session: -1, Household: -1, Entry: -1, Examiner: -1}
}

// Apply is the problem with the remedy.
func (r Remedy) Apply(p *Problem) *Problem {
	c := p.clone()
	switch r.Kind {
	case OpenSitting:
		c.Sittings[r.Sitting].Hold = Free
	case AddSitting:
		c.Sittings = append(c.Sittings, r.New)
	case RaiseMost:
		c.Sittings[r.Sitting].Most += r.By
	case LowerLeast:
		c.Sittings[r.Sitting].Least -= r.By
	case WidenRanks:
		s := &c.Sittings[r.Sitting]
		s.Width = r.By
		if len(s.Ranks) > 0 && !slices.Contains(s.Ranks, r.Rank) {
			s.Ranks = append(slices.Clone(s.Ranks), r.Rank)
		}
	case AskPresence:
		x := &c.Examiners[r.Examiner]
		session := c.Sessions[r.Session].ID
		x.There = slices.DeleteFunc(slices.Clone(x.There), func(t Presence) bool { return t.Session == session })
		x.There = append(x.There, Presence{Session: session})
	case FindExaminer:
		x := Examiner{Highest: r.Rank, There: []Presence{{Session: c.Sessions[r.Session].ID}}}
		for n := len(c.Examiners) + 1; ; n++ {
			x.ID = rankwright.ExaminerID(fmt.Sprintf("examiner-%d", n))
			if !slices.ContainsFunc(c.Examiners, func(o Examiner) bool { return o.ID == x.ID }) {
				break
			}
		}
		c.Examiners = append(c.Examiners, x)
	case AskHousehold:
		h := &c.Households[r.Household]
		session := c.Sessions[r.Session].ID
		if a := answerOf(c, h, session); a.Suits != No && a.From == 0 && a.Until == 0 {
			h.From, h.Until = 0, 0 // it can only be the times of every day
		}
		h.Answers = slices.DeleteFunc(slices.Clone(h.Answers), func(a Answer) bool { return a.Session == session })
		h.Answers = append(h.Answers, Answer{Session: session, Suits: IfNeedBe})
	case AskMove:
		c.Households[r.Household].MayMove = true
	case UnlockEntry:
		c.Entries[r.Entry].Locked = ""
	}
	return c
}

// remedies proposes what would help, tries each, and keeps those that do.
func (x *explainer) remedies(out *Explanation, whole *Problem, must []int) {
	for _, r := range x.proposals(out, must) {
		if len(out.Remedies) == mostRemedies {
			return
		}
		if slices.ContainsFunc(out.Remedies, func(o Remedy) bool { return sameRemedy(o, r) }) {
			continue
		}
		// What helps those who clash may still not help everybody.
		proven := x.proven
		most := r.By
		if r.Kind == RaiseMost {
			most = len(must)
		}
		for ; r.By <= most; r.By++ {
			if x.possible(r.Apply(whole)) {
				out.Remedies = append(out.Remedies, r)
				break
			}
		}
		x.proven = proven
	}
}

func sameRemedy(a, b Remedy) bool {
	return a.Kind == b.Kind && a.Sitting == b.Sitting && a.Session == b.Session && a.Household == b.Household && a.Entry == b.Entry &&
		a.Examiner == b.Examiner && a.New.ID == b.New.ID && a.Rank == b.Rank
}

// proposals are changes that the clash suggests, those that bother the fewest
// people first.
func (x *explainer) proposals(out *Explanation, must []int) []Remedy {
	q, p := x.q, x.q.Problem
	var open, room, panel, find, families []Remedy
	sessions := map[int]bool{}
	for _, w := range q.May[out.Entry] {
		sessions[q.SittingSession[w]] = true
	}
	for _, c := range out.Clash {
		if c.Sitting >= 0 {
			sessions[q.SittingSession[c.Sitting]] = true
		}
		switch c.Limit {
		case LimitShut:
			r := remedy(OpenSitting)
			r.Sitting = c.Sitting
			open = append(open, r)
		case LimitRoom:
			r := remedy(RaiseMost)
			r.Sitting, r.By = c.Sitting, 1
			room = append(room, r)
		case LimitShared:
			room = append(room, x.widen(c.Sitting, out.Entry)...)
		case LimitLeast:
			r := remedy(LowerLeast)
			r.Sitting, r.By = c.Sitting, 1
			room = append(room, r)
			r.By = p.Sittings[c.Sitting].Least - 1
			room = append(room, r)
		case LimitPanel:
			for e := range p.Examiners {
				r := remedy(AskPresence)
				r.Examiner, r.Session = e, q.SittingSession[c.Sitting]
				if q.ExaminerRank[e] >= max(q.PanelRank[c.Sitting], q.EntryRank[out.Entry]) && !slices.Contains(q.CanSit[c.Sitting], e) {
					panel = append(panel, r)
				}
			}
			r := remedy(FindExaminer)
			r.Session, r.Rank = q.SittingSession[c.Sitting], p.Ranks[max(q.PanelRank[c.Sitting], x.highest(must))]
			find = append(find, r)
		case LimitAnswer:
			for s := range p.Sessions {
				h := &p.Households[c.Household]
				if a := answerOf(p, h, p.Sessions[s].ID); a.Suits == No || a.From > 0 || a.Until > 0 || h.From > 0 || h.Until > 0 {
					r := remedy(AskHousehold)
					r.Household, r.Session = c.Household, s
					families = append(families, r)
				}
			}
		case LimitTold:
			r := remedy(AskMove)
			r.Household = c.Household
			families = append(families, r)
		case LimitLocked:
			r := remedy(UnlockEntry)
			r.Entry = c.Entry
			families = append(families, r)
		}
	}
	for s := range p.Sessions {
		if sessions[s] {
			open = append(open, x.another(s, out.Entry)...)
		}
	}
	// The waiting family is asked before others.
	own := q.EntryHousehold[out.Entry]
	slices.SortStableFunc(families, func(a, b Remedy) int {
		rank := func(r Remedy) int {
			if r.Household == own {
				return 0
			}
			return 1
		}
		return rank(a) - rank(b)
	})
	return slices.Concat(open, room, panel, find, families)
}

// highest is the highest rank that some entries try for.
func (x *explainer) highest(entries []int) int {
	out := 0
	for _, e := range entries {
		out = max(out, x.q.EntryRank[e])
	}
	return out
}

// widen proposes to let the entry's rank, or one more neighbour, into a sitting.
func (x *explainer) widen(w, entry int) []Remedy {
	s := &x.q.Problem.Sittings[w]
	r := remedy(WidenRanks)
	r.Sitting, r.Rank, r.By = w, x.q.Problem.Entries[entry].Rank, s.Width
	if x.q.RankAllowed[w][x.q.EntryRank[entry]] && s.Width == 0 {
		return nil // it is not the ranks
	}
	out := []Remedy{r}
	if s.Width > 0 {
		r.By++
		out = append(out, r)
	}
	return out
}

// another proposes one more sitting of a session, after the last on each mat.
func (x *explainer) another(session, entry int) (out []Remedy) {
	q, p := x.q, x.q.Problem
	done := map[MatID]bool{}
	order := q.Order[session]
	for i := len(order) - 1; i >= 0; i-- {
		last := p.Sittings[order[i]]
		if done[last.Mat] {
			continue
		}
		done[last.Mat] = true
		s := last
		s.Start, s.Hold, s.Was, s.Least = last.End(), Free, nil, min(last.Least, 1)
		for n := len(p.Sittings) + 1; ; n++ {
			s.ID = SittingID(fmt.Sprintf("%s-%d", last.Session, n))
			if !slices.ContainsFunc(p.Sittings, func(o Sitting) bool { return o.ID == s.ID }) {
				break
			}
		}
		if len(s.Ranks) > 0 && !slices.Contains(s.Ranks, p.Entries[entry].Rank) {
			s.Ranks, s.Width, s.PanelFor = []rankwright.RankID{p.Entries[entry].Rank}, 0, ""
		}
		if s.End() > 24*60 {
			continue
		}
		r := remedy(AddSitting)
		r.Session, r.New = session, s
		out = append(out, r)
	}
	return out
}
