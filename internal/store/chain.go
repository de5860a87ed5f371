package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"rankwright"
)

// Chain is the end of a chain of lines. Cutting off its last lines, or
// writing all of it anew, can be told only by a head that was kept elsewhere.
type Chain struct {
	Lines int64
	Head  string // hash of the last line, "" where there is none
}

// link hashes the fields of a line: SHA-256 over each field written as its
// length in bytes, a colon, the field and a comma (netstrings, D. J. Bernstein
// 1997), so that no two lists of fields read alike. Days are ISO 8601, numbers
// decimal, yes and no are 1 and 0.
func link(fields ...any) string {
	h := sha256.New()
	for _, f := range fields {
		if b, ok := f.(bool); ok {
			f = 0
			if b {
				f = 1
			}
		}
		s := fmt.Sprint(f)
		fmt.Fprintf(h, "%d:%s,", len(s), s)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// chained is a line as its chain sees it.
type chained struct {
	no             int64
	previous, hash string
	again          string // the hash worked out anew
}

const linesAtOnce = 1000

// follow walks a chain from its first line to its last and stops at the first
// one that does not fit.
func follow(what string, after func(no int64, limit int) ([]chained, error)) (Chain, error) {
	var end Chain
	for {
		lines, err := after(end.Lines, linesAtOnce)
		if err != nil {
			return end, err
		}
		for _, l := range lines {
			switch want := end.Lines + 1; {
			case l.no != want:
				return end, broken(what, want, "is missing")
			case l.previous != end.Head:
				return end, broken(what, want, "does not follow the line before it")
			case l.hash != l.again:
				return end, broken(what, want, "is not as it was written")
			}
			end = Chain{l.no, l.hash}
		}
		if len(lines) < linesAtOnce {
			return end, nil
		}
	}
}

func broken(what string, no int64, how string) *rankwright.Fault {
	return rankwright.Faultf(rankwright.Conflict, "broken_chain", "compare with a backup to see what was changed",
		"line %d of the %s %s: somebody changed the base behind this program", no, what, how)
}

func readHead(r row) (c Chain, err error) {
	err = r.Scan(&c.Lines, &c.Head)
	return c, err
}
