package timetable

import (
	"slices"

	"rankwright"
)

// Prepared is a problem that holds together, with its names looked up and what
// follows from it alone worked out once. It is not changed after Prepare, so it
// may be used by several at a time. All numbers are places in the problem's
// lists.
type Prepared struct {
	Problem *Problem

	EntryHousehold []int
	EntryRank      []int
	// May has, for each entry, the sittings in which it may stand as far as the
	// entry alone is concerned, ascending: answers, times, ranks, locks, shut
	// sittings and the household's yes to a move. An entry may wait as well
	// unless CanWait says no.
	May [][]int
	// Price has, in the order of May, what the entry alone costs there: if need
	// be, wish, make-up, late and redrawn. Its waiting costs WaitPrice.
	Price     [][]int64
	WaitPrice []int64
	CanWait   []bool
	// Was is the sitting of the published plan, or Waiting; Told likewise.
	Was  []int
	Told []bool

	Members        [][]int // of a household: its entries
	SittingSession []int
	// Order has, for each session, its sittings by start, then mat, then place.
	Order [][]int
	// LowRank and HighRank hold what Sitting.Ranks allow at the outside, and
	// RankAllowed the exact answer for sitting and rank.
	LowRank, HighRank []int
	RankAllowed       [][]bool
	// PanelRank is the rank that the panel must at least be able to examine, or -1.
	PanelRank []int
	WasPanel  [][]int
	// Clash has, for each sitting, the others at the same time on the same day:
	// nobody can examine in both. SameMat are those of them on the same mat:
	// not both can be open.
	Clash   [][]int
	SameMat [][]int

	ExaminerRank []int
	// CanSit has, for each sitting, the examiners who are there, may use the
	// mat and may examine PanelRank and, unless it may be held empty, its lowest
	// allowed rank, ascending. Who comes decides the rest: the highest rank that
	// comes and their own households.
	CanSit [][]int
	// Own has, for each examiner, their households, ascending.
	Own [][]int
}

// mayStand says whether the entry may stand in the sitting as far as it alone
// is concerned.
func (q *Prepared) mayStand(e, w int) bool {
	_, ok := slices.BinarySearch(q.May[e], w)
	return ok
}

// MayStand says whether entry e is allowed in sitting w, looked at alone.
func (q *Prepared) MayStand(e, w int) bool { return q.mayStand(e, w) }

// PriceOf is what entry e alone costs in sitting w, or waiting. The pair must
// be allowed.
func (q *Prepared) PriceOf(e, w int) int64 {
	if w == Waiting {
		return q.WaitPrice[e]
	}
	i, _ := slices.BinarySearch(q.May[e], w)
	return q.Price[e][i]
}

// Gap is how many minutes lie between the end of the earliest-ending and the
// start of the latest-starting of two sittings; negative where they overlap.
func (q *Prepared) Gap(a, b int) int {
	sa, sb := &q.Problem.Sittings[a], &q.Problem.Sittings[b]
	return int(max(sa.Start, sb.Start) - min(sa.End(), sb.End()))
}

// late says whether the sitting is late for a little one.
func late(p *Problem, s *Sitting, first Minute) bool {
	r := &p.Rules
	return r.LittleAfter > 0 && int(s.Start-first) >= r.LittleAfter || r.LittleClock > 0 && s.Start >= r.LittleClock
}

// answerOf is what the household says of a session.
func answerOf(p *Problem, h *Household, s SessionID) Answer {
	for _, a := range h.Answers {
		if a.Session == s {
			return a
		}
	}
	return Answer{Session: s, Suits: p.Rules.Unanswered}
}

// fitsTime says whether the sitting lies within two limits.
func fitsTime(s *Sitting, from, until Minute) bool {
	return (from == 0 || s.Start >= from) && (until == 0 || s.End() <= until)
}

// Prepare checks the problem and works out what follows from it alone. The
// error, if any, is a rankwright.Faults with every contradiction in the
// problem's own words.
func Prepare(p *Problem) (*Prepared, error) {
	if err := Check(p); err != nil {
		return nil, err
	}
	q := &Prepared{Problem: p}
	ranks := places(p.Ranks, func(r rankwright.RankID) rankwright.RankID { return r })
	sessions := places(p.Sessions, func(s Session) SessionID { return s.ID })
	sittings := places(p.Sittings, func(s Sitting) SittingID { return s.ID })
	households := places(p.Households, func(h Household) rankwright.HouseholdID { return h.ID })
	examiners := places(p.Examiners, func(x Examiner) rankwright.ExaminerID { return x.ID })
	q.prepareSittings(ranks, sessions, examiners)
	q.prepareEntries(ranks, households, sittings)
	q.prepareExaminers(ranks, sessions, households)
	return q, nil
}

func places[T any, K comparable](list []T, key func(T) K) map[K]int {
	m := make(map[K]int, len(list))
	for i, x := range list {
		m[key(x)] = i
	}
	return m
}

func (q *Prepared) prepareSittings(ranks map[rankwright.RankID]int, sessions map[SessionID]int, examiners map[rankwright.ExaminerID]int) {
	p := q.Problem
	n := len(p.Sittings)
	q.SittingSession = make([]int, n)
	q.Order = make([][]int, len(p.Sessions))
	q.LowRank, q.HighRank, q.PanelRank = make([]int, n), make([]int, n), make([]int, n)
	q.RankAllowed = make([][]bool, n)
	q.WasPanel, q.Clash, q.SameMat = make([][]int, n), make([][]int, n), make([][]int, n)
	for w := range p.Sittings {
		s := &p.Sittings[w]
		at := sessions[s.Session]
		q.SittingSession[w] = at
		q.Order[at] = append(q.Order[at], w)
		q.RankAllowed[w] = make([]bool, len(p.Ranks))
		q.LowRank[w], q.HighRank[w], q.PanelRank[w] = len(p.Ranks), -1, -1
		for r, id := range p.Ranks {
			if len(s.Ranks) == 0 || slices.Contains(s.Ranks, id) {
				q.RankAllowed[w][r] = true
				q.LowRank[w] = min(q.LowRank[w], r)
				q.HighRank[w] = r
			}
		}
		if s.PanelFor != "" {
			q.PanelRank[w] = ranks[s.PanelFor]
		}
		for _, x := range s.Was {
			q.WasPanel[w] = append(q.WasPanel[w], examiners[x])
		}
		slices.Sort(q.WasPanel[w])
	}
	for _, order := range q.Order {
		slices.SortFunc(order, func(a, b int) int {
			sa, sb := &p.Sittings[a], &p.Sittings[b]
			if sa.Start != sb.Start {
				return int(sa.Start - sb.Start)
			}
			if sa.Mat != sb.Mat {
				if sa.Mat < sb.Mat {
					return -1
				}
				return 1
			}
			return a - b
		})
	}
	days := map[rankwright.Day][]int{}
	for w := range p.Sittings {
		d := p.Sessions[q.SittingSession[w]].Day
		days[d] = append(days[d], w)
	}
	for w := range p.Sittings {
		s := &p.Sittings[w]
		for _, v := range days[p.Sessions[q.SittingSession[w]].Day] {
			o := &p.Sittings[v]
			if v == w || s.Start >= o.End() || o.Start >= s.End() {
				continue
			}
			q.Clash[w] = append(q.Clash[w], v)
			if s.Mat == o.Mat {
				q.SameMat[w] = append(q.SameMat[w], v)
			}
		}
	}
}

func (q *Prepared) prepareEntries(ranks map[rankwright.RankID]int, households map[rankwright.HouseholdID]int, sittings map[SittingID]int) {
	p := q.Problem
	n := len(p.Entries)
	q.EntryHousehold, q.EntryRank, q.Was = make([]int, n), make([]int, n), make([]int, n)
	q.Told, q.CanWait = make([]bool, n), make([]bool, n)
	q.May, q.Price, q.WaitPrice = make([][]int, n), make([][]int64, n), make([]int64, n)
	q.Members = make([][]int, len(p.Households))
	first := make([]Minute, len(p.Sessions))
	for s, order := range q.Order {
		if len(order) > 0 {
			first[s] = p.Sittings[order[0]].Start
		}
	}
	answers := make([][]Answer, len(p.Households))
	for h := range p.Households {
		answers[h] = make([]Answer, len(p.Sessions))
		for s := range p.Sessions {
			answers[h][s] = answerOf(p, &p.Households[h], p.Sessions[s].ID)
		}
	}
	weight := func(a Aim) int64 { return int64(p.Weights[a]) }
	for i := range p.Entries {
		e := &p.Entries[i]
		h := households[e.Household]
		q.EntryHousehold[i], q.EntryRank[i] = h, ranks[e.Rank]
		q.Members[h] = append(q.Members[h], i)
		q.Was[i], q.Told[i] = Waiting, e.Told
		if e.Was != "" {
			q.Was[i] = sittings[e.Was]
		}
		q.CanWait[i] = !e.MustPlace && e.Locked == ""
		for w := range p.Sittings {
			if !q.allowedAlone(i, w, answers[h][q.SittingSession[w]]) {
				continue
			}
			a := answers[h][q.SittingSession[w]]
			price := weight(AimWish) * int64(a.Points)
			if a.Suits == IfNeedBe {
				price += weight(AimIfNeedBe)
			}
			if p.Sessions[q.SittingSession[w]].Makeup {
				price += weight(AimMakeup)
			}
			if e.Age > 0 && e.Age <= p.Rules.LittleAge && late(p, &p.Sittings[w], first[q.SittingSession[w]]) {
				price += weight(AimLate)
			}
			if q.Was[i] != Waiting && !e.Told && w != q.Was[i] {
				price += weight(AimRedrawn)
			}
			q.May[i] = append(q.May[i], w)
			q.Price[i] = append(q.Price[i], price)
		}
		q.WaitPrice[i] = weight(AimPlaced)
		if q.Was[i] != Waiting && !e.Told {
			q.WaitPrice[i] += weight(AimRedrawn)
		}
	}
}

// allowedAlone is the rule behind May.
func (q *Prepared) allowedAlone(i, w int, a Answer) bool {
	p := q.Problem
	e, s := &p.Entries[i], &p.Sittings[w]
	if s.Hold == Shut || s.Most < 1 || !q.RankAllowed[w][q.EntryRank[i]] {
		return false
	}
	if e.Locked != "" {
		return e.Locked == s.ID
	}
	h := &p.Households[q.EntryHousehold[i]]
	if e.Told && q.Was[i] != Waiting {
		if q.Was[i] != w && !h.MayMove {
			return false
		}
	}
	return a.Suits != No && fitsTime(s, a.From, a.Until) && fitsTime(s, h.From, h.Until)
}

func (q *Prepared) prepareExaminers(ranks map[rankwright.RankID]int, sessions map[SessionID]int, households map[rankwright.HouseholdID]int) {
	p := q.Problem
	q.ExaminerRank, q.Own = make([]int, len(p.Examiners)), make([][]int, len(p.Examiners))
	q.CanSit = make([][]int, len(p.Sittings))
	for x := range p.Examiners {
		ex := &p.Examiners[x]
		q.ExaminerRank[x] = ranks[ex.Highest]
		for _, h := range ex.Own {
			q.Own[x] = append(q.Own[x], households[h])
		}
		slices.Sort(q.Own[x])
		there := map[int]Presence{}
		for _, t := range ex.There {
			there[sessions[t.Session]] = t
		}
		for w := range p.Sittings {
			s := &p.Sittings[w]
			t, ok := there[q.SittingSession[w]]
			if !ok || !fitsTime(s, t.From, t.Until) || len(ex.Mats) > 0 && !slices.Contains(ex.Mats, s.Mat) {
				continue
			}
			least := q.PanelRank[w]
			if s.Hold != Held {
				least = max(least, q.LowRank[w])
			}
			if q.ExaminerRank[x] >= least {
				q.CanSit[w] = append(q.CanSit[w], x)
			}
		}
	}
}
