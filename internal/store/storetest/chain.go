package storetest

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/store"
)

func line(student rankwright.StudentID, e rankwright.EntryID, certificate string) store.LedgerLine {
	return store.LedgerLine{Student: student, Grading: grading, Entry: e, Rank: "yellow", RankName: "Yellow belt", Day: rankwright.MustDay("2026-10-31"),
		Version: "v1", VersionHash: "abc", Certificate: certificate, Label: "with praise", FollowUp: rankwright.MustDay("2026-12-01"), Signer: "p1", At: 40}
}

func appendLedger(t *testing.T, b Base, lines ...store.LedgerLine) (got []store.LedgerLine) {
	t.Helper()
	write(t, b, func(tx *store.Tx) (err error) {
		got, err = tx.AppendLedger(lines)
		return err
	})
	return got
}

func ledger(t *testing.T, b Base) {
	fill(t, b)
	same(t, read(t, b, (*store.Tx).VerifyLedger), store.Chain{})
	got := appendLedger(t, b, line("s1", "e1", "2026-001"), line("s2", "e2", "2026-002"))
	before := line("s1", "", "") // brought in from an older list, twice
	before.Grading = ""
	got = append(got, appendLedger(t, b, before, before)...)
	full(t, got[1])
	same(t, []int64{got[0].No, got[3].No}, []int64{1, 4})
	same(t, []string{got[0].Previous, got[1].Previous, got[2].Previous}, []string{"", got[0].Hash, got[1].Hash})

	same(t, read(t, b, (*store.Tx).Ledger), got)
	same(t, read(t, b, func(tx *store.Tx) ([]store.LedgerLine, error) { return tx.LedgerOf("s2") }), got[1:2])
	same(t, read(t, b, func(tx *store.Tx) ([]store.LedgerLine, error) { return tx.LedgerOfGrading(grading) }), got[:2])
	same(t, read(t, b, (*store.Tx).VerifyLedger), store.Chain{Lines: 4, Head: got[3].Hash})

	add := func(l store.LedgerLine) func(*store.Tx) error {
		return func(tx *store.Tx) error { _, err := tx.AppendLedger([]store.LedgerLine{l}); return err }
	}
	refused(t, b, rankwright.Conflict, "promoted", add(line("s1", "e1", "2026-003")))
	refused(t, b, rankwright.Conflict, "promoted", add(line("s1", "e9", "2026-002")))
	refused(t, b, rankwright.NotFound, "not_found", add(line("s404", "e9", "2026-003")))
	keeps(t, b, `UPDATE ledger SET rank = 'black'`, `DELETE FROM ledger`)
	same(t, read(t, b, (*store.Tx).Ledger), got)
}

// brokenAt wants a chain to be broken at a line, such as "line 2 of the audit
// is missing".
func brokenAt(t *testing.T, b Base, where string, verify func(*store.Tx) (store.Chain, error)) {
	t.Helper()
	err := b.Read(t.Context(), func(tx *store.Tx) error { _, err := verify(tx); return err })
	var f *rankwright.Fault
	if !errors.As(err, &f) || f.Code != "broken_chain" || !strings.HasPrefix(f.Say, where) {
		t.Errorf("got %v, want %s", err, where)
	}
}

func ledgerTampered(t *testing.T, b Base) {
	fill(t, b)
	appendLedger(t, b, line("s1", "e1", "c1"), line("s2", "e2", "c2"), line("s1", "", "c3"))
	if _, err := b.Behind.Exec(`INSERT INTO students (id, given_name, family_name, birth_date, household, ladder, rank, rank_since,
		classes, belt_size, shirt_size, notes, updated, erased) VALUES ('e', '', '', '', '', '', '', '', 0, '', '', '', 0, 0)`); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ column, to, back string }{
		{"student", "'e'", "'s2'"}, {"grading", "'gx'", "'g1'"}, {"entry", "'ex'", "'e2'"}, {"rank", "'black'", "'yellow'"},
		{"rank_name", "'Black'", "'Yellow belt'"}, {"day", "'2025-10-31'", "'2026-10-31'"}, {"version", "'v2'", "'v1'"},
		{"version_hash", "''", "'abc'"}, {"certificate", "'cx'", "'c2'"}, {"label", "''", "'with praise'"},
		{"follow_up", "''", "'2026-12-01'"}, {"signer", "'p2'", "'p1'"}, {"at", "41", "40"},
	} {
		t.Run(c.column, func(t *testing.T) {
			tamper(t, b, "ledger", `UPDATE ledger SET `+c.column+` = `+c.to+` WHERE number = 2`)
			brokenAt(t, b, "line 2 of the rank ledger is not", (*store.Tx).VerifyLedger)
			tamper(t, b, "ledger", `UPDATE ledger SET `+c.column+` = `+c.back+` WHERE number = 2`)
			same(t, read(t, b, (*store.Tx).VerifyLedger).Lines, 3)
		})
	}
	// A field's end cannot be moved into the next one.
	tamper(t, b, "ledger", `UPDATE ledger SET version = 'v1a', version_hash = 'bc' WHERE number = 2`)
	brokenAt(t, b, "line 2 of the rank ledger is not", (*store.Tx).VerifyLedger)
	tamper(t, b, "ledger", `DELETE FROM ledger WHERE number = 2`)
	brokenAt(t, b, "line 2 of the rank ledger is missing", (*store.Tx).VerifyLedger)
	tamper(t, b, "ledger", `UPDATE ledger SET number = 2 WHERE number = 3`)
	brokenAt(t, b, "line 2 of the rank ledger does not follow", (*store.Tx).VerifyLedger)
}

func appendAudit(t *testing.T, b Base, acts ...string) (got []store.AuditLine) {
	t.Helper()
	for i, act := range acts {
		write(t, b, func(tx *store.Tx) error {
			a, err := tx.AppendAudit(store.AuditLine{At: store.Moment(i + 1), Person: "p1", Act: act, Subject: "g1", Allowed: i%2 == 0, Detail: `{"a":1}`})
			got = append(got, a)
			return err
		})
	}
	return got
}

func audit(t *testing.T, b Base) {
	same(t, read(t, b, (*store.Tx).VerifyAudit), store.Chain{})
	got := appendAudit(t, b, "open", "close", "sign")
	full(t, got[2])
	same(t, got[1].Allowed, false)
	last := func(before int64, limit int) []store.AuditLine {
		return read(t, b, func(tx *store.Tx) ([]store.AuditLine, error) { return tx.Audit(before, limit) })
	}
	same(t, last(0, 2), []store.AuditLine{got[2], got[1]})
	same(t, last(2, 9), got[:1])
	same(t, len(last(1, 9)), 0)
	same(t, read(t, b, (*store.Tx).VerifyAudit), store.Chain{Lines: 3, Head: got[2].Hash})
	keeps(t, b, `UPDATE audit SET person = 'p2'`, `DELETE FROM audit WHERE number = 3`)
	same(t, last(0, 9), []store.AuditLine{got[2], got[1], got[0]})
}

func auditTampered(t *testing.T, b Base) {
	got := appendAudit(t, b, "open", "close", "sign", "erase")
	for _, c := range []struct{ column, to, back string }{
		{"at", "9", "2"}, {"person", "'p2'", "'p1'"}, {"act", "'sign'", "'close'"}, {"subject", "''", "'g1'"},
		{"allowed", "1", "0"}, {"detail", "''", `'{"a":1}'`}, {"hash", "'x'", "'" + got[1].Hash + "'"}, {"previous", "'x'", "'" + got[0].Hash + "'"},
	} {
		t.Run(c.column, func(t *testing.T) {
			tamper(t, b, "audit", `UPDATE audit SET `+c.column+` = `+c.to+` WHERE number = 2`)
			brokenAt(t, b, "line 2 of the audit ", (*store.Tx).VerifyAudit)
			tamper(t, b, "audit", `UPDATE audit SET `+c.column+` = `+c.back+` WHERE number = 2`)
			same(t, read(t, b, (*store.Tx).VerifyAudit).Lines, 4)
		})
	}
	// A line whose hash was worked out anew no longer leads to the next one.
	forged := sha256.New()
	for _, f := range []string{got[0].Hash, "2", "2", "p1", "open", "g1", "0", `{"a":1}`} {
		fmt.Fprintf(forged, "%d:%s,", len(f), f)
	}
	tamper(t, b, "audit", fmt.Sprintf(`UPDATE audit SET act = 'open', hash = '%x' WHERE number = 2`, forged.Sum(nil)))
	brokenAt(t, b, "line 3 of the audit does not follow", (*store.Tx).VerifyAudit)
	tamper(t, b, "audit", `UPDATE audit SET act = 'close', hash = '`+got[1].Hash+`' WHERE number = 2`)
	// Without its last line the chain still holds: only a head kept elsewhere
	// tells.
	tamper(t, b, "audit", `DELETE FROM audit WHERE number = 4`)
	same(t, read(t, b, (*store.Tx).VerifyAudit), store.Chain{Lines: 3, Head: got[2].Hash})
	tamper(t, b, "audit", `DELETE FROM audit WHERE number = 1`)
	brokenAt(t, b, "line 1 of the audit is missing", (*store.Tx).VerifyAudit)
}
