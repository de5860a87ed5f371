package app

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/timetable"
)

// Kinds of plans.
const (
	draft     = "draft"
	published = "published"
)

// Timetable is what a grading's timetable is made from, what is planned and
// what was told.
type Timetable struct {
	Grading   GradingView
	Weights   timetable.Weights
	Seed      int64
	Sessions  []Session // in order of time
	Sittings  []Sitting // in order of time and mat
	Families  []Family  // those with entries, by name
	Examiners []ExaminerTimes
	Stations  []Station   // as the school set them; none where each section is one
	Draft     *PlanRecord // nil where there is none
	Published *PlanRecord
	Locked    map[rankwright.EntryID]bool
	Out       map[rankwright.EntryID]bool // cannot come on the ordinary dates
	OffDoor   map[rankwright.EntryID]bool // whose name is not to hang on a door
	Waiting   []rankwright.EntryID        // the waiting list, the next one first
	Told      []PublishedTime
	// Stale says that something was changed since the draft was made.
	Stale bool

	revision int64
	waits    []store.Wait
	answered map[rankwright.HouseholdID]map[string]store.MoveAnswer
	asked    map[rankwright.HouseholdID]map[string]bool // by the key of the change
}

// Records of the store that pages read and hand back.
type (
	Session       = store.Session
	Sitting       = store.Sitting
	PublishedTime = store.PublishedTime
	SessionAnswer = store.SessionAnswer
	Placement     = store.Placement
)

// Family is a household with entries in the grading, and what suits it.
type Family struct {
	ID      rankwright.HouseholdID
	Name    string // the family name, with given names where two share it
	Entries []EntryView
	Answers map[string]SessionAnswer // by session
	Note    string                   // what it wrote beside them on its page
	OffDoor []rankwright.EntryID     // whose names are not to hang on a door
}

// Answered counts the sessions to which the family has said something.
func (f *Family) Answered() int { return len(f.Answers) }

// ExaminerTimes is when and where an examiner can be had.
type ExaminerTimes struct {
	ExaminerView
	Mats []string // none is every mat
	Most int      // sittings a day, 0 is any number
	Row  int      // sittings in a row before a rest, 0 is any number
	Away []string // sessions
	Own  []rankwright.HouseholdID
}

// PlanRecord is a plan as it is kept, with how it came about.
type PlanRecord struct {
	store.Plan
	PlanFacts
	at map[rankwright.EntryID]store.Placement
}

// PlanFacts say how a plan came about and what was proven of it.
type PlanFacts struct {
	Cost    int64 `json:"cost"`
	Bound   int64 `json:"bound"` // no plan costs less, where Bounded
	Bounded bool  `json:"bounded"`
	Seed    int64 `json:"seed"`
	ByHand  int   `json:"by_hand"` // changes made by hand since it was worked out
	Stopped bool  `json:"stopped"` // it was ended before it was proven
	// Fewest is proven where Counted: no plan in which no more wait than
	// FewestWaiting moves fewer families that were told a time.
	Fewest        int  `json:"fewest"`
	FewestWaiting int  `json:"fewest_waiting"`
	Counted       bool `json:"counted"`
}

// At is where the plan puts an entry; "" where it waits or is not known.
func (p *PlanRecord) At(e rankwright.EntryID) string {
	if p == nil {
		return ""
	}
	return p.at[e].Sitting
}

// Squad is the squad of an entry in the plan, 0 where it has none.
func (p *PlanRecord) Squad(e rankwright.EntryID) int {
	if p == nil {
		return 0
	}
	return p.at[e].Squad
}

// Panel lists who examines in a sitting.
func (p *PlanRecord) Panel(sitting string) (out []string) {
	if p == nil {
		return nil
	}
	for _, d := range p.Duties {
		if d.Sitting == sitting {
			out = append(out, d.Person)
		}
	}
	return out
}

func planRecord(tx *store.Tx, id rankwright.GradingID, kind string) (*PlanRecord, error) {
	p, ok, err := tx.Plan(id, kind)
	if err != nil || !ok {
		return nil, err
	}
	r := &PlanRecord{Plan: p, at: map[rankwright.EntryID]store.Placement{}}
	for _, x := range p.Placements {
		r.at[x.Entry] = x
	}
	return r, json.Unmarshal([]byte(p.Facts), &r.PlanFacts)
}

// Session returns a session by id, nil where it is not this grading's.
func (t *Timetable) Session(id string) *Session {
	if i := slices.IndexFunc(t.Sessions, func(s Session) bool { return s.ID == id }); i >= 0 {
		return &t.Sessions[i]
	}
	return nil
}

// Sitting returns a sitting by id, nil where it is not this grading's.
func (t *Timetable) Sitting(id string) *Sitting {
	if i := slices.IndexFunc(t.Sittings, func(s Sitting) bool { return s.ID == id }); i >= 0 {
		return &t.Sittings[i]
	}
	return nil
}

// Family returns a household with entries, nil where there is none.
func (t *Timetable) Family(id rankwright.HouseholdID) *Family {
	if i := slices.IndexFunc(t.Families, func(f Family) bool { return f.ID == id }); i >= 0 {
		return &t.Families[i]
	}
	return nil
}

// Entry returns an entry with its family, nil where it is not there.
func (t *Timetable) Entry(id rankwright.EntryID) (*EntryView, *Family) {
	for i := range t.Families {
		for j := range t.Families[i].Entries {
			if e := &t.Families[i].Entries[j]; e.Entry.ID == id {
				return e, &t.Families[i]
			}
		}
	}
	return nil, nil
}

// Current is the plan that stands: the draft where something is worked on,
// else the published one.
func (t *Timetable) Current() *PlanRecord {
	if t.Draft != nil {
		return t.Draft
	}
	return t.Published
}

// ToldOf is the time that a family was told for an entry, nil where none is.
func (t *Timetable) ToldOf(e rankwright.EntryID) *PublishedTime {
	for i := range t.Told {
		if x := &t.Told[i]; x.Entry == e && !x.Cancelled {
			return x
		}
	}
	return nil
}

// FamilyTold are the times that a household was ever told, also for children
// who are no longer entered and times that were taken back, in an order that
// stays.
func (t *Timetable) FamilyTold(h rankwright.HouseholdID) (out []PublishedTime) {
	f := t.Family(h)
	for _, x := range t.Told {
		if x.Entry != "" && x.Household == h || f != nil && slices.ContainsFunc(f.Entries, func(e EntryView) bool { return e.Entry.ID == x.Entry }) {
			out = append(out, x)
		}
	}
	return out
}

// TakenBack are the times that were told for children who are no longer
// entered: their families' calendars are to hear of it.
func (t *Timetable) TakenBack() (out []PublishedTime) {
	for _, x := range t.Told {
		if x.Entry == "" || !x.Cancelled || x.Household == "" {
			continue
		}
		if e, _ := t.Entry(x.Entry); e == nil {
			out = append(out, x)
		}
	}
	return out
}

// Mats lists the mats of the sittings, each once.
func (t *Timetable) Mats() (out []string) {
	for _, s := range t.Sittings {
		if !slices.Contains(out, s.Mat) {
			out = append(out, s.Mat)
		}
	}
	slices.Sort(out)
	return out
}

// Unanswered counts the families that have not said of every session whether
// it suits.
func (t *Timetable) Unanswered() int {
	n := 0
	for i := range t.Families {
		if len(t.Families[i].Answers) < len(t.Sessions) {
			n++
		}
	}
	return n
}

// Timetable returns the timetable of a grading.
func (a *App) Timetable(ctx context.Context, who Actor, id rankwright.GradingID) (t *Timetable, err error) {
	err = a.see(ctx, who, SeeTimetable, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		t, err = a.timetable(tx, id)
		return err
	})
	return t, err
}

// householdOf is whom a student comes with; somebody without a household comes
// alone.
func householdOf(e *EntryView) rankwright.HouseholdID {
	if e.Student.Household != "" {
		return e.Student.Household
	}
	return rankwright.HouseholdID("student:" + string(e.Student.ID))
}

func (a *App) timetable(tx *store.Tx, id rankwright.GradingID) (*Timetable, error) {
	t := &Timetable{Locked: map[rankwright.EntryID]bool{}, Out: map[rankwright.EntryID]bool{}, OffDoor: map[rankwright.EntryID]bool{}}
	var err error
	if t.Grading, err = a.grading(tx, id); err != nil {
		return nil, err
	}
	how, err := tx.Timetable(id)
	if err != nil {
		return nil, err
	}
	t.Seed, t.revision, t.Weights = how.Seed, how.Revision, weightsOf(how.Weights)
	if t.Sessions, err = tx.TimetableSessions(id); err != nil {
		return nil, err
	}
	if t.Sittings, err = tx.Sittings(id); err != nil {
		return nil, err
	}
	answers, err := tx.SessionAnswers(id)
	if err != nil {
		return nil, err
	}
	notes, err := tx.FamilyNotes(id)
	if err != nil {
		return nil, err
	}
	t.gatherFamilies(answers)
	for _, n := range notes {
		if f := t.Family(n.Household); f != nil {
			f.Note = n.Body
		}
	}
	if err := t.readExaminers(tx); err != nil {
		return nil, err
	}
	if t.Stations, err = tx.Stations(id); err != nil {
		return nil, err
	}
	if t.Draft, err = planRecord(tx, id, draft); err != nil {
		return nil, err
	}
	if t.Published, err = planRecord(tx, id, published); err != nil {
		return nil, err
	}
	t.Stale = t.Draft != nil && !t.Today()
	return t, t.readMarks(tx)
}

// Today says that the plan that stands was worked out from what is known today.
func (t *Timetable) Today() bool {
	p := t.Current()
	return p != nil && p.Revision == t.revision && !t.lateIn(p)
}

// lateIn says that somebody was entered after a plan was made.
func (t *Timetable) lateIn(p *PlanRecord) bool {
	return slices.ContainsFunc(t.Grading.Entries, func(e EntryView) bool {
		_, there := p.at[e.Entry.ID]
		return !there && !e.Erased
	})
}

// readMarks reads what was said of single entries and families.
func (t *Timetable) readMarks(tx *store.Tx) error {
	id := t.Grading.ID
	locks, err := tx.PlacementLocks(id)
	if err != nil {
		return err
	}
	for _, l := range locks {
		t.Locked[l.Entry] = true
	}
	out, err := tx.CannotCome(id)
	if err != nil {
		return err
	}
	for _, c := range out {
		t.Out[c.Entry] = true
	}
	off, err := tx.OffTheDoor()
	if err != nil {
		return err
	}
	for i := range t.Families {
		f := &t.Families[i]
		for _, e := range f.Entries {
			if slices.ContainsFunc(off, func(o store.OffTheDoor) bool { return o.Student == e.Student.ID }) {
				t.OffDoor[e.Entry.ID] = true
				f.OffDoor = append(f.OffDoor, e.Entry.ID)
			}
		}
	}
	if t.waits, err = tx.WaitingList(id); err != nil {
		return err
	}
	for _, w := range t.waits {
		t.Waiting = append(t.Waiting, w.Entry)
	}
	if t.Told, err = tx.PublishedTimes(id); err != nil {
		return err
	}
	asks, err := tx.MoveAsks(id)
	if err != nil {
		return err
	}
	t.asked = map[rankwright.HouseholdID]map[string]bool{}
	for _, m := range asks {
		if t.asked[m.Household] == nil {
			t.asked[m.Household] = map[string]bool{}
		}
		t.asked[m.Household][m.Change] = true
	}
	moves, err := tx.MoveAnswers(id)
	if err != nil {
		return err
	}
	t.answered = map[rankwright.HouseholdID]map[string]store.MoveAnswer{}
	for _, m := range moves {
		if t.answered[m.Household] == nil {
			t.answered[m.Household] = map[string]store.MoveAnswer{}
		}
		t.answered[m.Household][m.Change] = m
	}
	return nil
}

// gatherFamilies puts the entries together by household. Who was erased has no
// time to be found for.
func (t *Timetable) gatherFamilies(answers []store.SessionAnswer) {
	at := map[rankwright.HouseholdID]int{}
	for i := range t.Grading.Entries {
		e := &t.Grading.Entries[i]
		if e.Erased {
			continue
		}
		h := householdOf(e)
		if _, ok := at[h]; !ok {
			at[h] = len(t.Families)
			t.Families = append(t.Families, Family{ID: h, Answers: map[string]SessionAnswer{}})
		}
		f := &t.Families[at[h]]
		f.Entries = append(f.Entries, *e)
	}
	for _, x := range answers {
		if i, ok := at[x.Household]; ok {
			t.Families[i].Answers[x.Session] = x
		}
	}
	count := map[string]int{}
	for i := range t.Families {
		f := &t.Families[i]
		var names []string
		for _, e := range f.Entries {
			if n := e.Student.FamilyName; !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
		slices.Sort(names)
		f.Name = strings.Join(names, " / ")
		if f.Name == "" {
			f.Name = f.Entries[0].Student.FullName()
		}
		count[f.Name]++
	}
	for i := range t.Families {
		if f := &t.Families[i]; count[f.Name] > 1 {
			var given []string
			for _, e := range f.Entries {
				given = append(given, e.Student.GivenName)
			}
			f.Name += " (" + strings.Join(given, ", ") + ")"
		}
	}
	byText(t.Families, func(f Family) string { return f.Name })
}

func (t *Timetable) readExaminers(tx *store.Tx) error {
	terms, err := tx.ExaminerTerms(t.Grading.ID)
	if err != nil {
		return err
	}
	away, err := tx.ExaminersAway(t.Grading.ID)
	if err != nil {
		return err
	}
	own, err := tx.OwnHouseholds()
	if err != nil {
		return err
	}
	for _, x := range t.Grading.Panel {
		v := ExaminerTimes{ExaminerView: x}
		for _, m := range terms {
			if m.Person == x.Person {
				v.Mats, v.Most, v.Row = m.Mats, m.Most, m.Rest
			}
		}
		for _, w := range away {
			if w.Person == x.Person {
				v.Away = append(v.Away, w.Session)
			}
		}
		for _, o := range own {
			if o.Person == x.Person {
				v.Own = append(v.Own, o.Household)
			}
		}
		t.Examiners = append(t.Examiners, v)
	}
	return nil
}

// weightsOf reads what each aim weighs; what is not said has its usual weight.
func weightsOf(text string) timetable.Weights {
	w := timetable.DefaultWeights()
	said := map[string]int{}
	if text == "" || json.Unmarshal([]byte(text), &said) != nil {
		return w
	}
	for a := range timetable.AimCount {
		if v, ok := said[a.String()]; ok {
			w[a] = v
		}
	}
	return w
}

// touch says that what a plan is made from has changed.
func touch(tx *store.Tx, id rankwright.GradingID) error {
	how, err := tx.Timetable(id)
	if err != nil {
		return err
	}
	how.Revision++
	return tx.PutTimetable(how)
}

// SetWeights says what each aim of the timetable weighs, and from which seed
// its search starts.
func (a *App) SetWeights(ctx context.Context, who Actor, id rankwright.GradingID, w timetable.Weights, seed int64) error {
	said := map[string]int{}
	for aim, v := range w {
		if v < 0 || v > timetable.MostWeight {
			return invalid(timetable.Aim(aim).String(), "write a whole number from 0 to 1000000", "a weight cannot be %d", v)
		}
		said[timetable.Aim(aim).String()] = v
	}
	if seed < 0 || seed > 1_000_000 {
		return invalid("seed", "write a whole number from 0 to 1000000", "the seed cannot be %d", seed)
	}
	text, err := json.Marshal(said)
	if err != nil {
		return err
	}
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		how, err := tx.Timetable(id)
		if err != nil {
			return nil, err
		}
		how.Weights, how.Seed, how.Revision = string(text), seed, how.Revision+1
		return map[string]any{"weights": said, "seed": seed}, tx.PutTimetable(how)
	})
}
