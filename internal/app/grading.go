package app

import (
	"context"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
	"rankwright/syllabus"
)

// NewGrading is what a grading begins with.
type NewGrading struct {
	Title string
	Day   rankwright.Day
	Place string
	// Ladder whose latest published version is frozen for the grading.
	Ladder rankwright.LadderID
	Ranks  []rankwright.RankID // none is every rank
	Theme  string              // "" is the syllabus's theme of the month
	// Copy takes the examiners and the sittings over from this grading. Waivers
	// are not taken over: each has a reason of its own day.
	Copy rankwright.GradingID
}

func (n *NewGrading) check() error {
	n.Title = strings.Join(strings.Fields(n.Title), " ")
	switch {
	case n.Title == "" || utf8.RuneCountInString(n.Title) > 120:
		return invalid("title", "write a few words, such as Autumn grading", "the grading has no title that can be used")
	case n.Day == 0:
		return invalid("day", "choose the day of the examination", "the grading has no day")
	}
	return nil
}

// CreateGrading begins a grading.
func (a *App) CreateGrading(ctx context.Context, who Actor, n NewGrading) (g store.Grading, err error) {
	if err := n.check(); err != nil {
		return g, err
	}
	id, err := a.newID("g")
	if err != nil {
		return g, err
	}
	err = a.do(ctx, who, PlanGrading, on{kind: "grading", id: id}, func(tx *store.Tx) (any, error) {
		views, err := ladders(tx)
		if err != nil {
			return nil, err
		}
		at := slices.IndexFunc(views, func(l LadderView) bool { return l.Ladder == n.Ladder && l.Latest != nil })
		if at < 0 {
			return nil, invalid("ladder", "publish its syllabus first", "the ladder %q has no published syllabus", n.Ladder)
		}
		s, err := a.parse(*views[at].Latest)
		if err != nil {
			return nil, err
		}
		if s.From > n.Day || s.Until != 0 && s.Until < n.Day {
			return nil, invalid("day", "publish the version that is in force then, or choose another day", "the published syllabus is not in force on %s", n.Day.Long())
		}
		g = store.Grading{ID: rankwright.GradingID(id), Title: n.Title, Day: n.Day, Place: strings.TrimSpace(n.Place), Version: views[at].Latest.ID,
			Theme: strings.TrimSpace(n.Theme), State: string(Planning), Created: a.moment()}
		if g.Theme == "" {
			_, m, _ := n.Day.Date()
			g.Theme = s.Themes[m]
		}
		if g.Ranks, err = ranksOf(s, n.Ranks); err != nil {
			return nil, err
		}
		if err := tx.PutGrading(g); err != nil {
			return nil, err
		}
		if n.Copy != "" {
			return map[string]string{"copied": string(n.Copy)}, a.copyOver(tx, n.Copy, &g)
		}
		return nil, nil
	})
	return g, err
}

// ranksOf orders and checks the chosen ranks; none is all of them.
func ranksOf(s *syllabus.Syllabus, chosen []rankwright.RankID) ([]rankwright.RankID, error) {
	var out []rankwright.RankID
	for _, k := range s.Ranks {
		if len(chosen) == 0 || slices.Contains(chosen, k.ID) {
			out = append(out, k.ID)
		}
	}
	for _, id := range chosen {
		if k, _ := s.Rank(id); k == nil {
			return nil, invalid("ranks", "choose ranks of the ladder", "there is no rank %q on the ladder", id)
		}
	}
	return out, nil
}

// copyOver takes those of another grading's panel over who may still examine.
func (a *App) copyOver(tx *store.Tx, from rankwright.GradingID, g *store.Grading) error {
	old, err := tx.Grading(from)
	if err != nil {
		return err
	}
	was, err := tx.Examiners(from)
	if err != nil {
		return err
	}
	var panel []store.Examiner
	for _, x := range was {
		p, err := tx.Person(x.Person)
		if err != nil {
			return err
		}
		if !p.Active || !Role(p.Role).May(GiveMarks) {
			continue
		}
		panel = append(panel, store.Examiner{Grading: g.ID, Person: p.ID, HighestRank: p.HighestRank})
		if p.ID == old.Lead {
			g.Lead = old.Lead
		}
	}
	if err := tx.PutGrading(*g); err != nil {
		return err
	}
	if err := tx.PutExaminers(g.ID, panel); err != nil {
		return err
	}
	_, err = a.copySessions(tx, from, *g)
	return err
}

// EditGrading changes title, day, place, ranks and theme while it is planned.
func (a *App) EditGrading(ctx context.Context, who Actor, id rankwright.GradingID, n NewGrading) error {
	if err := n.check(); err != nil {
		return err
	}
	return a.do(ctx, who, PlanGrading, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		g, s, err := a.askedAt(tx, id)
		if err != nil {
			return nil, err
		}
		before := g
		g.Title, g.Day, g.Place, g.Theme = n.Title, n.Day, strings.TrimSpace(n.Place), strings.TrimSpace(n.Theme)
		if g.Ranks, err = ranksOf(s, n.Ranks); err != nil {
			return nil, err
		}
		entries, err := tx.Entries(id)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if !slices.Contains(g.Ranks, e.Rank) {
				return nil, invalid("ranks", "withdraw those entries first, or keep the rank", "students are entered for %s", rankName(s, e.Rank))
			}
		}
		if g.Day != before.Day {
			if err := a.dayServes(tx, s, g, entries); err != nil {
				return nil, err
			}
			if err := a.shiftSessions(tx, id, g.Day-before.Day); err != nil {
				return nil, err
			}
		}
		return map[string]any{"before": before, "after": g}, tx.PutGrading(g)
	})
}

// dayServes refuses a day on which the syllabus is not in force, or on which
// somebody who is entered by the rule may not enter.
func (a *App) dayServes(tx *store.Tx, s *syllabus.Syllabus, g store.Grading, entries []store.Entry) error {
	if s.From > g.Day || s.Until != 0 && s.Until < g.Day {
		return invalid("day", "choose another day, or begin a new grading under the version that is in force then", "the syllabus of this grading is not in force on %s", g.Day.Long())
	}
	var names []string
	for _, e := range entries {
		if e.OverruledBy != "" {
			continue
		}
		st, err := student(tx, e.Student)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			continue // erased since
		}
		if err != nil {
			return err
		}
		answer, err := a.admit(tx, s, st, e.Rank, g.Day, g.ID)
		if err != nil {
			return err
		}
		if !answer.Yes {
			names = append(names, st.FullName())
		}
	}
	if len(names) > 0 {
		return invalid("day", "choose another day, or withdraw them and enter them again with a reason", "on that day the rule does not let %s enter", strings.Join(names, ", "))
	}
	return nil
}

func rankName(s *syllabus.Syllabus, id rankwright.RankID) string {
	if k, _ := s.Rank(id); k != nil {
		return k.Name
	}
	return string(id)
}

// Gradings lists every grading, the latest day first.
func (a *App) Gradings(ctx context.Context, who Actor) (out []store.Grading, err error) {
	err = a.see(ctx, who, SeeGradings, on{kind: "gradings"}, func(tx *store.Tx) error {
		out, err = tx.Gradings()
		return err
	})
	slices.SortStableFunc(out, func(x, y store.Grading) int { return int(y.Day) - int(x.Day) })
	return out, err
}

// GradingView is a grading with all that belongs to it.
type GradingView struct {
	store.Grading
	Status   StateRow
	Syllabus *syllabus.Syllabus
	Waivers  []store.Waiver
	Panel    []ExaminerView
	Entries  []EntryView
}

// Waived says whether a requirement is not asked of an entry.
func (v *GradingView) Waived(e *EntryView, id rankwright.RequirementID) bool {
	return slices.ContainsFunc(v.Waivers, func(w store.Waiver) bool {
		return w.Requirement == id && w.Rank == e.Rank && (w.Entry == "" || w.Entry == e.Entry.ID)
	})
}

// ExaminerView is an examiner on the panel with a name.
type ExaminerView struct {
	store.Examiner
	Name string
	Lead bool
}

// EntryView is an entry with its student.
type EntryView struct {
	store.Entry
	Student    roster.Student
	Age        int // on the day; -1 where unknown
	Erased     bool
	Clearances map[rankwright.ClearanceID]bool
}

// Grading returns one grading, its entries by rank from the lowest and then
// by name. Somebody who may not see the roster gets names and nothing more.
func (a *App) Grading(ctx context.Context, who Actor, id rankwright.GradingID) (v GradingView, err error) {
	err = a.see(ctx, who, SeeGradings, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		v, err = a.grading(tx, id)
		return err
	})
	if !who.Role.May(SeeRoster) {
		for i := range v.Entries {
			s := &v.Entries[i].Student
			*s = roster.Student{ID: s.ID, GivenName: s.GivenName, FamilyName: s.FamilyName}
			v.Entries[i].Clearances, v.Entries[i].OverruledBy, v.Entries[i].OverruleWhy = nil, "", ""
		}
	}
	return v, err
}

func (a *App) grading(tx *store.Tx, id rankwright.GradingID) (v GradingView, err error) {
	if v.Grading, err = tx.Grading(id); err != nil {
		return v, err
	}
	v.Status = State(v.State).Row()
	if v.Syllabus, err = a.version(tx, v.Version); err != nil {
		return v, err
	}
	if v.Waivers, err = tx.Waivers(id); err != nil {
		return v, err
	}
	panel, err := tx.Examiners(id)
	if err != nil {
		return v, err
	}
	for _, x := range panel {
		p, err := tx.Person(x.Person)
		if err != nil {
			return v, err
		}
		v.Panel = append(v.Panel, ExaminerView{x, p.Name, x.Person == v.Lead})
	}
	all, err := students(tx)
	if err != nil {
		return v, err
	}
	byName(all)
	place := map[rankwright.StudentID]int{}
	for i, s := range all {
		place[s.ID] = i
	}
	entries, err := tx.Entries(id)
	if err != nil {
		return v, err
	}
	clear, err := tx.Clearances(id)
	if err != nil {
		return v, err
	}
	for _, e := range entries {
		x := EntryView{Entry: e, Age: -1, Clearances: map[rankwright.ClearanceID]bool{}}
		if i, ok := place[e.Student]; ok {
			x.Student = all[i]
		} else {
			x.Student, x.Erased = roster.Student{ID: e.Student, FamilyName: "(erased)"}, true
		}
		if x.Student.BirthDate != 0 {
			x.Age = rankwright.Age(x.Student.BirthDate, v.Day, v.Syllabus.Counting.MonthEnd)
		}
		for _, c := range clear {
			if c.Entry == e.ID {
				x.Clearances[c.Clearance] = c.Met
			}
		}
		v.Entries = append(v.Entries, x)
	}
	slices.SortStableFunc(v.Entries, func(x, y EntryView) int {
		_, i := v.Syllabus.Rank(x.Rank)
		_, j := v.Syllabus.Rank(y.Rank)
		if i != j {
			return i - j
		}
		return place[x.Entry.Student] - place[y.Entry.Student]
	})
	return v, nil
}

// Move takes a grading to another state.
func (a *App) Move(ctx context.Context, who Actor, id rankwright.GradingID, to State) error {
	return a.MoveAccepting(ctx, who, id, to, "")
}

// MoveAccepting is Move with the head instructor's reason for going on to the
// decisions though marks that were made have not come.
func (a *App) MoveAccepting(ctx context.Context, who Actor, id rankwright.GradingID, to State, reason string) error {
	if to == Closed {
		return rankwright.Faultf(rankwright.Conflict, "sign_first", "look at the outcomes and sign", "a grading is closed by signing it")
	}
	return a.do(ctx, who, MoveGrading, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		g, err := tx.Grading(id)
		if err != nil {
			return nil, err
		}
		from := State(g.State)
		if !slices.Contains(from.Row().Next, to) {
			return nil, rankwright.Faultf(rankwright.Conflict, "wrong_step", "go on step by step", "a grading does not go from “%s” to “%s”", from.Row().Name, to.Row().Name)
		}
		if to == OnTheMat {
			if err := a.readyForTheMat(tx, g); err != nil {
				return nil, err
			}
		}
		detail := map[string]any{"from": from, "to": to}
		if from == OnTheMat && to == Deciding {
			kept, err := a.accept(tx, who, id, reason)
			if err != nil {
				return nil, err
			}
			if kept != nil {
				detail["accepted"] = kept
			}
		}
		return detail, tx.SetGradingState(id, string(from), string(to))
	})
}

func (a *App) readyForTheMat(tx *store.Tx, g store.Grading) error {
	entries, err := tx.Entries(g.ID)
	if err != nil {
		return err
	}
	panel, err := tx.Examiners(g.ID)
	if err != nil {
		return err
	}
	switch {
	case len(entries) == 0:
		return rankwright.Faultf(rankwright.Conflict, "no_entries", "enter students first", "nobody is entered")
	case len(panel) == 0:
		return rankwright.Faultf(rankwright.Conflict, "no_examiners", "choose who examines first", "nobody examines yet")
	}
	return nil
}

// Waive takes a requirement out of a grading, for everybody (entry "") or for
// one entry, with a reason.
func (a *App) Waive(ctx context.Context, who Actor, w store.Waiver) error {
	if w.Reason = strings.TrimSpace(w.Reason); w.Reason == "" {
		return invalid("reason", "write why, in a sentence that would stand up later", "a waiver needs a reason")
	}
	return a.do(ctx, who, WaiveAsked, on{"grading", string(w.Grading), w.Grading}, func(tx *store.Tx) (any, error) {
		v, err := a.grading(tx, w.Grading)
		if err != nil {
			return nil, err
		}
		k, _ := v.Syllabus.Rank(w.Rank)
		if k == nil || k.Requirement(w.Requirement) == nil {
			return nil, invalid("requirement", "choose a requirement of the rank", "rank %q does not ask for %q", w.Rank, w.Requirement)
		}
		if w.Entry != "" && !slices.ContainsFunc(v.Entries, func(e EntryView) bool { return e.Entry.ID == w.Entry && e.Rank == w.Rank }) {
			return nil, invalid("entry", "choose an entry for that rank", "the entry is not one of this grading's for %s", k.Name)
		}
		w.By, w.At = who.ID, a.moment()
		return map[string]any{"rank": w.Rank, "requirement": w.Requirement, "entry": w.Entry}, tx.AddWaiver(w)
	})
}

// Unwaive asks for a waived requirement again.
func (a *App) Unwaive(ctx context.Context, who Actor, w store.Waiver) error {
	return a.do(ctx, who, WaiveAsked, on{"grading", string(w.Grading), w.Grading}, func(tx *store.Tx) (any, error) {
		return map[string]any{"rank": w.Rank, "requirement": w.Requirement, "entry": w.Entry, "what": "asked again"}, tx.RemoveWaiver(w)
	})
}

// SetPanel says who examines, and who leads.
func (a *App) SetPanel(ctx context.Context, who Actor, id rankwright.GradingID, people []string, lead string) error {
	return a.do(ctx, who, PlanGrading, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		g, err := tx.Grading(id)
		if err != nil {
			return nil, err
		}
		if len(people) > rankwright.MaxMean {
			return nil, invalid("examiners", "choose the ten who examine at this grading", "a panel may have at most %d examiners, since the mean of more is not exact", rankwright.MaxMean)
		}
		s, err := a.version(tx, g.Version)
		if err != nil {
			return nil, err
		}
		var panel []store.Examiner
		for _, p := range people {
			person, err := tx.Person(p)
			if err != nil {
				return nil, err
			}
			if !Role(person.Role).May(GiveMarks) || !person.Active {
				return nil, invalid("examiners", "invite them as examiner or instructor first", "%s cannot examine", person.Name)
			}
			if k, _ := s.Rank(rankwright.RankID(person.HighestRank)); k == nil && person.HighestRank != "" {
				return nil, invalid("examiners", "choose somebody else, or invite them with a rank of this ladder", "%s examines up to a rank of another ladder, %q", person.Name, person.HighestRank)
			}
			panel = append(panel, store.Examiner{Grading: id, Person: p, HighestRank: person.HighestRank})
		}
		if lead != "" && !slices.Contains(people, lead) {
			return nil, invalid("lead", "choose one of the examiners", "the lead is not among the examiners")
		}
		g.Lead = lead
		if err := tx.PutGrading(g); err != nil {
			return nil, err
		}
		return map[string]any{"examiners": people, "lead": lead}, tx.PutExaminers(id, panel)
	})
}
