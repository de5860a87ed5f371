package award_test

import (
	"bytes"
	"image"
	"image/png"
	"reflect"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/award"
	"rankwright/internal/paper"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

func TestCertificatesSayWhatTheLedgerSays(t *testing.T) {
	school := app.School{Name: "Otterlight", Place: "Pellmarrow Quay"}
	line := store.LedgerLine{RankName: "Amber", Day: rankwright.MustDay("2026-10-10"), Certificate: "2026-0007", Signer: "Sefanaia Lindqvist-Amoako"}
	plain := app.Award{Line: line, Name: "Linh-Đan Phùng", Belt: syllabus.Belt{Hex: "#e0a52e", TipHex: "#2f3a7d"}, Grading: store.Grading{Place: "The Netloft"}}
	want := paper.Certificate{
		Student: "Linh-Đan Phùng", Rank: "Amber", Belt: paper.Belt{Base: "#e0a52e", Tip: "#2f3a7d"}, School: "Otterlight", Place: "The Netloft",
		Date: "10 October 2026", Number: "No. 2026-0007", Title: "Certificate of rank",
		Statement:  "has shown what is asked, and is promoted to the rank of",
		Signatures: []paper.Signature{{Name: "Sefanaia Lindqvist-Amoako", Role: "Head instructor"}},
	}
	style, err := award.StyleOf(app.Papers{}, app.PaperFiles{})
	if err != nil {
		t.Fatal(err)
	}
	change := func(to func(a *app.Award, c *paper.Certificate)) (app.Award, paper.Certificate) {
		a, c := plain, want
		to(&a, &c)
		return a, c
	}
	for name, to := range map[string]func(a *app.Award, c *paper.Certificate){
		"a plain promotion": func(*app.Award, *paper.Certificate) {},
		"a commendation": func(a *app.Award, c *paper.Certificate) {
			a.Line.Label, c.Honour = "commendation", "with commendation"
		},
		"a rank's name in the language of certificates": func(a *app.Award, c *paper.Certificate) {
			a.Rank, c.Rank = "Ámbar", "Ámbar"
		},
		"a follow-up stays off the paper":         func(a *app.Award, c *paper.Certificate) { a.Line.Label = "with follow-up" },
		"a grading without a place is the town's": func(a *app.Award, c *paper.Certificate) { a.Grading.Place, c.Place = "", "Pellmarrow Quay" },
		"a belt without a colour is undyed": func(a *app.Award, c *paper.Certificate) {
			a.Belt, c.Belt = syllabus.Belt{}, paper.Belt{Base: "#d9d2c3"}
		},
	} {
		t.Run(name, func(t *testing.T) {
			a, c := change(to)
			got := style.Certificates(school, []app.Award{a})
			if len(got) != 1 || !reflect.DeepEqual(got[0], c) {
				t.Errorf("got  %+v\nwant %+v", got, c)
			}
			if f := paper.Check(got, paper.Options{}); len(f) > 0 {
				t.Errorf("it cannot be printed: %v", f)
			}
		})
	}
}

func TestASchoolChoosesHowItsCertificatesLook(t *testing.T) {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewNRGBA(image.Rect(0, 0, 30, 10))); err != nil {
		t.Fatal(err)
	}
	files := app.PaperFiles{Logo: &app.PaperFile{Data: b.Bytes()}, Signatures: map[string]app.PaperFile{"Sefanaia Lindqvist-Amoako": {Data: b.Bytes()}}}
	a := app.Award{Line: store.LedgerLine{RankName: "Amber", Day: rankwright.MustDay("2026-10-10"), Certificate: "2026-0007", Signer: "Sefanaia Lindqvist-Amoako", Label: "commendation"}, Name: "Linh-Đan Phùng"}
	make := func(p app.Papers) (paper.Certificate, paper.Options) {
		t.Helper()
		s, err := award.StyleOf(p, files)
		if err != nil {
			t.Fatal(err)
		}
		return s.Certificates(app.School{Name: "Otterlight"}, []app.Award{a})[0], s.Options()
	}
	c, o := make(app.Papers{Letter: true, Design: "band", Upright: true, Lang: "es", Second: "en", More: "Anahera Ropatini, Examiner\n\n Tomek Wielgosek"})
	if o.Paper != paper.Letter || o.Design != paper.Band || o.Turn != paper.Portrait || o.Lang != "es" || o.Logo == nil {
		t.Errorf("the document is %+v", o)
	}
	if c.Title != "Certificado de grado" || c.Date != "10 de octubre de 2026" || c.Honour != "con mención" || c.Number != "N.º 2026-0007" ||
		c.Second != "has shown what is asked, and is promoted to the rank of" || c.SecondLang != "en" {
		t.Errorf("in Spanish it says %+v", c)
	}
	if len(c.Signatures) != 3 || c.Signatures[0].Picture == nil || c.Signatures[1] != (paper.Signature{Name: "Anahera Ropatini", Role: "Examiner"}) || c.Signatures[2] != (paper.Signature{Name: "Tomek Wielgosek"}) {
		t.Errorf("signed by %+v", c.Signatures)
	}
	c, _ = make(app.Papers{Second: app.OwnWords, Own: "đã đạt mọi yêu cầu", OwnLang: "vi"})
	if c.Second != "đã đạt mọi yêu cầu" || c.SecondLang != "vi" {
		t.Errorf("the second line is %q in %q", c.Second, c.SecondLang)
	}
	if c, _ = make(app.Papers{Lang: "es", Second: "es"}); c.Second != "" {
		t.Errorf("the same words stand there twice: %q", c.Second)
	}
	a.Line.Signer = "Somebody Else"
	if c, _ = make(app.Papers{}); c.Signatures[0].Picture != nil {
		t.Error("another's signature stands above the name")
	}
	if _, err := award.StyleOf(app.Papers{}, app.PaperFiles{Fonts: []app.PaperFile{{Data: []byte("no font")}}}); err == nil {
		t.Error("a font that is none is taken")
	}
}
