package store

import "rankwright"

const ledgerColumns = `number, student, grading, entry, rank, rank_name, day, version, version_hash, certificate, label, follow_up,
	signer, at, previous, hash`

func readLedger(r row) (l LedgerLine, err error) {
	err = r.Scan(&l.No, &l.Student, &l.Grading, &l.Entry, &l.Rank, &l.RankName, dayColumn{&l.Day}, &l.Version, &l.VersionHash,
		&l.Certificate, &l.Label, dayColumn{&l.FollowUp}, &l.Signer, &l.At, &l.Previous, &l.Hash)
	return l, err
}

func (l *LedgerLine) seal() string {
	return link(l.Previous, l.No, l.Student, l.Grading, l.Entry, l.Rank, l.RankName, l.Day, l.Version, l.VersionHash,
		l.Certificate, l.Label, l.FollowUp, l.Signer, int64(l.At))
}

// AppendLedger adds promotions to the rank ledger for ever and returns them
// with No, Previous and Hash. An entry is promoted once, and a certificate
// number is given once.
func (t *Tx) AppendLedger(lines []LedgerLine) ([]LedgerLine, error) {
	end, _, err := maybe(t, readHead, `SELECT number, hash FROM ledger ORDER BY number DESC LIMIT 1`)
	if err != nil {
		return nil, err
	}
	out := make([]LedgerLine, len(lines))
	for i, l := range lines {
		l.No, l.Previous = end.Lines+1, end.Head
		l.Hash = l.seal()
		end = Chain{l.No, l.Hash}
		_, err := t.exec(`INSERT INTO ledger (`+ledgerColumns+`)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`,
			l.No, l.Student, l.Grading, l.Entry, l.Rank, l.RankName, l.Day, l.Version, l.VersionHash, l.Certificate, l.Label, l.FollowUp,
			l.Signer, l.At, l.Previous, l.Hash)
		err = reword(err, "taken", rankwright.Faultf(rankwright.Conflict, "promoted", "look at the rank ledger",
			"the entry %q was promoted before, or the certificate number %q was given before", string(l.Entry), l.Certificate))
		if err = reword(err, "in_use", missing("student", l.Student)); err != nil {
			return nil, err
		}
		out[i] = l
	}
	return out, nil
}

// Ledger returns the whole rank ledger in its order.
func (t *Tx) Ledger() ([]LedgerLine, error) {
	return list(t, readLedger, `SELECT `+ledgerColumns+` FROM ledger ORDER BY number`)
}

// LedgerOf returns the promotions of a student in their order.
func (t *Tx) LedgerOf(student rankwright.StudentID) ([]LedgerLine, error) {
	return list(t, readLedger, `SELECT `+ledgerColumns+` FROM ledger WHERE student = $1 ORDER BY number`, student)
}

// LedgerOfGrading returns the promotions of a grading in their order.
func (t *Tx) LedgerOfGrading(grading rankwright.GradingID) ([]LedgerLine, error) {
	return list(t, readLedger, `SELECT `+ledgerColumns+` FROM ledger WHERE grading = $1 ORDER BY number`, grading)
}

// VerifyLedger works out every hash of the rank ledger anew and names the
// first line that was changed, removed or put in.
func (t *Tx) VerifyLedger() (Chain, error) {
	return follow("rank ledger", func(no int64, limit int) ([]chained, error) {
		return list(t, func(r row) (chained, error) {
			l, err := readLedger(r)
			return chained{l.No, l.Previous, l.Hash, l.seal()}, err
		}, `SELECT `+ledgerColumns+` FROM ledger WHERE number > $1 ORDER BY number LIMIT $2`, no, limit)
	})
}
