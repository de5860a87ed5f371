package store

import "math"

const auditColumns = `number, at, person, act, subject, allowed, detail, previous, hash`

func readAudit(r row) (a AuditLine, err error) {
	err = r.Scan(&a.No, &a.At, &a.Person, &a.Act, &a.Subject, &a.Allowed, &a.Detail, &a.Previous, &a.Hash)
	return a, err
}

func (a *AuditLine) seal() string {
	return link(a.Previous, a.No, int64(a.At), a.Person, a.Act, a.Subject, a.Allowed, a.Detail)
}

// AppendAudit keeps an act for ever and returns its line with No, Previous
// and Hash. A line written in a transaction that is rolled back is gone:
// write refusals in one of their own.
func (t *Tx) AppendAudit(a AuditLine) (AuditLine, error) {
	end, err := Once(t, "the end of the audit", func() (*Chain, error) {
		c, _, err := maybe(t, readHead, `SELECT number, hash FROM audit ORDER BY number DESC LIMIT 1`)
		return &c, err
	})
	if err != nil {
		return AuditLine{}, err
	}
	a.No, a.Previous = end.Lines+1, end.Head
	a.Hash = a.seal()
	_, err = t.exec(`INSERT INTO audit (`+auditColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		a.No, a.At, a.Person, a.Act, a.Subject, a.Allowed, a.Detail, a.Previous, a.Hash)
	if err == nil {
		*end = Chain{a.No, a.Hash}
	}
	return a, err
}

// Audit returns the lines before a number, the latest first, at most limit of
// them; before 0 is from the latest on.
func (t *Tx) Audit(before int64, limit int) ([]AuditLine, error) {
	if before <= 0 {
		before = math.MaxInt64
	}
	return list(t, readAudit, `SELECT `+auditColumns+` FROM audit WHERE number < $1 ORDER BY number DESC LIMIT $2`, before, limit)
}

// VerifyAudit works out every hash of the audit anew and names the first line
// that was changed, removed or put in.
func (t *Tx) VerifyAudit() (Chain, error) {
	return follow("audit", func(no int64, limit int) ([]chained, error) {
		return list(t, func(r row) (chained, error) {
			a, err := readAudit(r)
			return chained{a.No, a.Previous, a.Hash, a.seal()}, err
		}, `SELECT `+auditColumns+` FROM audit WHERE number > $1 ORDER BY number LIMIT $2`, no, limit)
	})
}
