package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
)

// Change is what taking the draft would change for one family.
type Change struct {
	Family  *Family
	Key     string // names exactly this change
	Entries []ChangedEntry
	// Needs says that the family has to say yes: it was told another time that
	// could be kept.
	Needs bool
	// Said is what the family said to exactly this change or to any: "", yes, no.
	Said  string
	By    string // who wrote it down
	At    store.Moment
	Asked bool // the family was asked on its own page
}

// ChangedEntry is one child with the time that was told and the one to come.
type ChangedEntry struct {
	Entry *EntryView
	From  *PublishedTime // nil where none was told
	To    *Sitting       // nil where they would wait
	Lost  bool           // the sitting that was told is lost
	Out   bool           // they said that they cannot come at the time that was told
}

// Changes lists what taking the draft would change for families, those who
// have to say yes first.
func (t *Timetable) Changes() (out []Change) {
	if t.Draft == nil {
		return nil
	}
	for i := range t.Families {
		f := &t.Families[i]
		c := Change{Family: f}
		h := sha256.New()
		for j := range f.Entries {
			e := &f.Entries[j]
			x := ChangedEntry{Entry: e, From: t.ToldOf(e.Entry.ID), To: t.Sitting(t.Draft.At(e.Entry.ID)), Out: t.leaves(e.Entry.ID)}
			from, to := "", ""
			if x.From != nil {
				from = x.From.Sitting
				s := t.Sitting(from)
				x.Lost = s == nil || s.Lost
			}
			if x.To != nil {
				to = x.To.ID
			}
			if from == to {
				continue
			}
			fmt.Fprintf(h, "%s %s %s\n", e.Entry.ID, from, to)
			c.Entries = append(c.Entries, x)
			c.Needs = c.Needs || x.From != nil && !x.Lost && !x.Out
		}
		if len(c.Entries) == 0 {
			continue
		}
		c.Key = hex.EncodeToString(h.Sum(nil)[:8])
		c.Asked = t.asked[f.ID][c.Key]
		for _, key := range []string{AnyChange, c.Key} {
			if m, ok := t.answered[f.ID][key]; ok && m.At >= c.At {
				c.By, c.At = m.By, m.At
				if c.Said = "no"; m.Yes {
					c.Said = "yes"
				}
			}
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(x, y Change) int { return change(y) - change(x) })
	return out
}

func change(c Change) int {
	switch {
	case c.Needs && c.Said != "yes":
		return 2
	case c.Needs:
		return 1
	}
	return 0
}

// MayTake says what stands between the draft and the families: limits that it
// breaks, and families whose yes is missing.
func (t *Timetable) MayTake() (breaks []string, without []Change, err error) {
	if t.Draft == nil {
		return nil, nil, nil
	}
	q, err := t.problem(whatever)
	if err != nil {
		return nil, nil, err
	}
	breaks = q.verify(q.read(t.Draft))
	for _, c := range t.Changes() {
		if c.Needs && c.Said != "yes" {
			without = append(without, c)
		}
	}
	return breaks, without, nil
}

// PublishTimetable makes the draft the published plan: from now on families
// and examiners are told these times. A grading that was planned becomes
// timetabled; of one that is timetabled only what changed is told anew, and no
// time that was told is changed without that family's yes.
func (a *App) PublishTimetable(ctx context.Context, who Actor, id rankwright.GradingID) error {
	act := PublishTimes
	if err := a.st.Read(ctx, func(tx *store.Tx) error {
		g, err := tx.Grading(id)
		if State(g.State) == Timetabled {
			act = MovePublished
		}
		return err
	}); err != nil {
		return err
	}
	return a.do(ctx, who, act, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		if t.Draft == nil {
			return nil, rankwright.Faultf(rankwright.Conflict, "no_plan", "plan it first", "there is no new plan to publish")
		}
		breaks, without, err := t.MayTake()
		if err != nil {
			return nil, err
		}
		if len(breaks) > 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "breaks_limits", "put that right on the board, or let it be planned anew", "the plan cannot be held as it is: %s", strings.Join(breaks, "; "))
		}
		if len(without) > 0 {
			var names []string
			for _, c := range without {
				names = append(names, c.Family.Name)
			}
			return nil, rankwright.Faultf(rankwright.Conflict, "needs_yes", "ask them and write down what they say, or let the plan be repaired without moving them",
				"these families were told another time and have not said yes: %s", strings.Join(names, ", "))
		}
		count, err := a.tellTimes(tx, t, t.Draft.Plan)
		if err != nil {
			return nil, err
		}
		if err := tx.PutWaitingList(id, t.waitsNow(t.Draft, a.moment())); err != nil {
			return nil, err
		}
		if err := a.takeOver(tx, t, who); err != nil {
			return nil, err
		}
		if st := State(t.Grading.State); st != Timetabled {
			if err := tx.SetGradingState(id, string(st), string(Timetabled)); err != nil {
				return nil, err
			}
		}
		return count, nil
	})
}

// takeOver makes the draft the published plan and gives the entries their
// squads.
func (a *App) takeOver(tx *store.Tx, t *Timetable, who Actor) error {
	p := t.Draft.Plan
	p.Kind, p.By, p.At = published, who.ID, a.moment()
	if err := tx.PutPlan(p); err != nil {
		return err
	}
	if err := tx.RemovePlan(p.Grading, draft); err != nil {
		return err
	}
	for _, x := range p.Placements {
		if x.Squad == 0 {
			continue
		}
		e, err := tx.Entry(x.Entry)
		if err != nil {
			return err
		}
		if e.Squad != x.Squad {
			e.Squad = x.Squad
			if err := tx.PutEntry(e); err != nil {
				return err
			}
		}
	}
	return nil
}

// tellTimes writes down which times are told by a plan: new ones, changed ones
// under a higher sequence, and what is cancelled.
func (a *App) tellTimes(tx *store.Tx, t *Timetable, p store.Plan) (count map[string]int, err error) {
	count = map[string]int{}
	type key struct {
		entry           rankwright.EntryID
		person, sitting string // an examiner has one for each sitting
	}
	was := map[key]PublishedTime{}
	for _, x := range t.Told {
		k := key{entry: x.Entry, person: x.Person}
		if x.Entry == "" {
			k.sitting = x.Sitting
		}
		was[k] = x
	}
	kept := map[key]bool{}
	tell := func(k key, sitting string) error {
		s := t.Sitting(sitting)
		if s == nil {
			return noSitting()
		}
		kept[k] = true
		x := PublishedTime{Grading: t.Grading.ID, Entry: k.entry, Person: k.person, Sitting: s.ID, Mat: s.Mat, Day: t.Session(s.Session).Day,
			Begins: s.Begins, Minutes: s.Minutes, At: a.moment()}
		if _, f := t.Entry(k.entry); f != nil {
			x.Household = f.ID
		}
		if old, ok := was[k]; ok {
			x.UID, x.Sequence = old.UID, old.Sequence
			same := old
			same.At = x.At
			if same == x {
				return nil
			}
			x.Sequence++
			count["changed"]++
		} else {
			secret, err := a.newID("time")
			if err != nil {
				return err
			}
			x.UID = secret + "@rankwright"
			count["told"]++
		}
		return tx.PutPublishedTime(x)
	}
	for _, x := range p.Placements {
		if x.Sitting != "" {
			if err := tell(key{entry: x.Entry}, x.Sitting); err != nil {
				return nil, err
			}
		}
	}
	for _, d := range p.Duties {
		if err := tell(key{person: d.Person, sitting: d.Sitting}, d.Sitting); err != nil {
			return nil, err
		}
	}
	for _, x := range t.Told {
		k := key{entry: x.Entry, person: x.Person}
		if x.Entry == "" {
			k.sitting = x.Sitting
		}
		if kept[k] || x.Cancelled {
			continue
		}
		x.Cancelled, x.Sequence, x.At = true, x.Sequence+1, a.moment()
		count["cancelled"]++
		if err := tx.PutPublishedTime(x); err != nil {
			return nil, err
		}
	}
	return count, nil
}

// cancelTime cancels the time that was told for an entry that goes.
func (a *App) cancelTime(tx *store.Tx, id rankwright.GradingID, entry rankwright.EntryID) error {
	told, err := tx.PublishedTimes(id)
	if err != nil {
		return err
	}
	for _, x := range told {
		if x.Entry == entry && !x.Cancelled {
			x.Cancelled, x.Sequence, x.At = true, x.Sequence+1, a.moment()
			return tx.PutPublishedTime(x)
		}
	}
	return nil
}

// Today is where the day's sittings still have room.
type Today struct {
	At   map[rankwright.EntryID]string // the sitting of each entry
	Room map[rankwright.EntryID][]TodaySitting
}

// TodaySitting is another sitting of today that a child could move to.
type TodaySitting struct {
	Sitting
	Free int
}

// TodaySittings says where each child is today and to which other sittings of
// the day they could be moved: those with room, for their rank, before a panel
// that may examine them.
func (a *App) TodaySittings(ctx context.Context, who Actor, id rankwright.GradingID) (d Today, err error) {
	err = a.see(ctx, who, SeeTimetable, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		t, err := a.timetable(tx, id)
		if err != nil || t.Published == nil {
			return err
		}
		d.At, d.Room = map[rankwright.EntryID]string{}, map[rankwright.EntryID][]TodaySitting{}
		for _, e := range t.Grading.Entries {
			d.At[e.Entry.ID] = t.Published.At(e.Entry.ID)
		}
		for i := range t.Sittings {
			s := &t.Sittings[i]
			if t.Session(s.Session).Day != a.Today() {
				continue
			}
			for j := range t.Grading.Entries {
				e := &t.Grading.Entries[j]
				if free, why := t.roomToday(e, s); why == nil && d.At[e.Entry.ID] != s.ID {
					d.Room[e.Entry.ID] = append(d.Room[e.Entry.ID], TodaySitting{*s, free})
				}
			}
		}
		return nil
	})
	return d, err
}

func shareSay(may, would int) string {
	if may == 1 {
		return fmt.Sprintf("one rank has it to itself, and %d would share it", would)
	}
	return fmt.Sprintf("%d neighbouring ranks may share it, and this would be from the lowest to the highest %d", may, would)
}

// roomToday says how many places a sitting has for an entry on the day itself,
// or why it has none. Who is absent leaves a place.
func (t *Timetable) roomToday(e *EntryView, s *Sitting) (free int, why error) {
	no := func(code, do, say string, args ...any) error {
		return rankwright.Faultf(rankwright.Conflict, code, do, say, args...)
	}
	if s.Lost {
		return 0, no("lost", "choose another sitting", "this sitting does not take place")
	}
	if len(s.Ranks) > 0 && !slices.Contains(s.Ranks, e.Rank) {
		return 0, no("rank", "choose another sitting", "%s is not examined in this sitting", rankName(t.Grading.Syllabus, e.Rank))
	}
	_, low := t.Grading.Syllabus.Rank(e.Rank)
	high := low
	free = s.Most
	for i := range t.Grading.Entries {
		o := &t.Grading.Entries[i]
		if o.Entry.ID == e.Entry.ID || t.Published.At(o.Entry.ID) != s.ID || o.Presence == "absent" || o.Presence == "unwell" || o.Presence == "stopped" {
			continue
		}
		free--
		_, k := t.Grading.Syllabus.Rank(o.Rank)
		low, high = min(low, k), max(high, k)
	}
	if free < 1 {
		return 0, no("full", "choose another sitting", "this sitting is full")
	}
	if high-low >= s.Mixed {
		return 0, no("mixed", "choose another sitting", "%s", shareSay(s.Mixed, high-low+1))
	}
	h := householdOf(e)
	for _, person := range t.Published.Panel(s.ID) {
		for _, x := range t.Examiners {
			if x.Person != person {
				continue
			}
			if slices.Contains(x.Own, h) {
				return 0, no("own_child", "choose another sitting, or change who examines", "%s examines there and does not examine this family", x.Name)
			}
			if _, most := t.Grading.Syllabus.Rank(rankwright.RankID(x.HighestRank)); x.HighestRank != "" && most < high {
				return 0, no("highest", "choose another sitting", "%s examines there, and not up to this rank", x.Name)
			}
		}
	}
	return free, nil
}

// MoveToday moves a child to another sitting of the same day. What was marked
// stays, and the new time is told.
func (a *App) MoveToday(ctx context.Context, who Actor, entry rankwright.EntryID, sitting string) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, MoveToday, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, g)
		if err != nil {
			return nil, err
		}
		s := t.Sitting(sitting)
		if s == nil || t.Published == nil {
			return nil, noSitting()
		}
		if day := t.Session(s.Session).Day; day != a.Today() {
			return nil, rankwright.Faultf(rankwright.Conflict, "other_day", "choose a sitting of today", "this sitting is on %s, and not today", day.Long())
		}
		at := slices.IndexFunc(t.Grading.Entries, func(e EntryView) bool { return e.Entry.ID == entry })
		if at < 0 {
			return nil, noEntry()
		}
		if _, why := t.roomToday(&t.Grading.Entries[at], s); why != nil {
			return nil, why
		}
		from := t.Published.At(entry)
		if from == sitting {
			return map[string]string{"what": "stays"}, nil
		}
		p := t.Published.Plan
		squad := t.squadToday(&p, sitting)
		found := false
		for i := range p.Placements {
			if p.Placements[i].Entry == entry {
				p.Placements[i].Sitting, p.Placements[i].Squad, found = sitting, squad, true
			}
		}
		if !found {
			p.Placements = append(p.Placements, store.Placement{Entry: entry, Sitting: sitting, Squad: squad})
		}
		if err := tx.PutPlan(p); err != nil {
			return nil, err
		}
		if _, err := a.tellTimes(tx, t, p); err != nil {
			return nil, err
		}
		e := t.Grading.Entries[at].Entry
		e.Squad = squad
		return map[string]any{"from": from, "to": sitting, "squad": squad}, tx.PutEntry(e)
	})
}

// squadToday is the smallest squad of a sitting, or a new one where it has none.
func (t *Timetable) squadToday(p *store.Plan, sitting string) int {
	size, last := map[int]int{}, 0
	for _, x := range p.Placements {
		last = max(last, x.Squad)
		if x.Sitting == sitting && x.Squad > 0 {
			size[x.Squad]++
		}
	}
	best := last + 1
	for squad, n := range size {
		if best > last || n < size[best] || n == size[best] && squad < best {
			best = squad
		}
	}
	return best
}
