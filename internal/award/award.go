// Package award words what a promotion says on paper. It turns the lines of
// the rank ledger into certificates and decides nothing: who gets one now and
// who later is the caller's choice.
package award

import (
	"cmp"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/words"
	"rankwright/promote"
)

// undyed stands for a belt whose syllabus names no colour.
const undyed = "#d9d2c3"

// Style is how a school's certificates look and what they say.
type Style struct {
	papers     app.Papers
	logo       *paper.Picture
	fonts      *paper.Fonts
	signatures map[string]*paper.Picture
}

// StyleOf makes a style from the school's choices and what it puts onto its
// papers.
func StyleOf(p app.Papers, files app.PaperFiles) (*Style, error) {
	s := &Style{papers: p, signatures: map[string]*paper.Picture{}}
	var err error
	if files.Logo != nil {
		if s.logo, err = paper.ReadPicture(files.Logo.Data); err != nil {
			return nil, err
		}
	}
	for name, f := range files.Signatures {
		if s.signatures[name], err = paper.ReadPicture(f.Data); err != nil {
			return nil, err
		}
	}
	if len(files.Fonts) > 0 {
		var more [][]byte
		for _, f := range files.Fonts {
			more = append(more, f.Data)
		}
		if s.fonts, err = paper.ShippedFonts().With(more...); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// Options are those of a document in this style.
func (s *Style) Options() paper.Options {
	o := paper.Options{Logo: s.logo, Fonts: s.fonts, Lang: string(s.say().Lang())}
	o.Design, _ = paper.ParseDesign(s.papers.Design)
	if s.papers.Letter {
		o.Paper = paper.Letter
	}
	if s.papers.Upright {
		o.Turn = paper.Portrait
	}
	return o
}

func (s *Style) say() *words.Say { return words.In(words.Lang(s.papers.Lang)) }

// Certificates returns a certificate for each promotion, in the order given.
// The head instructor who signed the grading signs it.
func (s *Style) Certificates(sc app.School, awards []app.Award) []paper.Certificate {
	say := sc.Say(s.say().Lang())
	out := make([]paper.Certificate, len(awards))
	for i, a := range awards {
		c := &out[i]
		*c = paper.Certificate{
			Student: a.Name, Rank: cmp.Or(a.Rank, a.Line.RankName), Belt: paper.Belt{Base: a.Belt.Hex, Tip: a.Belt.TipHex},
			School: sc.Name, Place: a.Grading.Place, Date: Date(say, a.Line.Day), Number: say.It("certificate.number", words.Set{Name: "Number", Value: a.Line.Certificate}),
			Title:      say.It("certificate.title"),
			Statement:  say.It("certificate.statement"),
			Signatures: []paper.Signature{{Name: a.Line.Signer, Role: say.It("certificate.head"), Picture: s.signatures[a.Line.Signer]}},
		}
		switch second := s.papers.Second; {
		case second == app.OwnWords:
			c.Second, c.SecondLang = s.papers.Own, s.papers.OwnLang
		case second != "" && second != string(say.Lang()):
			c.Second, c.SecondLang = words.In(words.Lang(second)).It("certificate.statement"), second
		}
		for _, x := range s.papers.Signers() {
			c.Signatures = append(c.Signatures, paper.Signature{Name: x.Name, Role: x.Role})
		}
		if c.Place == "" {
			c.Place = sc.Place
		}
		if c.Belt.Base == "" {
			c.Belt.Base = undyed
		}
		if promote.Commended(a.Line.Label) {
			c.Honour = say.It("certificate.commended")
		}
	}
	return out
}

// Date writes a day as a certificate has it, such as 10 October 2026 and
// 10 de octubre de 2026.
func Date(say *words.Say, d rankwright.Day) string { return say.Date(d) }
