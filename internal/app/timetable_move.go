package app

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// Block is a reason for which entries cannot be put into a sitting.
type Block struct {
	Kind string // locked, lost, rank, answer, time, told, full, mixed, mat
	Say  string // a sentence without its full stop
}

// Effect is what it would do to put entries into a sitting.
type Effect struct {
	Sitting string // "" lets them wait
	Here    bool   // all of them stand there already
	Blocks  []Block
	// Lacks are limits that the plan would break and does not break now: too
	// few in a sitting, nobody to examine in it.
	Lacks []string
	Cost  int64 // by how much the whole plan becomes dearer; less than 0 is better
	Terms []EffectTerm
}

// EffectTerm is one aim that a move changes.
type EffectTerm struct {
	Aim         timetable.Aim
	Units, Cost int64 // by how much more
}

// Effects says of each sitting, and of waiting, what it would do to put entries
// there. Nothing is changed.
func (a *App) Effects(ctx context.Context, who Actor, id rankwright.GradingID, entries []rankwright.EntryID) (out []Effect, err error) {
	err = a.see(ctx, who, SeeTimetable, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		t, err := a.timetable(tx, id)
		if err != nil {
			return err
		}
		out, err = t.effects(entries)
		return err
	})
	return out, err
}

func (t *Timetable) effects(entries []rankwright.EntryID) ([]Effect, error) {
	q, err := t.problem(askable)
	if err != nil {
		return nil, err
	}
	who, err := q.find(entries)
	if err != nil {
		return nil, err
	}
	now := q.read(t.Current())
	m := newMover(q, now)
	out := []Effect{m.effect(who, timetable.Waiting)}
	for w := range t.Sittings {
		out = append(out, m.effect(who, w))
	}
	return out, nil
}

// find looks entries up; nobody is a fault.
func (q *problem) find(entries []rankwright.EntryID) (out []int, err error) {
	for _, e := range entries {
		at, ok := q.entry[e]
		if !ok {
			return nil, noEntry()
		}
		if !slices.Contains(out, at) {
			out = append(out, at)
		}
	}
	if len(out) == 0 {
		return nil, invalid("entry", "choose a child or a family", "nobody was chosen")
	}
	return out, nil
}

// mover moves entries of a plan by hand.
type mover struct {
	q     *problem
	now   *timetable.Plan
	cost  timetable.Costs
	lacks []string
}

func newMover(q *problem, now *timetable.Plan) *mover {
	return &mover{q: q, now: now, cost: q.Cost(now), lacks: q.verify(now)}
}

func (m *mover) effect(who []int, w int) Effect {
	f := Effect{Here: true}
	if w != timetable.Waiting {
		f.Sitting = m.q.t.Sittings[w].ID
	}
	for _, e := range who {
		f.Here = f.Here && m.now.At[e] == w
	}
	if f.Here {
		return f
	}
	if f.Blocks = m.blocks(who, w); len(f.Blocks) > 0 {
		return f
	}
	then := m.moved(who, w)
	cost := m.q.Cost(then)
	f.Cost = cost.Total - m.cost.Total
	for i, c := range cost.Aims {
		if d := c.Units - m.cost.Aims[i].Units; d != 0 {
			f.Terms = append(f.Terms, EffectTerm{c.Aim, d, c.Cost - m.cost.Aims[i].Cost})
		}
	}
	for _, say := range m.q.verify(then) {
		if !slices.Contains(m.lacks, say) {
			f.Lacks = append(f.Lacks, say)
		}
	}
	return f
}

// blocks says why entries cannot stand in a sitting, whatever else is planned
// for them.
func (m *mover) blocks(who []int, w int) (out []Block) {
	no := func(kind, say string, args ...any) { out = append(out, Block{kind, fmt.Sprintf(say, args...)}) }
	t := m.q.t
	for _, e := range who {
		if x := &m.q.Problem.Entries[e]; t.Locked[x.ID] && m.now.At[e] != w && m.now.At[e] != timetable.Waiting {
			no("locked", "%s is locked where the plan has them", x.Name)
		}
	}
	if w == timetable.Waiting {
		return out
	}
	s := &t.Sittings[w]
	session := t.Session(s.Session)
	if s.Lost {
		no("lost", "this sitting is lost")
		return out
	}
	said := map[rankwright.HouseholdID]bool{}
	for _, e := range who {
		x := &m.q.Problem.Entries[e]
		_, f := t.Entry(x.ID)
		switch {
		case m.now.At[e] == w:
		case !m.q.RankAllowed[w][m.q.EntryRank[e]]:
			no("rank", "%s is not examined in this sitting", rankName(t.Grading.Syllabus, x.Rank))
		case m.q.MayStand(e, w) || t.Locked[x.ID]:
		case t.Out[x.ID] && !session.MakeUp:
			no("answer", "%s cannot come on the ordinary dates", x.Name)
		case f.SuitsOf(s.Session) == "no":
			if !said[f.ID] {
				no("answer", "%s: %s does not suit", f.Name, session.Name)
			}
			said[f.ID] = true
		default:
			if !said[f.ID] {
				no("told", "%s was told another time and keeps it", f.Name)
			}
			said[f.ID] = true
		}
	}
	size, low, high := 0, len(m.q.Problem.Ranks), -1
	for e, at := range m.now.At {
		if at == w || slices.Contains(who, e) {
			size++
			low, high = min(low, m.q.EntryRank[e]), max(high, m.q.EntryRank[e])
		}
	}
	if size > s.Most {
		no("full", "there is room for %d, and there would be %d", s.Most, size)
	}
	if s.Mixed > 0 && high-low >= s.Mixed {
		no("mixed", "%s", shareSay(s.Mixed, high-low+1))
	}
	for _, v := range m.q.SameMat[w] {
		if slices.Contains(m.now.At, v) {
			no("mat", "another sitting is on the mat at that time")
		}
	}
	return out
}

func shareSay(may, would int) string {
	if may == 1 {
		return fmt.Sprintf("one rank has it to itself, and %d would share it", would)
	}
	return fmt.Sprintf("%d neighbouring ranks may share it, and this would be from the lowest to the highest %d", may, would)
}

// moved is the plan with entries in a sitting, and with panels where they are
// needed as far as anybody is free.
func (m *mover) moved(who []int, w int) *timetable.Plan {
	p := m.now.Clone()
	left := map[int]bool{}
	for _, e := range who {
		if from := p.At[e]; from != timetable.Waiting && from != w {
			left[from] = true
		}
		p.At[e] = w
	}
	open := m.q.Open(p)
	for v := range left {
		if !open[v] {
			p.Panels[v] = nil
		}
	}
	if w != timetable.Waiting {
		m.man(p, w)
	}
	return p
}

// man fills the panel of a sitting: whoever is not fit for those who come makes
// room, and those with the fewest sittings are asked first.
func (m *mover) man(p *timetable.Plan, w int) {
	q := m.q
	need := q.PanelRank[w]
	for e, at := range p.At {
		if at == w {
			need = max(need, q.EntryRank[e])
		}
	}
	fit := func(x int) bool {
		if q.ExaminerRank[x] < need || !slices.Contains(q.CanSit[w], x) {
			return false
		}
		for _, h := range q.Own[x] {
			for _, e := range q.Members[h] {
				if p.At[e] == w {
					return false
				}
			}
		}
		return true
	}
	load := make([]int, len(q.Problem.Examiners))
	for v := range p.Panels {
		for _, x := range p.Panels[v] {
			load[x]++
		}
	}
	panel := slices.DeleteFunc(slices.Clone(p.Panels[w]), func(x int) bool { return !fit(x) })
	for len(panel) < q.Problem.Sittings[w].Panel {
		best := -1
		for _, x := range q.CanSit[w] {
			if slices.Contains(panel, x) || !fit(x) || m.busy(p, x, w) || best >= 0 && load[x] >= load[best] {
				continue
			}
			best = x
		}
		if best < 0 {
			break
		}
		panel = append(panel, best)
	}
	slices.Sort(panel)
	p.Panels[w] = panel
}

// busy says that an examiner sits elsewhere at that time, or has their day's
// sittings.
func (m *mover) busy(p *timetable.Plan, x, w int) bool {
	day := 0
	for v, panel := range p.Panels {
		if v == w || !slices.Contains(panel, x) {
			continue
		}
		if slices.Contains(m.q.Clash[w], v) {
			return true
		}
		if m.q.Problem.Sessions[m.q.SittingSession[v]].Day == m.q.Problem.Sessions[m.q.SittingSession[w]].Day {
			day++
		}
	}
	most := m.q.Problem.Examiners[x].MostDay
	return most > 0 && day >= most
}

// MoveEntries puts entries of the draft into a sitting, or lets them wait with
// "". Where nothing is being worked on, the published plan becomes the draft.
// What was told stays until the changes are taken.
func (a *App) MoveEntries(ctx context.Context, who Actor, id rankwright.GradingID, entries []rankwright.EntryID, sitting string) (f Effect, err error) {
	err = a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		q, err := t.problem(askable)
		if err != nil {
			return nil, err
		}
		people, err := q.find(entries)
		if err != nil {
			return nil, err
		}
		w := timetable.Waiting
		if sitting != "" {
			at, ok := q.sitting[sitting]
			if !ok {
				return nil, noSitting()
			}
			w = at
		}
		m := newMover(q, q.read(t.Current()))
		f = m.effect(people, w)
		if len(f.Blocks) > 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "blocked", blockDo[f.Blocks[0].Kind], "%s", f.Blocks[0].Say)
		}
		if f.Here {
			return map[string]any{"entries": entries, "sitting": sitting, "what": "stays"}, nil
		}
		return map[string]any{"entries": entries, "sitting": sitting, "cost": f.Cost}, a.keepByHand(tx, who, q, m.moved(people, w))
	})
	return f, err
}

// blockDo is what to do about each kind of block.
var blockDo = map[string]string{
	"locked": "unlock them first",
	"lost":   "choose another sitting, or say that it takes place after all",
	"rank":   "choose another sitting, or let the rank be examined in this one",
	"answer": "ask the family, and change what suits them",
	"told":   "ask the family, and write down their yes under the changes",
	"full":   "choose another sitting, or make more room in this one",
	"mixed":  "choose another sitting, or let more ranks share this one",
	"mat":    "choose a sitting at another time",
}

// keepByHand keeps a plan that was changed by hand as the draft.
func (a *App) keepByHand(tx *store.Tx, who Actor, q *problem, p *timetable.Plan) error {
	facts := PlanFacts{Seed: q.t.Seed}
	if r := q.t.Current(); r != nil {
		facts = r.PlanFacts
	}
	facts.Cost, facts.ByHand = q.Total(p), facts.ByHand+1
	if q.t.Draft == nil || q.t.Draft.Revision != q.t.revision {
		facts.Bounded = false // of another problem than today's
	}
	text, err := json.Marshal(facts)
	if err != nil {
		return err
	}
	kept := q.write(p, string(text))
	if q.t.Draft != nil {
		kept.Revision = q.t.Draft.Revision
	}
	kept.By, kept.At = who.ID, a.moment()
	return tx.PutPlan(kept)
}

// SetPanelOf says by hand who examines in a sitting of the draft.
func (a *App) SetPanelOf(ctx context.Context, who Actor, id rankwright.GradingID, sitting string, people []string) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		q, err := t.problem(askable)
		if err != nil {
			return nil, err
		}
		w, ok := q.sitting[sitting]
		if !ok {
			return nil, noSitting()
		}
		p := q.read(t.Current())
		p.Panels[w] = nil
		for _, x := range people {
			at, ok := q.examiner[x]
			if !ok {
				return nil, rankwright.Faultf(rankwright.NotFound, "no_examiner", "choose who examines first", "one of those who were chosen is not on the panel of the grading")
			}
			if !slices.Contains(p.Panels[w], at) {
				p.Panels[w] = append(p.Panels[w], at)
			}
		}
		slices.Sort(p.Panels[w])
		return map[string]any{"sitting": sitting, "examiners": people}, a.keepByHand(tx, who, q, p)
	})
}

// SetLock keeps entries where the draft has them whatever is worked out anew,
// or lets them go.
func (a *App) SetLock(ctx context.Context, who Actor, id rankwright.GradingID, entries []rankwright.EntryID, locked bool) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if x, _ := t.Entry(e); x == nil {
				return nil, noEntry()
			}
			if locked && t.Current().At(e) == "" {
				return nil, rankwright.Faultf(rankwright.Conflict, "waits", "put them into a sitting first", "somebody who waits cannot be locked")
			}
			if err := tx.SetPlacementLock(store.PlacementLock{Entry: e, By: who.ID, At: a.moment()}, locked); err != nil {
				return nil, err
			}
		}
		if !locked && t.Draft != nil && t.Draft.Bounded {
			// What was proven held for fewer choices.
			p := t.Draft.Plan
			facts := t.Draft.PlanFacts
			facts.Bounded = false
			text, err := json.Marshal(facts)
			if err != nil {
				return nil, err
			}
			p.Facts = string(text)
			if err := tx.PutPlan(p); err != nil {
				return nil, err
			}
		}
		return map[string]any{"entries": entries, "locked": locked}, nil
	})
}

// DropDraft forgets what is being worked on; what was told stands.
func (a *App) DropDraft(ctx context.Context, who Actor, id rankwright.GradingID) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		return map[string]string{"what": "draft dropped"}, tx.RemovePlan(id, draft)
	})
}

// WaitEarlier moves a child one place up the waiting list.
func (a *App) WaitEarlier(ctx context.Context, who Actor, entry rankwright.EntryID) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, PlanTimes, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, g)
		if err != nil {
			return nil, err
		}
		waits := t.waitsNow(t.Current(), a.moment())
		i := slices.IndexFunc(waits, func(w store.Wait) bool { return w.Entry == entry })
		if i < 0 {
			return nil, noEntry()
		}
		if i > 0 {
			waits[i].Entry, waits[i-1].Entry = waits[i-1].Entry, waits[i].Entry
			waits[i].At, waits[i-1].At = waits[i-1].At, waits[i].At
		}
		return map[string]int{"place": max(i, 1)}, tx.PutWaitingList(g, waits)
	})
}

// waitsNow is the waiting list of a plan: those who waited before in their
// order, then the others.
func (t *Timetable) waitsNow(p *PlanRecord, at store.Moment) (out []store.Wait) {
	add := func(e rankwright.EntryID, since store.Moment) {
		out = append(out, store.Wait{Entry: e, Place: len(out) + 1, At: since})
	}
	before := map[rankwright.EntryID]bool{}
	for _, w := range t.waits {
		if e, _ := t.Entry(w.Entry); e != nil && p.At(w.Entry) == "" {
			before[w.Entry] = true
			add(w.Entry, w.At)
		}
	}
	for _, e := range t.Grading.Entries {
		if !e.Erased && p != nil && p.At(e.Entry.ID) == "" && !before[e.Entry.ID] {
			add(e.Entry.ID, at)
		}
	}
	return out
}

// WaitingNow lists who has no sitting in the plan that stands, the next one on
// the waiting list first.
func (t *Timetable) WaitingNow() (out []rankwright.EntryID) {
	for _, w := range t.waitsNow(t.Current(), 0) {
		out = append(out, w.Entry)
	}
	return out
}
