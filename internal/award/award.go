// Package award words what a promotion says on paper. It turns the lines of
// the rank ledger into certificates and decides nothing: who gets one now and
// who later is the caller's choice.
package award

import (
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/promote"
)

// undyed stands for a belt whose syllabus names no colour.
const undyed = "#d9d2c3"

// Certificates returns a certificate for each promotion, in the order given.
// The head instructor who signed the grading signs it.
func Certificates(sc app.School, awards []app.Award) []paper.Certificate {
	out := make([]paper.Certificate, len(awards))
	for i, a := range awards {
		c := &out[i]
		*c = paper.Certificate{
			Student: a.Name, Rank: a.Line.RankName, Belt: paper.Belt{Base: a.Belt.Hex, Tip: a.Belt.TipHex},
			School: sc.Name, Place: a.Grading.Place, Date: Date(a.Line.Day), Number: "No. " + a.Line.Certificate,
			Title:      "Certificate of rank",
			Statement:  "has shown what is asked, and is promoted to the rank of",
			Signatures: []paper.Signature{{Name: a.Line.Signer, Role: "Head instructor"}},
		}
		if c.Place == "" {
			c.Place = sc.Place
		}
		if c.Belt.Base == "" {
			c.Belt.Base = undyed
		}
		if promote.Commended(a.Line.Label) {
			c.Honour = "with commendation"
		}
	}
	return out
}

// Date writes a day as a certificate has it, such as 10 October 2026.
func Date(d rankwright.Day) string {
	_, rest, _ := strings.Cut(d.Long(), " ")
	return rest
}
