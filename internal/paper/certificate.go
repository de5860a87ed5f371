package paper

import (
	"fmt"
	"io"

	"rankwright"
	"rankwright/internal/paper/pdf"
)

// A Certificate is one promotion on one page. Every text is printed as it is
// given: dates, the number and its "No." are worded by the caller.
type Certificate struct {
	Student string
	Rank    string
	Belt    Belt
	School  string
	Place   string
	Date    string
	Number  string
	// Title heads the page, such as "Certificate of rank".
	Title string
	// Statement stands under the name and leads to the rank.
	Statement string
	// Second is the statement in a second language; optional.
	Second     string
	SecondLang string
	// Honour is a distinction such as "with commendation"; optional.
	Honour string
	// Signatures are at most four.
	Signatures []Signature
}

// Belt is a belt's colours as #rrggbb. The tip is optional.
type Belt struct{ Base, Tip string }

// Signature is a line to sign on, with the picture of the signature where it is
// to be printed.
type Signature struct {
	Name, Role string
	Picture    *Picture
}

const maxSignatures = 4

// Unsettable reports every text for which the fonts have no shapes, naming
// the student and the characters. Nil fonts are the shipped ones.
func Unsettable(fonts *Fonts, certs []Certificate) rankwright.Faults {
	if fonts == nil {
		fonts = ShippedFonts()
	}
	var faults rankwright.Faults
	setter := pdf.NewSetter("")
	for _, c := range certs {
		faults = append(faults, c.unsettable(fonts, setter)...)
	}
	return faults
}

func (c Certificate) unsettable(fonts *Fonts, setter *pdf.Setter) rankwright.Faults {
	var faults rankwright.Faults
	whose := fmt.Sprintf(" on the certificate of %q", c.Student)
	check := func(face *pdf.Typeface, what, whose, text string) {
		if f := unsettable(setter, face, what, whose, text); f != nil {
			faults = append(faults, f)
		}
	}
	check(fonts.serifBold, fmt.Sprintf("the name %q", c.Student), "", c.Student)
	check(fonts.serifBold, "the rank", whose, c.Rank)
	check(fonts.sansBold, "the school's name", whose, c.School)
	check(fonts.serif, "the title", whose, c.Title)
	check(fonts.sans, "the statement", whose, c.Statement)
	check(fonts.sans, "the second statement", whose, c.Second)
	check(fonts.serifBold, "the honour", whose, c.Honour)
	check(fonts.sans, "the place", whose, c.Place)
	check(fonts.sans, "the date", whose, c.Date)
	check(fonts.sans, "the number", whose, c.Number)
	for _, s := range c.Signatures {
		check(fonts.sansBold, fmt.Sprintf("the signature %q", s.Name), whose, s.Name)
		check(fonts.sans, fmt.Sprintf("the role %q", s.Role), whose, s.Role)
	}
	return faults
}

// Check reports everything that would stop WriteCertificates.
func Check(certs []Certificate, opt Options) rankwright.Faults {
	_, faults := lay(certs, opt, pdf.NewSetter(opt.Lang))
	return faults
}

// WriteCertificates writes one page for each certificate, or nothing and all
// the Faults that stand in the way.
func WriteCertificates(w io.Writer, certs []Certificate, opt Options) error {
	if len(certs) == 0 {
		return rankwright.Faultf(rankwright.Invalid, "empty", "choose at least one promotion",
			"there is no certificate to print")
	}
	info := pdf.Info{Title: certs[0].Title, Author: certs[0].School, Lang: opt.Lang, Plain: opt.Plain}
	if len(certs) == 1 {
		info.Title = certs[0].Title + " – " + certs[0].Student
	}
	doc := pdf.New(info)
	plans, faults := lay(certs, opt, doc.Setter())
	if err := faults.Err(); err != nil {
		return err
	}
	width, height := opt.size(Landscape)
	for _, plan := range plans {
		plan.draw(doc, doc.Page(width, height))
	}
	return doc.Write(w)
}

// lay plans every page, and finds all faults on the way.
func lay(certs []Certificate, opt Options, setter *pdf.Setter) ([]*plan, rankwright.Faults) {
	fonts := opt.fonts()
	width, height := opt.size(Landscape)
	var plans []*plan
	var faults rankwright.Faults
	for i, c := range certs {
		own := c.faults(i)
		own = append(own, c.unsettable(fonts, setter)...)
		if len(own) == 0 {
			p := planCertificate(c, opt, setter, width, height)
			plans = append(plans, p)
			own = p.tooLong(c)
		}
		faults = append(faults, own...)
	}
	return plans, faults
}

// faults reports what is missing or wrong before any layout.
func (c Certificate) faults(i int) rankwright.Faults {
	var faults rankwright.Faults
	add := func(code, do, say string, args ...any) {
		faults = append(faults, rankwright.Faultf(rankwright.Invalid, code, do, say, args...))
	}
	who := fmt.Sprintf("the certificate of %q", c.Student)
	if blank(c.Student) {
		who = fmt.Sprintf("certificate %d", i+1)
		add("no_name", "give the student's full name", "%s has no name", who)
	}
	if blank(c.Rank) {
		add("no_rank", "give the rank's name", "%s names no rank", who)
	}
	if _, ok := pdf.ParseRGB(c.Belt.Base); !ok {
		add("bad_colour", "write the belt's colour as #rrggbb, such as #2b5d8a",
			"%s has the belt colour %q, which is not a colour", who, c.Belt.Base)
	}
	if _, ok := pdf.ParseRGB(c.Belt.Tip); !ok && c.Belt.Tip != "" {
		add("bad_colour", "write the tip's colour as #rrggbb, or leave it empty",
			"%s has the tip colour %q, which is not a colour", who, c.Belt.Tip)
	}
	if n := len(c.Signatures); n > maxSignatures {
		add("too_many_signatures", "keep the ones that matter most",
			"%s has %d signatures and room for %d", who, n, maxSignatures)
	}
	return faults
}

func (p *plan) tooLong(c Certificate) rankwright.Faults {
	var faults rankwright.Faults
	for _, piece := range p.pieces {
		if !piece.fits {
			faults = append(faults, rankwright.Faultf(rankwright.Invalid, "too_long", "shorten it",
				"%s on the certificate of %q is too long to be printed in readable letters", piece.what, c.Student))
		}
	}
	return faults
}
