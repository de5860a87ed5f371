package store

import "rankwright"

const decisionColumns = `entry, outcome, label, verdict, override, override_by, override_why, show_again, at`

func readDecision(r row) (d Decision, err error) {
	err = r.Scan(&d.Entry, &d.Outcome, &d.Label, &d.Verdict, &d.Override, &d.OverrideBy, &d.OverrideWhy, &d.ShowAgain, &d.At)
	return d, err
}

// PutDecision writes what became of an entry, in place of what was said before.
func (t *Tx) PutDecision(d Decision) error {
	_, err := t.exec(`INSERT INTO decisions (`+decisionColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (entry) DO UPDATE SET outcome = excluded.outcome, label = excluded.label, verdict = excluded.verdict,
			override = excluded.override, override_by = excluded.override_by, override_why = excluded.override_why,
			show_again = excluded.show_again, at = excluded.at`,
		d.Entry, d.Outcome, d.Label, d.Verdict, d.Override, d.OverrideBy, d.OverrideWhy, d.ShowAgain, d.At)
	return reword(err, "in_use", missing("entry", d.Entry))
}

// Decision returns what became of an entry.
func (t *Tx) Decision(entry rankwright.EntryID) (Decision, error) {
	return one(t, missing("decision on the entry", entry), readDecision, `SELECT `+decisionColumns+` FROM decisions WHERE entry = $1`, entry)
}

// Decisions returns the decisions of a grading in order of entry.
func (t *Tx) Decisions(grading rankwright.GradingID) ([]Decision, error) {
	return list(t, readDecision, `SELECT `+decisionColumns+` FROM decisions
		WHERE entry IN (SELECT id FROM entries WHERE grading = $1) ORDER BY entry`, grading)
}
