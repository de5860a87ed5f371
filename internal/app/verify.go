package app

import (
	"bytes"
	"context"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

// Verified is what Verify found.
type Verified struct {
	Gradings int
	Outcomes int
	// Differ are entries whose outcome, reasons, decision or promotion are not
	// as they were signed.
	Differ []rankwright.EntryID
}

// Verify works every signed outcome out again and compares it byte for byte,
// holds what stands against the rank ledger in both directions, and checks the
// chains of the audit and of the ledger.
func (a *App) Verify(ctx context.Context, who Actor) (out Verified, err error) {
	var gradings []store.Grading
	err = a.see(ctx, who, SeeAudit, on{kind: "base"}, func(tx *store.Tx) error {
		if _, err := tx.VerifyAudit(); err != nil {
			return err
		}
		if _, err := tx.VerifyLedger(); err != nil {
			return err
		}
		gradings, err = tx.Gradings()
		return err
	})
	if err != nil {
		return out, err
	}
	for _, g := range gradings { // each in a reading of its own, since years of gradings take their time
		if State(g.State) != Closed {
			continue
		}
		err := a.st.Read(ctx, func(tx *store.Tx) error { return a.verify(tx, g.ID, &out) })
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

func (a *App) verify(tx *store.Tx, id rankwright.GradingID, out *Verified) error {
	v, err := a.grading(tx, id)
	if err != nil {
		return err
	}
	outcomes, err := a.judge(tx, v)
	if err != nil {
		return err
	}
	lines, err := tx.LedgerOfGrading(id)
	if err != nil {
		return err
	}
	given := map[rankwright.EntryID]rankwright.RankID{}
	for _, l := range lines {
		given[l.Entry] = l.Rank
	}
	out.Gradings++
	for i := range outcomes {
		o := &outcomes[i]
		out.Outcomes++
		b, err := o.freeze()
		if err != nil {
			return err
		}
		rank, has := given[o.Entry.Entry.ID]
		delete(given, o.Entry.Entry.ID)
		if o.Decision == nil || !bytes.Equal(b, o.Decision.Verdict) || o.Decision.Outcome != o.ruled().String() ||
			has != (o.Stands() == syllabus.Promoted) || has && rank != o.Rank.ID {
			out.Differ = append(out.Differ, o.Entry.Entry.ID)
		}
	}
	for entry := range given {
		out.Differ = append(out.Differ, entry)
	}
	return nil
}

// ruled is the outcome to which rule and head instructor lead, whatever was
// written down beside them.
func (o *Outcome) ruled() syllabus.Outcome {
	if o.Decision == nil || o.Decision.Override == "" {
		return o.Verdict.Outcome
	}
	return o.Stands()
}
