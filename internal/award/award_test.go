package award_test

import (
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
		"a follow-up stays off the paper":         func(a *app.Award, c *paper.Certificate) { a.Line.Label = "with follow-up" },
		"a grading without a place is the town's": func(a *app.Award, c *paper.Certificate) { a.Grading.Place, c.Place = "", "Pellmarrow Quay" },
		"a belt without a colour is undyed": func(a *app.Award, c *paper.Certificate) {
			a.Belt, c.Belt = syllabus.Belt{}, paper.Belt{Base: "#d9d2c3"}
		},
	} {
		t.Run(name, func(t *testing.T) {
			a, c := change(to)
			got := award.Certificates(school, []app.Award{a})
			if len(got) != 1 || !reflect.DeepEqual(got[0], c) {
				t.Errorf("got  %+v\nwant %+v", got, c)
			}
			if f := paper.Check(got, paper.Options{}); len(f) > 0 {
				t.Errorf("it cannot be printed: %v", f)
			}
		})
	}
}
