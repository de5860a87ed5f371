package app

import (
	"context"
	"encoding/json"
	"slices"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// Block is a limit that stands in the way of a move.
type Block struct {
	Kind timetable.Limit
	Say  string // a sentence without its full stop
}

// Effect is what it would do to put entries into a sitting.
type Effect struct {
	Sitting string // "" lets them wait
	Here    bool   // all of them stand there already
	Blocks  []Block
	// Lacks are limits that the plan would break for the time being: too few in
	// a sitting, nobody to examine in it. More moves may mend that.
	Lacks []string
	Cost  int64 // by how much the whole plan becomes dearer; less than 0 is better
	Terms []EffectTerm
}

// EffectTerm is one aim that a move changes.
type EffectTerm struct {
	Aim         timetable.Aim
	Units, Cost int64 // by how much more
}

// Effects says of waiting, and of each sitting, what it would do to put entries
// there. Nothing is changed.
func (a *App) Effects(ctx context.Context, who Actor, id rankwright.GradingID, entries []rankwright.EntryID) (out []Effect, err error) {
	err = a.see(ctx, who, SeeTimetable, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		t, err := a.timetable(tx, id)
		if err != nil {
			return err
		}
		out, err = t.Effects(entries)
		return err
	})
	return out, err
}

// Effects is App.Effects for a timetable that was read.
func (t *Timetable) Effects(entries []rankwright.EntryID) (out []Effect, err error) {
	q, err := t.problem(askable)
	if err != nil {
		return nil, err
	}
	who, err := q.find(entries)
	if err != nil {
		return nil, err
	}
	for _, f := range q.Effects(q.read(t.Current()), who) {
		out = append(out, q.effect(f))
	}
	return out, nil
}

// soft are the limits that a person may break for the time being.
var soft = []timetable.Limit{timetable.LimitLeast, timetable.LimitPanel}

func (q *problem) effect(f timetable.Effect) Effect {
	x := Effect{Here: f.Here, Cost: f.Total}
	if f.Sitting != timetable.Waiting {
		x.Sitting = q.t.Sittings[f.Sitting].ID
	}
	for _, b := range f.Blocks {
		say := q.SayBlock(b)
		switch {
		case slices.Contains(soft, b.Limit):
			x.Lacks = append(x.Lacks, say)
		case !slices.ContainsFunc(x.Blocks, func(o Block) bool { return o.Say == say }): // once for brothers and sisters
			x.Blocks = append(x.Blocks, Block{b.Limit, say})
		}
	}
	for a, n := range f.Units {
		if n != 0 {
			x.Terms = append(x.Terms, EffectTerm{timetable.Aim(a), n, f.Costs[a]})
		}
	}
	return x
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
		e := q.EffectOf(q.read(t.Current()), people, w)
		f = q.effect(e)
		if len(f.Blocks) > 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "blocked", blockDo[f.Blocks[0].Kind], "%s", f.Blocks[0].Say)
		}
		if f.Here {
			return map[string]any{"entries": entries, "sitting": sitting, "what": "stays"}, nil
		}
		return map[string]any{"entries": entries, "sitting": sitting, "cost": f.Cost}, a.keepByHand(tx, who, q, e.Plan)
	})
	return f, err
}

// blockDo is what to do about each limit.
var blockDo = map[timetable.Limit]string{
	timetable.LimitAnswer: "ask the family, and change what suits them",
	timetable.LimitTime:   "choose another sitting",
	timetable.LimitRank:   "choose another sitting, or let the rank be examined in this one",
	timetable.LimitShared: "choose another sitting, or let more ranks share this one",
	timetable.LimitRoom:   "choose another sitting, or make more room in this one",
	timetable.LimitShut:   "choose another sitting, or say that it takes place after all",
	timetable.LimitLocked: "unlock them first",
	timetable.LimitTold:   "ask the family, and write down their yes under the changes",
	timetable.LimitMust:   "choose a sitting",
	timetable.LimitMat:    "choose a sitting at another time",
}

// keepByHand keeps a plan that was changed by hand as the draft.
func (a *App) keepByHand(tx *store.Tx, who Actor, q *problem, p *timetable.Plan) error {
	facts := PlanFacts{Seed: q.t.Seed}
	if r := q.t.Current(); r != nil {
		facts = r.PlanFacts
	}
	facts.Cost, facts.ByHand = q.Total(p), facts.ByHand+1
	if q.t.Draft == nil || q.t.Draft.Revision != q.t.revision {
		facts.Bounded, facts.Counted = false, false // of another problem than today's
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
		if !locked && t.Draft != nil && (t.Draft.Bounded || t.Draft.Counted) {
			// What was proven held for fewer choices.
			p := t.Draft.Plan
			facts := t.Draft.PlanFacts
			facts.Bounded, facts.Counted = false, false
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
		if !e.Erased && p.At(e.Entry.ID) == "" && !before[e.Entry.ID] {
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

// Costs are what the plan that stands costs, aim by aim.
func (t *Timetable) Costs() (timetable.Costs, error) {
	q, err := t.problem(whatever)
	if err != nil {
		return timetable.Costs{}, err
	}
	return q.Cost(q.read(t.Current())), nil
}
