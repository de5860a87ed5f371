package app

import (
	"bytes"
	"context"
	"encoding/json"
	"slices"
	"strings"

	"rankwright"
	"rankwright/decide"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Outcome is one entry with what the rule says of it and what stands.
type Outcome struct {
	Entry   EntryView
	Rank    *syllabus.Rank
	Case    decide.Case
	Verdict decide.Verdict
	// Decision is the head instructor's, or what was signed; nil where the
	// rule alone speaks so far.
	Decision *store.Decision
	Judge    *decide.Judge
}

// Stands is the outcome that counts: the head instructor's where there is
// one, else the rule's.
func (o *Outcome) Stands() syllabus.Outcome {
	if o.Decision != nil {
		word := o.Decision.Override
		if word == "" {
			word = o.Decision.Outcome
		}
		if s, ok := syllabus.ParseOutcome(word); ok && word != "" {
			return s
		}
	}
	return o.Verdict.Outcome
}

// frozen is what is kept of a decision, so that it can be worked out again
// years later: the facts that are not in the mark log, and the verdict.
type frozen struct {
	Age      int                      `json:"age_on_day"`
	Lead     rankwright.ExaminerID    `json:"lead"`
	Met      []rankwright.ClearanceID `json:"clearances_met"`
	Presence decide.Presence          `json:"presence"`
	Retries  int                      `json:"retries"`
	Verdict  decide.EntryDocument     `json:"verdict"`
}

func (o *Outcome) freeze() ([]byte, error) {
	met := slices.Clone(o.Case.Met)
	slices.Sort(met)
	return json.Marshal(frozen{Age: o.Entry.Age, Lead: o.Case.Lead, Met: met, Presence: o.Case.Presence, Retries: o.Case.Retries, Verdict: o.Verdict.Document()})
}

// Outcomes judges every entry of a grading by its marks as they are now.
// Second looks come first.
func (a *App) Outcomes(ctx context.Context, who Actor, id rankwright.GradingID) (v GradingView, out []Outcome, err error) {
	err = a.see(ctx, who, SeeOutcomes, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		if v, err = a.grading(tx, id); err != nil {
			return err
		}
		out, err = a.judge(tx, v)
		return err
	})
	slices.SortStableFunc(out, func(x, y Outcome) int { return urgency(&y) - urgency(&x) })
	return v, out, err
}

// urgency is how much an outcome wants the head instructor's eye.
func urgency(o *Outcome) int {
	if o.Decision != nil && o.Decision.Override != "" {
		return 0
	}
	n := 0
	for _, l := range o.Verdict.SecondLook {
		switch l.Key {
		case decide.MissingMarks:
			n = max(n, 1)
		case decide.OneMark:
			n = max(n, 2)
			if o.Verdict.Outcome == syllabus.NotYet {
				n = max(n, 4)
			}
		default:
			n = max(n, 3)
		}
	}
	return n
}

// OneOutcome judges one entry.
func (a *App) OneOutcome(ctx context.Context, who Actor, entry rankwright.EntryID) (v GradingView, o Outcome, err error) {
	id, err := a.gradingOf(ctx, entry)
	if err != nil {
		return v, o, err
	}
	v, all, err := a.Outcomes(ctx, who, id)
	if err != nil {
		return v, o, err
	}
	for _, o := range all {
		if o.Entry.Entry.ID == entry {
			return v, o, nil
		}
	}
	return v, o, rankwright.Faultf(rankwright.NotFound, "no_entry", "go back to the grading", "there is no such entry")
}

// judge works out every entry of a grading.
func (a *App) judge(tx *store.Tx, v GradingView) ([]Outcome, error) {
	rows, err := tx.MarksOfGrading(v.ID)
	if err != nil {
		return nil, err
	}
	by := map[rankwright.EntryID][]scoring.Mark{}
	for _, r := range rows {
		by[r.Entry] = append(by[r.Entry], r.Mark)
	}
	decisions, err := tx.Decisions(v.ID)
	if err != nil {
		return nil, err
	}
	judges := map[rankwright.RankID]*decide.Judge{}
	var out []Outcome
	for _, e := range v.Entries {
		j := judges[e.Rank]
		if j == nil {
			var waived []rankwright.RequirementID
			for _, w := range v.Waivers {
				if w.Rank == e.Rank && w.Entry == "" {
					waived = append(waived, w.Requirement)
				}
			}
			if j, err = decide.Compile(v.Syllabus, e.Rank, waived...); err != nil {
				return nil, err
			}
			judges[e.Rank] = j
		}
		o := Outcome{Entry: e, Rank: j.Rank(), Judge: j}
		o.Case = decide.Case{Entry: e.Entry.ID, Day: v.Day, Card: j.Fold(by[e.Entry.ID]), Lead: rankwright.ExaminerID(v.Lead), Band: -1}
		if i := slices.IndexFunc(decisions, func(d store.Decision) bool { return d.Entry == e.Entry.ID }); i >= 0 {
			o.Decision = &decisions[i]
		}
		switch e.Presence {
		case "absent":
			o.Case.Presence = decide.Away
		case "unwell":
			o.Case.Presence = decide.Unwell
		case "stopped":
			o.Case.Presence = decide.Halted
		}
		for _, w := range v.Waivers {
			if w.Entry == e.Entry.ID {
				o.Case.Waived = append(o.Case.Waived, w.Requirement)
			}
		}
		for _, c := range v.Syllabus.Clearances {
			if e.Clearances[c.ID] {
				o.Case.Met = append(o.Case.Met, c.ID)
			}
		}
		// What was signed is worked out again from the facts of that day.
		if State(v.State) == Closed && o.Decision != nil && len(o.Decision.Verdict) > 0 {
			var f frozen
			if err := json.Unmarshal(o.Decision.Verdict, &f); err != nil {
				return nil, err
			}
			o.Entry.Age, o.Case.Lead, o.Case.Met, o.Case.Presence = f.Age, f.Lead, f.Met, f.Presence
		}
		if o.Entry.Age >= 0 {
			o.Case.Band = v.Syllabus.Band(o.Entry.Age)
		}
		if err := a.lookBack(tx, v, &o); err != nil {
			return nil, err
		}
		o.Verdict = j.Decide(o.Case)
		out = append(out, o)
	}
	return out, nil
}

// lookBack fills in what earlier gradings left: weak areas, labels, and what
// still stands from a partly successful examination for the same rank.
func (a *App) lookBack(tx *store.Tx, v GradingView, o *Outcome) error {
	entries, err := tx.EntriesOf(o.Entry.Entry.Student)
	if err != nil {
		return err
	}
	type past struct {
		entry store.Entry
		g     store.Grading
		d     store.Decision
	}
	var list []past
	for _, e := range entries {
		if e.Grading == v.ID {
			continue
		}
		g, err := tx.Grading(e.Grading)
		if err != nil {
			return err
		}
		if State(g.State) != Closed || g.Day >= v.Day {
			continue
		}
		d, err := tx.Decision(e.ID)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			continue
		}
		if err != nil {
			return err
		}
		list = append(list, past{e, g, d})
	}
	if len(list) == 0 {
		return nil
	}
	slices.SortFunc(list, func(x, y past) int { return int(y.g.Day) - int(x.g.Day) })
	o.Case.Before = &decide.Before{}
	for _, p := range list {
		o.Case.Before.Labels = append(o.Case.Before.Labels, p.d.Label)
	}
	last := list[0]
	pv, err := a.grading(tx, last.g.ID)
	if err != nil {
		return err
	}
	pv.Entries = slices.DeleteFunc(pv.Entries, func(e EntryView) bool { return e.Entry.ID != last.entry.ID })
	before, err := a.judge(tx, pv)
	if err != nil || len(before) == 0 {
		return err
	}
	b := &before[0]
	o.Case.Before.Weak, o.Case.Before.WeakSections = b.Verdict.Left()
	if last.entry.Rank != o.Entry.Rank || b.Stands() != syllabus.NotYet {
		return nil
	}
	o.Case.Kept = b.Judge.Keep(b.Case, &b.Verdict, strings.Fields(last.d.ShowAgain)...)
	if len(o.Case.Kept) > 0 && v.Day <= o.Case.Kept[0].Until {
		o.Case.Retries = b.Case.Retries + 1
	}
	return nil
}

// Override lets the head instructor decide otherwise than the rule, or name
// what is shown again, with a reason. An empty outcome goes back to the rule.
func (a *App) Override(ctx context.Context, who Actor, entry rankwright.EntryID, outcome, reason string, again []string) error {
	reason = strings.TrimSpace(reason)
	if outcome != "" {
		if _, ok := syllabus.ParseOutcome(outcome); !ok || outcome == "incomplete" {
			return invalid("outcome", "choose one of the outcomes", "an entry cannot be decided as %q", outcome)
		}
		if reason == "" {
			return invalid("reason", "write why, in a sentence that would stand up when a parent asks", "deciding otherwise than the rule needs a reason")
		}
	}
	g, err := a.gradingOf(ctx, entry)
	if err != nil {
		return err
	}
	return a.do(ctx, who, OverrideResult, on{"entry", string(entry), g}, func(tx *store.Tx) (any, error) {
		d, err := tx.Decision(entry)
		if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
			return nil, err
		}
		d.Entry, d.Override, d.OverrideWhy, d.OverrideBy, d.At = entry, outcome, reason, who.ID, a.moment()
		d.ShowAgain = strings.Join(again, " ")
		if d.Verdict == nil {
			d.Verdict = []byte{}
		}
		return map[string]any{"outcome": outcome, "reason": reason, "show_again": again}, tx.PutDecision(d)
	})
}

// Sign closes a grading: every outcome is written down with its reasons, and
// the promoted get their rank. Nothing is signed while an entry is undecided.
func (a *App) Sign(ctx context.Context, who Actor, id rankwright.GradingID) error {
	return a.do(ctx, who, SignGrading, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		v, err := a.grading(tx, id)
		if err != nil {
			return nil, err
		}
		outcomes, err := a.judge(tx, v)
		if err != nil {
			return nil, err
		}
		if len(outcomes) == 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "no_entries", "enter students first", "there is nobody to decide on")
		}
		var open []string
		counts := map[string]int{}
		for i := range outcomes {
			if outcomes[i].Stands() == syllabus.Incomplete {
				open = append(open, outcomes[i].Entry.Student.FullName())
			}
			counts[outcomes[i].Stands().String()]++
		}
		if len(open) > 0 {
			more := ""
			if len(open) > 5 {
				more, open = " and others", open[:5]
			}
			return nil, rankwright.Faultf(rankwright.Conflict, "undecided", "give the missing marks, say who was absent, waive what was not asked, or decide yourself",
				"marks are missing for %s%s", strings.Join(open, ", "), more)
		}
		for i := range outcomes {
			o := &outcomes[i]
			d := store.Decision{Entry: o.Entry.Entry.ID}
			if o.Decision != nil {
				d = *o.Decision
			}
			d.Outcome, d.Label, d.At = o.Stands().String(), o.Verdict.Label, a.moment()
			if d.Override != "" {
				d.Label = ""
			}
			if d.Verdict, err = o.freeze(); err != nil {
				return nil, err
			}
			if err := tx.PutDecision(d); err != nil {
				return nil, err
			}
		}
		if err := a.promote(tx, who, v, outcomes); err != nil {
			return nil, err
		}
		v.Grading.Signed, v.Grading.Signer = a.moment(), who.ID
		if err := tx.PutGrading(v.Grading); err != nil {
			return nil, err
		}
		return counts, tx.SetGradingState(id, v.State, string(Closed))
	})
}

// Verified is what Verify found.
type Verified struct {
	Gradings int
	Outcomes int
	Differ   []rankwright.EntryID // outcomes that do not come out as they were signed
}

// Verify works every signed outcome out again and compares it byte for byte,
// and checks the chains of the audit and of the rank ledger.
func (a *App) Verify(ctx context.Context, who Actor) (out Verified, err error) {
	err = a.see(ctx, who, SeeAudit, on{kind: "base"}, func(tx *store.Tx) error {
		if _, err := tx.VerifyAudit(); err != nil {
			return err
		}
		if _, err := tx.VerifyLedger(); err != nil {
			return err
		}
		gradings, err := tx.Gradings()
		if err != nil {
			return err
		}
		for _, g := range gradings {
			if State(g.State) != Closed {
				continue
			}
			out.Gradings++
			v, err := a.grading(tx, g.ID)
			if err != nil {
				return err
			}
			outcomes, err := a.judge(tx, v)
			if err != nil {
				return err
			}
			for i := range outcomes {
				o := &outcomes[i]
				out.Outcomes++
				b, err := o.freeze()
				if err != nil {
					return err
				}
				if o.Decision == nil || !bytes.Equal(b, o.Decision.Verdict) {
					out.Differ = append(out.Differ, o.Entry.Entry.ID)
				}
			}
		}
		return nil
	})
	return out, err
}
