package app

import (
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
	// Sealed are votes that are in and are not shown yet, nor counted here.
	Sealed []Votes
}

// Stands is the outcome that counts: the head instructor's where there is one,
// else the rule's. A promotion that a person decided still waits for the
// clearances: a missing signature holds it whatever the reason.
func (o *Outcome) Stands() syllabus.Outcome {
	if o.Decision == nil {
		return o.Verdict.Outcome
	}
	if s, ok := syllabus.ParseOutcome(o.Decision.Override); ok {
		if s == syllabus.Promoted && len(o.Missing()) > 0 {
			return syllabus.Held
		}
		return s
	}
	if s, ok := syllabus.ParseOutcome(o.Decision.Outcome); ok {
		return s
	}
	return o.Verdict.Outcome
}

// Missing lists the clearances of the rank that the verdict found missing.
func (o *Outcome) Missing() []rankwright.ClearanceID {
	var out []rankwright.ClearanceID
	for _, id := range o.Rank.Clearances {
		if !slices.Contains(o.Case.Met, id) {
			out = append(out, id)
		}
	}
	return out
}

// Lacks lists the clearances of the rank that are not met today; for a signed
// grading that may be fewer than were missing when it was signed.
func (o *Outcome) Lacks() []rankwright.ClearanceID {
	var out []rankwright.ClearanceID
	for _, id := range o.Rank.Clearances {
		if !o.Entry.Clearances[id] {
			out = append(out, id)
		}
	}
	return out
}

// frozen is what is kept of a decision, so that it can be worked out again
// years later and what it leaves for the next grading never changes: the facts
// that are not in the mark log, what the head instructor decided, the verdict,
// and what stands from it.
type frozen struct {
	Age       int                      `json:"age_on_day"`
	Lead      rankwright.ExaminerID    `json:"lead"`
	Met       []rankwright.ClearanceID `json:"clearances_met"`
	Presence  decide.Presence          `json:"presence"`
	Retries   int                      `json:"retries"`
	Kept      []decide.Kept            `json:"kept,omitempty"`
	Before    *decide.Before           `json:"before,omitempty"`
	Override  string                   `json:"override,omitempty"`
	ShowAgain string                   `json:"named_again,omitempty"`
	Verdict   decide.EntryDocument     `json:"verdict"`
	Stands    []decide.Kept            `json:"stands,omitempty"` // what the next retry need not show
	Weak      decide.Before            `json:"weak"`             // what fell short
}

func (o *Outcome) freeze() ([]byte, error) {
	f := frozen{Age: o.Entry.Age, Lead: o.Case.Lead, Met: slices.Clone(o.Case.Met), Presence: o.Case.Presence, Retries: o.Case.Retries,
		Kept: o.Case.Kept, Before: o.Case.Before, Verdict: o.Verdict.Document()}
	slices.Sort(f.Met)
	if o.Decision != nil {
		f.Override, f.ShowAgain = o.Decision.Override, o.Decision.ShowAgain
	}
	f.Stands = o.Judge.KeepAs(o.Case, &o.Verdict, o.Stands(), strings.Fields(f.ShowAgain))
	f.Weak.Weak, f.Weak.WeakSections = o.Verdict.Left()
	return json.Marshal(f)
}

// thaw reads what was frozen; a decision that was not signed has nothing.
func thaw(d *store.Decision) (f frozen, ok bool, err error) {
	if d == nil || len(d.Verdict) == 0 {
		return f, false, nil
	}
	err = json.Unmarshal(d.Verdict, &f)
	return f, err == nil, err
}

// Outcomes judges every entry of a grading by its marks as they are now.
// Second looks come first.
func (a *App) Outcomes(ctx context.Context, who Actor, id rankwright.GradingID) (v GradingView, out []Outcome, err error) {
	err = a.see(ctx, who, SeeOutcomes, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		if v, err = a.grading(tx, id); err != nil {
			return err
		}
		out, err = a.judgeFor(tx, v, who)
		return err
	})
	slices.SortStableFunc(out, func(x, y Outcome) int { return urgency(&y) - urgency(&x) })
	return v, out, err
}

// Looks are the second looks that the head instructor is asked for. A tick that
// a promotion hangs on is not among them: it has no half way, and whoever gave
// it saw the thing shown. What a mark would lead to is told with the clearances
// as they are.
func (o *Outcome) Looks() []decide.Look {
	var out []decide.Look
	for _, l := range o.Verdict.SecondLook {
		if l.Key == decide.OneMark {
			q := o.Rank.Requirement(l.Requirement)
			if q != nil && q.Kind == syllabus.Tick && o.Verdict.Outcome != syllabus.NotYet {
				continue
			}
			if l.Would == syllabus.Promoted && len(o.Missing()) > 0 {
				l.Would = syllabus.Held
			}
		}
		out = append(out, l)
	}
	return out
}

// Ask is an examiner's wish that the head instructor takes a second look.
type Ask struct {
	Examiner    rankwright.ExaminerID
	Requirement *syllabus.Requirement
	Why         string // what else the note says
}

// Asks are the wishes of the examiners for a second look, by the note of their
// last try. They change no verdict.
func (o *Outcome) Asks() []Ask {
	var out []Ask
	for i, seen := range o.Case.Card.Seen {
		for j := range seen {
			if j+1 < len(seen) && seen[j+1].Examiner == seen[j].Examiner {
				continue
			}
			x := Ask{Examiner: seen[j].Examiner, Requirement: &o.Rank.Requirements[i]}
			asks := false
			if asks, x.Why = seen[j].AsksSecondLook(); asks {
				out = append(out, x)
			}
		}
	}
	return out
}

// urgency is how much an outcome wants the head instructor's eye.
func urgency(o *Outcome) int {
	if o.Decision != nil && o.Decision.Override != "" {
		return 0
	}
	n := 0
	if len(o.Asks()) > 0 {
		n = 3
	}
	for _, l := range o.Looks() {
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
	err = a.see(ctx, who, SeeOutcomes, on{kind: "entry", id: string(entry)}, func(tx *store.Tx) error {
		v, o, err = a.oneOutcome(tx, who, entry)
		return err
	})
	return v, o, err
}

func (a *App) oneOutcome(tx *store.Tx, who Actor, entry rankwright.EntryID) (v GradingView, o Outcome, err error) {
	e, err := tx.Entry(entry)
	if err != nil {
		return v, o, err
	}
	if v, err = a.grading(tx, e.Grading); err != nil {
		return v, o, err
	}
	one := v
	one.Entries = slices.DeleteFunc(slices.Clone(v.Entries), func(e EntryView) bool { return e.Entry.ID != entry })
	list, err := a.judgeFor(tx, one, who)
	if err == nil {
		o = list[0]
	}
	return v, o, err
}

// judge works out every entry of a grading, of all its marks.
func (a *App) judge(tx *store.Tx, v GradingView) ([]Outcome, error) {
	by, err := marksOf(tx, v)
	if err != nil {
		return nil, err
	}
	return a.judgeBy(tx, v, by)
}

// judgeBy works out every entry of a grading by the marks given.
func (a *App) judgeBy(tx *store.Tx, v GradingView, by map[rankwright.EntryID][]scoring.Mark) ([]Outcome, error) {
	past, err := a.lookBack(tx, v)
	if err != nil {
		return nil, err
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
		f, signed, err := thaw(o.Decision)
		if err != nil {
			return nil, err
		}
		if signed && State(v.State) == Closed {
			o.Entry.Age, o.Case.Lead, o.Case.Met, o.Case.Presence = f.Age, f.Lead, f.Met, f.Presence
			o.Case.Kept, o.Case.Before, o.Case.Retries = f.Kept, f.Before, f.Retries
		} else {
			past[e.Entry.Student].into(&o)
		}
		if o.Entry.Age >= 0 {
			o.Case.Band = v.Syllabus.Band(o.Entry.Age)
		}
		o.Verdict = j.Decide(o.Case)
		out = append(out, o)
	}
	return out, nil
}

// Override lets the head instructor decide otherwise than the rule, or name
// what is shown again. Another outcome than the rule's needs a reason; an empty
// outcome goes back to the rule.
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
		if err := a.nameable(tx, entry, again); err != nil {
			return nil, err
		}
		d, err := tx.Decision(entry)
		if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
			return nil, err
		}
		d.Entry, d.Override, d.OverrideWhy, d.OverrideBy, d.At = entry, outcome, reason, who.ID, a.moment()
		d.ShowAgain = strings.Join(again, " ")
		if d.Verdict == nil {
			d.Verdict = []byte{}
		}
		return map[string]any{"outcome": outcome, "show_again": again}, tx.PutDecision(d)
	})
}

// nameable refuses what cannot be shown again: ids that are neither sections
// nor requirements of the entry's rank.
func (a *App) nameable(tx *store.Tx, entry rankwright.EntryID, again []string) error {
	if len(again) == 0 {
		return nil
	}
	e, err := tx.Entry(entry)
	if err != nil {
		return err
	}
	g, err := tx.Grading(e.Grading)
	if err != nil {
		return err
	}
	s, err := a.version(tx, g.Version)
	if err != nil {
		return err
	}
	k, _ := s.Rank(e.Rank)
	for _, id := range again {
		if !slices.ContainsFunc(k.Requirements, func(q syllabus.Requirement) bool { return string(q.ID) == id || string(q.Section) == id }) {
			return invalid("again", "choose sections or requirements of the rank", "%q cannot be shown again at %s", id, k.Name)
		}
	}
	return nil
}

// Seen is a digest of outcomes: what was looked at before signing.
func Seen(list []Outcome) (string, error) {
	lines := make([]string, len(list))
	for i := range list {
		b, err := list[i].freeze()
		if err != nil {
			return "", err
		}
		lines[i] = string(list[i].Entry.Entry.ID) + " " + list[i].Stands().String() + " " + string(b)
	}
	slices.Sort(lines)
	return hashOf(strings.Join(lines, "\n")), nil
}

// Sign closes a grading: every outcome is written down with its reasons, and
// the promoted get their rank. Nothing is signed while an entry is undecided,
// nor where a mark came in after the outcomes were looked at: seen is their
// digest then, "" where they are signed as they are.
func (a *App) Sign(ctx context.Context, who Actor, id rankwright.GradingID, seen string) error {
	return a.SignAccepting(ctx, who, id, seen, "")
}

// SignAccepting is Sign with the reason for signing though marks that were
// made have not come.
func (a *App) SignAccepting(ctx context.Context, who Actor, id rankwright.GradingID, seen, reason string) error {
	return a.do(ctx, who, SignGrading, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		v, err := a.grading(tx, id)
		if err != nil {
			return nil, err
		}
		if v.Day > a.Today() {
			return nil, rankwright.Faultf(rankwright.Conflict, "too_early", "sign on the day or after it, or correct the day of the grading", "the day of the grading, %s, has not come yet", v.Day.Long())
		}
		outcomes, err := a.judge(tx, v)
		if err != nil {
			return nil, err
		}
		shown, err := a.judgeFor(tx, v, who)
		if err != nil {
			return nil, err
		}
		if len(outcomes) == 0 {
			return nil, rankwright.Faultf(rankwright.Conflict, "no_entries", "enter students first", "there is nobody to decide on")
		}
		if now, err := Seen(shown); err != nil {
			return nil, err
		} else if seen != "" && seen != now {
			return nil, rankwright.Faultf(rankwright.Conflict, "moved", "look at the outcomes again, then sign", "something came in after you looked, and an outcome or its reasons are not as you saw them")
		}
		lacks, err := a.accept(tx, who, id, reason)
		if err != nil {
			return nil, err
		}
		var open []string
		counts := map[string]any{}
		if lacks != nil {
			counts["accepted"] = lacks
		}
		for i := range outcomes {
			if outcomes[i].Stands() == syllabus.Incomplete || shown[i].Stands() == syllabus.Incomplete {
				open = append(open, outcomes[i].Entry.Student.FullName())
			}
			n, _ := counts[outcomes[i].Stands().String()].(int)
			counts[outcomes[i].Stands().String()] = n + 1
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
			if o.Stands() != o.Verdict.Outcome {
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
