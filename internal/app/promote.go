package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/words"
	"rankwright/promote"
	"rankwright/syllabus"
)

// promote writes the rank ledger and the students' new standing.
func (a *App) promote(tx *store.Tx, who Actor, v GradingView, outcomes []Outcome) error {
	var list []promote.Promotion
	by := map[rankwright.EntryID]*Outcome{}
	for i := range outcomes {
		o := &outcomes[i]
		if o.Stands() != syllabus.Promoted {
			continue
		}
		_, place := v.Syllabus.Rank(o.Rank.ID)
		p := promote.Promotion{Entry: o.Entry.Entry.ID, Student: o.Entry.Student.ID, Name: o.Entry.Student.FullName(), Born: o.Entry.Student.BirthDate,
			Rank: o.Rank, Place: place}
		if o.Verdict.Outcome == syllabus.Promoted {
			p.Label, p.FollowUp = o.Verdict.Label, o.Verdict.FollowUp
		}
		list = append(list, p)
		by[p.Entry] = o
	}
	if len(list) == 0 {
		return nil
	}
	promote.Order(list)
	version, err := tx.Version(v.Version)
	if err != nil {
		return err
	}
	ledger, err := tx.Ledger()
	if err != nil {
		return err
	}
	if err := a.onceOnly(tx, v.Syllabus, ledger, list); err != nil {
		return err
	}
	var lines []store.LedgerLine
	for i, p := range list {
		lines = append(lines, store.LedgerLine{Student: p.Student, Grading: v.ID, Entry: p.Entry, Rank: p.Rank.ID, RankName: p.Rank.Name, Day: v.Day,
			Version: version.ID, VersionHash: version.Hash, Certificate: promote.CertificateNumber(v.Day, int64(len(ledger)+i+1)),
			Label: p.Label, FollowUp: p.FollowUp, Signer: who.Name, At: a.moment()})
	}
	if _, err := tx.AppendLedger(lines); err != nil {
		return err
	}
	for _, p := range list {
		e := by[p.Entry].Entry
		st := e.Student
		// A promotion that comes late, behind a higher rank, is written down
		// and takes nothing back.
		if e.Erased || st.Ladder != v.Syllabus.Ladder || !promote.Raises(v.Syllabus, st.Rank, p.Rank.ID) {
			continue
		}
		st.Rank, st.RankSince, st.ClassesSinceRank = p.Rank.ID, v.Day, 0
		if err := tx.PutStudents(one(st), a.moment()); err != nil {
			return err
		}
	}
	return nil
}

// onceOnly refuses to give a rank a second time on one ladder.
func (a *App) onceOnly(tx *store.Tx, s *syllabus.Syllabus, ledger []store.LedgerLine, list []promote.Promotion) error {
	ladder := map[string]rankwright.LadderID{}
	var names []string
	for _, l := range ledger {
		at := slices.IndexFunc(list, func(p promote.Promotion) bool { return p.Student == l.Student && p.Rank.ID == l.Rank })
		if at < 0 {
			continue
		}
		if _, ok := ladder[l.Version]; !ok {
			old, err := a.version(tx, l.Version)
			if err != nil {
				return err
			}
			ladder[l.Version] = old.Ladder
		}
		if ladder[l.Version] == s.Ladder {
			names = append(names, list[at].Name+" ("+list[at].Rank.Name+", "+l.Day.String()+")")
		}
	}
	if len(names) > 0 {
		return rankwright.Faultf(rankwright.Conflict, "has_rank", "decide those entries yourself, for instance as absent, with the reason",
			"the rank ledger has this rank already for %s", strings.Join(names, ", "))
	}
	return nil
}

func one[T any](x T) []T { return []T{x} }

// Release promotes somebody whose promotion was held, now that every
// clearance is met.
func (a *App) Release(ctx context.Context, who Actor, entry rankwright.EntryID) error {
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, ReleaseHeld, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		v, err := a.grading(tx, g)
		if err != nil {
			return nil, err
		}
		at := slices.IndexFunc(v.Entries, func(e EntryView) bool { return e.Entry.ID == entry })
		if at < 0 {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "go back to the grading", "there is no such entry")
		}
		met := v.Entries[at].Clearances
		v.Entries = v.Entries[at : at+1]
		outcomes, err := a.judge(tx, v)
		if err != nil {
			return nil, err
		}
		o := &outcomes[0]
		if o.Decision == nil || o.Decision.Outcome != syllabus.Held.String() {
			return nil, rankwright.Faultf(rankwright.Conflict, "not_held", "nothing needs to be done", "this promotion is not held")
		}
		o.Case.Met = nil
		for _, c := range v.Syllabus.Clearances {
			if met[c.ID] {
				o.Case.Met = append(o.Case.Met, c.ID)
			}
		}
		for _, id := range o.Rank.Clearances {
			if !met[id] {
				return nil, rankwright.Faultf(rankwright.Conflict, "still_held", "settle every clearance first", "a clearance is still missing")
			}
		}
		o.Verdict = o.Judge.Decide(o.Case)
		d := o.Decision
		d.Override, d.Label = "", o.Verdict.Label
		if o.Verdict.Outcome != syllabus.Promoted { // held by the head instructor's own decision
			d.Override, d.Label = syllabus.Promoted.String(), ""
		}
		d.Outcome, d.At = syllabus.Promoted.String(), a.moment()
		if d.Verdict, err = o.freeze(); err != nil {
			return nil, err
		}
		if err := tx.PutDecision(*d); err != nil {
			return nil, err
		}
		return nil, a.promote(tx, who, v, outcomes)
	})
}

// Award is a promotion with everything that a certificate needs.
type Award struct {
	Line    store.LedgerLine
	Rank    string // its name in the language of the school's certificates, "" as the ledger has it
	Name    string
	Belt    syllabus.Belt
	Grading store.Grading
	Ladder  string
	Said    string // how the name is said
}

// Awards lists the promotions of a grading in the order in which they are
// read out, or, with entry, that one alone. A promotion that was held stands
// where it belongs, and not at the end.
func (a *App) Awards(ctx context.Context, who Actor, id rankwright.GradingID, entry rankwright.EntryID) (out []Award, err error) {
	err = a.see(ctx, who, PrintPapers, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		out, err = a.awards(tx, id, entry)
		return err
	})
	return out, err
}

func (a *App) awards(tx *store.Tx, id rankwright.GradingID, entry rankwright.EntryID) ([]Award, error) {
	g, s, err := a.askedAt(tx, id)
	if err != nil {
		return nil, err
	}
	lines, err := tx.LedgerOfGrading(id)
	if err != nil {
		return nil, err
	}
	papers, err := papersOf(tx)
	if err != nil {
		return nil, err
	}
	printed, err := a.syllabusIn(tx, g.Version, words.Lang(papers.Lang))
	if err != nil {
		return nil, err
	}
	var order []promote.Promotion
	of := map[rankwright.EntryID]Award{}
	for _, l := range lines {
		if entry != "" && l.Entry != entry {
			continue
		}
		st, err := student(tx, l.Student)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			continue // erased since
		}
		if err != nil {
			return nil, err
		}
		x := Award{Line: l, Name: st.FullName(), Grading: g, Ladder: s.Name, Said: st.Said}
		k, place := s.Rank(l.Rank)
		if k != nil {
			x.Belt = k.Belt
			if own, _ := printed.Rank(l.Rank); own != nil && k.Name == l.RankName && own.Name != k.Name {
				x.Rank = own.Name
			}
		}
		order = append(order, promote.Promotion{Entry: l.Entry, Name: x.Name, Born: st.BirthDate, Place: place})
		of[l.Entry] = x
	}
	promote.Order(order)
	out := make([]Award, len(order))
	for i, p := range order {
		out[i] = of[p.Entry]
	}
	return out, nil
}

// Ledger lists every promotion with the student's name, the latest first.
func (a *App) Ledger(ctx context.Context, who Actor) (out []Award, err error) {
	err = a.see(ctx, who, SeeLedger, on{kind: "ledger"}, func(tx *store.Tx) error {
		lines, err := tx.Ledger()
		if err != nil {
			return err
		}
		all, err := students(tx)
		if err != nil {
			return err
		}
		names := map[rankwright.StudentID]string{}
		for _, s := range all {
			names[s.ID] = s.FullName()
		}
		for _, l := range lines {
			x := Award{Line: l, Name: names[l.Student]}
			if x.Name == "" {
				x.Name = "(erased)"
			}
			if s, err := a.version(tx, l.Version); err == nil {
				if k, _ := s.Rank(l.Rank); k != nil {
					x.Belt = k.Belt
				}
				x.Ladder = s.Name
			}
			out = append(out, x)
		}
		return nil
	})
	slices.Reverse(out)
	return out, err
}

// Waiting is a promotion that is signed and waits for a clearance.
type Waiting struct {
	Entry   rankwright.EntryID
	Name    string
	Rank    string
	Grading store.Grading
	Lacks   []string // the clearances that are still missing, by name
}

// Waitings lists every held promotion of the signed gradings, the latest first.
func (a *App) Waitings(ctx context.Context, who Actor) (out []Waiting, err error) {
	err = a.see(ctx, who, SeeOutcomes, on{kind: "gradings"}, func(tx *store.Tx) error {
		gradings, err := tx.Gradings()
		if err != nil {
			return err
		}
		slices.SortStableFunc(gradings, func(x, y store.Grading) int { return int(y.Day) - int(x.Day) })
		for _, g := range gradings {
			if State(g.State) != Closed {
				continue
			}
			decisions, err := tx.Decisions(g.ID)
			if err != nil {
				return err
			}
			for _, d := range decisions {
				if d.Outcome != syllabus.Held.String() {
					continue
				}
				w, there, err := a.waiting(tx, g, d.Entry)
				if err != nil {
					return err
				}
				if there {
					out = append(out, w)
				}
			}
		}
		return nil
	})
	return out, err
}

func (a *App) waiting(tx *store.Tx, g store.Grading, id rankwright.EntryID) (w Waiting, there bool, err error) {
	e, err := tx.Entry(id)
	if err != nil {
		return w, false, err
	}
	st, err := student(tx, e.Student)
	if err != nil {
		if rankwright.KindOf(err) == rankwright.NotFound {
			return w, false, nil // erased since
		}
		return w, false, err
	}
	s, err := a.version(tx, g.Version)
	if err != nil {
		return w, false, err
	}
	met := map[rankwright.ClearanceID]bool{}
	records, err := tx.ClearancesOf(id)
	if err != nil {
		return w, false, err
	}
	for _, c := range records {
		met[c.Clearance] = c.Met
	}
	w = Waiting{Entry: id, Name: st.FullName(), Rank: rankName(s, e.Rank), Grading: g}
	if k, _ := s.Rank(e.Rank); k != nil {
		for _, c := range k.Clearances {
			if !met[c] {
				w.Lacks = append(w.Lacks, s.Clearance(c).Name)
			}
		}
	}
	return w, true, nil
}
