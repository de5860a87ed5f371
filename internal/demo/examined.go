package demo

import (
	"fmt"
	"slices"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// story is what a grading that is over is remembered for: the first entry of
// a rank that no other story has, or a named child.
type story struct {
	rank     rankwright.RankID
	given    string
	presence string // absent, unwell or stopped; "" is present
	// missing is a clearance that was not there on the day, and late says
	// that it came some days after.
	missing rankwright.ClearanceID
	late    bool
	ability int // in hundredths of a level; 0 is the child's own
	// shown changes how well one requirement is shown.
	shown func(q *syllabus.Requirement, level int) int
}

var firstStories = []story{
	{given: "Hanae", ability: 250},
	{rank: "reed", ability: 320},
	{rank: "reed", ability: 85},
	{rank: "reed", ability: 250, missing: "home_note", late: true},
	{rank: "amber", ability: 260, missing: "consent", late: true},
	{rank: "amber", ability: 245, shown: stiffFall},
	{rank: "slate", presence: "unwell"},
	{rank: "copper", ability: 245, shown: stiffFall},
}

var secondStories = []story{
	{given: "Hanae", ability: 235, shown: func(q *syllabus.Requirement, level int) int {
		switch q.Section {
		case "BF":
			return 100
		case "GU":
			return 30
		}
		return level
	}},
	{rank: "amber", ability: 330},
	{rank: "copper", ability: 310},
	{rank: "reed", ability: 265, shown: weakFeet},
	{rank: "reed", ability: 250, missing: "home_note"},
	{rank: "amber", ability: 260, missing: "consent", late: true},
	{rank: "slate", ability: 260, missing: "home_note"},
	{rank: "slate", ability: 80},
	{rank: "amber", ability: 240, shown: stiffFall},
	{rank: "slate", presence: "stopped"},
	{rank: "amber", presence: "absent"},
	{rank: "reed", presence: "unwell"},
}

// stiffFall leaves the first must among the falls at level 1.
func stiffFall(q *syllabus.Requirement, level int) int {
	if q.Section == "BF" && q.Must && q.ID[len(q.ID)-1] == '1' {
		return 100
	}
	return level
}

// weakFeet leaves one section at four points of nine.
func weakFeet(q *syllabus.Requirement, level int) int {
	switch q.ID {
	case "RE-SM1":
		return 200
	case "RE-SM2":
		return 100
	case "RE-SM3":
		return 0
	}
	return level
}

// panels say who marks a rank. The lead marks everybody; with Reed, every
// second child has the lead's marks alone.
var panels = map[rankwright.RankID][]int{
	"reed": {head, tomek}, "amber": {head, kaito}, "slate": {head, dilnozakhon, kaito}, "copper": {head, tomek, kaito},
	"plum": {head, dilnozakhon, kaito}, "indigo": {head, dilnozakhon, kaito},
}

// severity is how much less than the others an examiner sees, in hundredths of
// a level. The visiting examiner is strict.
var severity = map[int]int{head: 0, dilnozakhon: 5, tomek: -10, anahera: -5, kaito: 55}

// examine holds one whole grading, from its plan to its signature.
func (f *filler) examine(exam rankwright.Day, stories []story) (rankwright.GradingID, error) {
	owner, day := f.actors[head], f.dates.day(exam)
	g, err := f.begin(exam, []int{head, dilnozakhon, tomek, kaito})
	if err != nil {
		return "", err
	}
	entries, err := f.enter(exam, g.ID, func(*child) bool { return f.chance(88) })
	if err != nil {
		return "", err
	}
	told := f.tell(entries, stories)
	f.clock.set(day, 9, 15)
	if err := f.app.Move(f.ctx, owner, g.ID, app.OnTheMat); err != nil {
		return "", err
	}
	for i, e := range entries {
		if err := f.checkIn(e, told[i]); err != nil {
			return "", err
		}
		f.clock.pass(50 * time.Second)
	}
	f.clock.set(day, 12, 30)
	if err := f.mark(g, entries, told); err != nil {
		return "", err
	}
	f.clock.set(day, 12, 50)
	if err := f.app.Move(f.ctx, owner, g.ID, app.Deciding); err != nil {
		return "", err
	}
	f.clock.set(day, 13, 10)
	if err := f.app.Sign(f.ctx, owner, g.ID, ""); err != nil {
		return "", err
	}
	f.clock.set(day+4, 19, 0)
	for i, e := range entries {
		switch {
		case told[i].missing != "" && !told[i].late:
			f.child(e.Student.ID).enters = false // still waits for the paper, not for another examination
		case told[i].late:
			if err := f.app.SetClearance(f.ctx, f.actors[desk], e.Entry.ID, told[i].missing, true); err != nil {
				return "", err
			}
			if err := f.app.Release(f.ctx, owner, e.Entry.ID); err != nil {
				return "", err
			}
		}
	}
	return g.ID, nil
}

// tell gives each entry its story.
func (f *filler) tell(entries []app.EntryView, stories []story) []story {
	out := make([]story, len(entries))
	taken := make([]bool, len(entries))
	for _, s := range stories {
		at := slices.IndexFunc(entries, func(e app.EntryView) bool {
			return s.given != "" && e.Student.GivenName == s.given
		})
		for i := 0; at < 0 && i < len(entries); i++ {
			if s.given == "" && !taken[i] && entries[i].Rank == s.rank {
				at = i
			}
		}
		if at >= 0 {
			out[at], taken[at] = s, true
		}
	}
	return out
}

func (f *filler) checkIn(e app.EntryView, s story) error {
	presence := s.presence
	if presence == "" {
		presence = "present"
	}
	if err := f.app.SetPresence(f.ctx, f.actors[desk], e.Entry.ID, presence); err != nil {
		return err
	}
	if presence == "absent" || presence == "unwell" {
		return nil
	}
	for _, id := range clearances {
		if id == s.missing {
			continue
		}
		if err := f.app.SetClearance(f.ctx, f.actors[desk], e.Entry.ID, id, true); err != nil {
			return err
		}
	}
	return nil
}

// mark gives every mark of a grading, each examiner's from a tablet of their
// own.
func (f *filler) mark(g app.Grading, entries []app.EntryView, told []story) error {
	v, err := f.app.Grading(f.ctx, f.actors[head], g.ID)
	if err != nil {
		return err
	}
	marks := map[int][]scoring.Mark{}
	from := f.clock.Now().Add(-150 * time.Minute)
	for i, e := range entries {
		if told[i].presence == "absent" || told[i].presence == "unwell" {
			continue
		}
		rank, _ := v.Syllabus.Rank(e.Rank)
		panel := panels[e.Rank]
		if e.Rank == "reed" && i%2 == 1 {
			panel = panel[:1]
		}
		for k := range rank.Requirements {
			if told[i].presence == "stopped" && k >= len(rank.Requirements)/3 {
				break
			}
			f.score(marks, panel, v.Syllabus, e, &rank.Requirements[k], told[i], from)
		}
	}
	for _, x := range []int{head, dilnozakhon, tomek, kaito} {
		for batch := range slices.Chunk(marks[x], 1000) {
			answers, err := f.app.AddMarks(f.ctx, f.actors[x], g.ID, batch)
			if err != nil {
				return err
			}
			for _, a := range answers {
				if !a.Stored {
					return fmt.Errorf("mark %s was not stored: %s", a.ID, a.Refuse)
				}
			}
		}
	}
	return nil
}

// score is one requirement of one entry as the panel sees it.
func (f *filler) score(marks map[int][]scoring.Mark, panel []int, s *syllabus.Syllabus, e app.EntryView, q *syllabus.Requirement, told story, from time.Time) {
	if q.Bonus && !f.chance(40) {
		return
	}
	c := f.child(e.Student.ID)
	level := c.ability + c.lean[q.Section]
	if told.ability != 0 {
		level = told.ability
	}
	level += f.spread(50)
	if q.Must {
		level += 35 // practised most
	}
	if q.Kind == syllabus.Tick && f.chance(8) && !q.Must && level < 280 {
		level = 0
	}
	if told.shown != nil {
		level = told.shown(q, level)
	}
	if q.ForRelease {
		panel = panel[:1]
	}
	for _, x := range panel {
		seen := level
		if q.Kind == syllabus.Leveled {
			seen += f.spread(25) - severity[x]
		}
		amount := amountOf(q, q.Expected(s.Band(e.Age)), seen)
		if q.Kind == syllabus.Leveled && f.chance(1) && amount > 0 { // a slip of the finger, put right at once
			f.send(marks, x, e.Entry.ID, q.ID, amount-rankwright.One, "", from)
		}
		note := ""
		if q.ForRelease {
			amount = rankwright.One
			note = pick(f, strengths) + " Next: " + pick(f, nextSteps)
		}
		f.send(marks, x, e.Entry.ID, q.ID, amount, note, from)
	}
}

func (f *filler) send(marks map[int][]scoring.Mark, examiner int, entry rankwright.EntryID, q rankwright.RequirementID, amount rankwright.Amount, note string, from time.Time) {
	tablet := fmt.Sprintf("tablet-%d", examiner+1)
	f.lines[tablet]++
	n := f.lines[tablet]
	marks[examiner] = append(marks[examiner], scoring.Mark{ID: rankwright.MarkID(fmt.Sprintf("%s-%d", tablet, n)), Device: rankwright.DeviceID(tablet), Seq: n, Clock: n,
		Entry: entry, Requirement: q, Examiner: rankwright.ExaminerID(f.actors[examiner].ID), Try: 1,
		Value: scoring.Value{Sort: scoring.Number, Num: amount}, At: from.Add(time.Duration(len(marks[examiner])) * 8 * time.Second).UnixMilli(), Note: note})
}

// spread is a chance between -most and most, more often near nought.
func (f *filler) spread(most int) int { return f.rand.IntN(most+1) - f.rand.IntN(most+1) }

func pick(f *filler, words []string) string {
	w := words[f.rand.IntN(len(words))]
	for len(w) > 0 && w[0] == '\n' {
		w = w[1:]
	}
	return w
}

// amountOf turns how well something is shown, in hundredths of a level, into
// the mark of its kind.
func amountOf(q *syllabus.Requirement, expected rankwright.Amount, level int) rankwright.Amount {
	level = max(0, level)
	switch q.Kind {
	case syllabus.Tick:
		if level >= 60 {
			return rankwright.One
		}
		return 0
	case syllabus.Leveled:
		return rankwright.Whole(min(3, (level+50)/100))
	case syllabus.Steps, syllabus.Recall:
		return rankwright.Whole(min(q.Of, (q.Of*(level+50)+150)/300))
	}
	// A time in tenths of a second, or a count: 230 is a little over what is
	// expected, and 0 is six tenths of it.
	tenths := int(expected/(rankwright.One/10)) * (600 + 2*level) / 1000
	if q.AtMost {
		tenths = int(expected/(rankwright.One/10)) * (1400 - 2*level) / 1000
	}
	if q.Kind == syllabus.Timed {
		return rankwright.Amount(tenths) * (rankwright.One / 10)
	}
	n := (tenths + 5) / 10
	if q.Of > 0 {
		n = min(n, q.Of)
	}
	return rankwright.Whole(n)
}
