package app_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/promote"
	"rankwright/scoring"
)

const threeSizes = `student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank,belt_size,shirt_size,said
1,Ari,Abara,2017-03-03,h1,seen,,2026-02-01,30,200,128,AH-ree
2,Bo,Bakker,2018-03-03,h2,seen,,2026-02-01,30,2 m,M,
3,Cy,Costa,2016-03-03,h3,seen,,2026-02-01,30,3,,
`

// newSupply is a grading that Ari and Bo pass and Cy is held at.
func newSupply(t *testing.T) (s *apptest.School, g rankwright.GradingID, entry map[string]rankwright.EntryID, sign func()) {
	t.Helper()
	s = apptest.New(t)
	must := func(errs ...error) {
		t.Helper()
		for _, err := range errs {
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	text := strings.Replace(seenBefore, "pass: {total: 50%}", "clearances: {fee: Fee settled}\npass: {total: 50%}", 1)
	text = strings.Replace(text, "    belt: {colour: black", "    clearances: [fee]\n    belt: {colour: black", 1)
	d, _, err := s.App.SaveDraft(s.Ctx(), s.Owner, text)
	must(err)
	_, err = s.App.Publish(s.Ctx(), s.Owner, d.Ladder)
	must(err)
	s.Import(threeSizes)
	made, err := s.App.CreateGrading(s.Ctx(), s.Owner, app.NewGrading{Title: "Autumn", Day: rankwright.MustDay("2026-10-10"), Ladder: "seen"})
	must(err)
	g = made.ID
	for _, id := range []rankwright.StudentID{"1", "2", "3"} {
		must(s.App.EnterAnyway(s.Ctx(), s.Owner, g, id, "for the test"))
	}
	v, err := s.App.Grading(s.Ctx(), s.Owner, g)
	must(err)
	entry = map[string]rankwright.EntryID{}
	for _, e := range v.Entries {
		entry[e.Student.GivenName] = e.Entry.ID
	}
	return s, g, entry, func() {
		t.Helper()
		s.At("2026-10-10")
		var marks []scoring.Mark
		for _, e := range entry {
			for q, n := range map[rankwright.RequirementID]int{"nails": 1, "word": 4, "form": 1} {
				marks = append(marks, scoring.Mark{Entry: e, Requirement: q, Value: scoring.N(n)})
			}
		}
		must(s.App.SetPanel(s.Ctx(), s.Owner, g, []string{s.Owner.ID}, s.Owner.ID), s.App.Move(s.Ctx(), s.Owner, g, app.OnTheMat))
		_, err := s.App.AddMarks(s.Ctx(), s.Owner, g, marks)
		must(err, s.App.SetClearance(s.Ctx(), s.Owner, entry["Ari"], "fee", true), s.App.SetClearance(s.Ctx(), s.Owner, entry["Bo"], "fee", true),
			s.App.Move(s.Ctx(), s.Owner, g, app.Deciding), s.App.Sign(s.Ctx(), s.Owner, g, ""))
	}
}

func TestBeltsAreCountedOrderedAndHandedOutOnce(t *testing.T) {
	s, g, entry, sign := newSupply(t)
	desk := s.Person("Dana Desk", app.Assistant, "")
	black := promote.Article{Kind: promote.Belt, Item: "black", Size: "200"}
	order := func() (v app.SupplyView, said string) {
		t.Helper()
		v, err := s.App.Supply(s.Ctx(), desk, nil)
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, l := range v.Lines {
			out = append(out, strings.Join([]string{l.String(), strings.Join(l.For, "+"), string(rune('0' + l.Order))}, " "))
		}
		for _, l := range v.Lacks {
			out = append(out, "no size: "+l.Name+" "+string(l.Kind)+" "+l.Size)
		}
		return v, strings.Join(out, "; ")
	}
	wants := func(want string) {
		t.Helper()
		if _, got := order(); got != want {
			t.Errorf("the order is %q, want %q", got, want)
		}
	}
	refused := func(err error, code string) {
		t.Helper()
		if f, ok := err.(*rankwright.Fault); !ok || f.Code != code {
			t.Errorf("it says %v, want %s", err, code)
		}
	}
	must := func(errs ...error) {
		t.Helper()
		for _, err := range errs {
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	wants("black belt, 200 cm Ari Abara+Bo Bakker 2; no size: Cy Costa belt 3")
	must(s.App.SetSupply(s.Ctx(), desk, app.SupplyRules{Shirts: "first", Numbers: "3 = 200", SpareBelts: 1}))
	wants("black belt, 200 cm Ari Abara+Bo Bakker+Cy Costa 4; shirt, size 128 Ari Abara 1; shirt, size M Bo Bakker 1; no size: Cy Costa shirt ")
	refused(s.App.SetSupply(s.Ctx(), desk, app.SupplyRules{Numbers: "3 = 260\n4"}), "bad_numbers")

	// One lies on the shelf; what is to be ordered is ordered once.
	must(s.App.CountStock(s.Ctx(), desk, promote.Stock{Article: black}, promote.Stock{Article: black, Shelf: 1}))
	refused(s.App.CountStock(s.Ctx(), desk, promote.Stock{Article: black}, promote.Stock{Article: black, Shelf: 7}), "counted")
	v, _ := order()
	stale := v.Seen
	must(s.App.SetSupply(s.Ctx(), desk, app.SupplyRules{Numbers: "3 = 200"}))
	wants("black belt, 200 cm Ari Abara+Bo Bakker+Cy Costa 2")
	refused(s.App.Ordered(s.Ctx(), desk, nil, stale), "order_changed")
	v, _ = order()
	must(s.App.Ordered(s.Ctx(), desk, nil, v.Seen))
	wants("black belt, 200 cm Ari Abara+Bo Bakker+Cy Costa 0")
	refused(s.App.Ordered(s.Ctx(), desk, nil, v.Seen), "order_changed")
	refused(s.App.Arrived(s.Ctx(), desk, black, 3), "bad_arrived")
	must(s.App.Arrived(s.Ctx(), desk, black, 1))
	stock := func(shelf, coming int) {
		t.Helper()
		v, _ := order()
		if len(v.Stock) != 1 || v.Stock[0].Shelf != shelf || v.Stock[0].Coming != coming {
			t.Errorf("in stock: %+v, want %d and %d", v.Stock, shelf, coming)
		}
	}
	stock(2, 1)

	_, err := s.App.HandOut(s.Ctx(), desk, g, "", "")
	refused(err, "nothing_to_hand") // nobody is promoted yet
	sign()
	// Cy's promotion waits, and so does a belt.
	list, err := s.App.HandingOut(s.Ctx(), desk, g)
	must(err)
	if len(list) != 2 || list[0].Name != "Bo Bakker" || list[1].Name != "Ari Abara" {
		t.Fatalf("in the order in which they are read out, the youngest first: %+v", list)
	}
	n, err := s.App.HandOut(s.Ctx(), desk, g, entry["Ari"], "")
	must(err)
	if n != 1 {
		t.Errorf("%d things were handed out", n)
	}
	stock(1, 1)
	_, err = s.App.HandOut(s.Ctx(), desk, g, entry["Ari"], promote.Belt)
	refused(err, "nothing_to_hand")
	stock(1, 1)
	wants("black belt, 200 cm Bo Bakker+Cy Costa 0")
	must(s.App.TakeBack(s.Ctx(), desk, g, entry["Ari"], promote.Belt))
	refused(s.App.TakeBack(s.Ctx(), desk, g, entry["Ari"], promote.Belt), "not_handed")
	stock(2, 1)
	must(s.App.CountStock(s.Ctx(), desk, promote.Stock{Article: black, Shelf: 2, Coming: 1}, promote.Stock{Article: black, Shelf: 1}))
	// Two are given and one was counted: the other came from elsewhere, and going
	// back it does not lie on the shelf.
	n, err = s.App.HandOut(s.Ctx(), desk, g, "", "")
	must(err)
	if v, _ = order(); n != 2 || len(v.Stock) != 0 {
		t.Errorf("%d handed out, in stock %+v", n, v.Stock)
	}
	must(s.App.TakeBack(s.Ctx(), desk, g, entry["Ari"], promote.Belt), s.App.TakeBack(s.Ctx(), desk, g, entry["Bo"], promote.Belt))
	stock(1, 0)

	must(s.App.SetClearance(s.Ctx(), desk, entry["Cy"], "fee", true), s.App.Release(s.Ctx(), s.Owner, entry["Cy"]))
	awards, err := s.App.Awards(s.Ctx(), desk, g, "")
	must(err)
	var names []string
	for _, a := range awards {
		names = append(names, a.Name+" "+a.Said)
	}
	if got := strings.Join(names, ", "); got != "Bo Bakker , Ari Abara AH-ree, Cy Costa " {
		t.Errorf("they are read out as %q", got)
	}
	_, err = s.App.HandOut(s.Ctx(), desk, g, entry["Cy"], "")
	must(err)
	if e, err := s.App.ExportStudent(s.Ctx(), s.Owner, "3"); err != nil || len(e.HandedOut) != 1 || e.HandedOut[0].Item != "black" {
		t.Errorf("what Cy was given is not given out with the rest: %+v, %v", e.HandedOut, err)
	}
	must(s.App.TakeBack(s.Ctx(), desk, g, entry["Cy"], promote.Belt))
	must(s.App.EraseStudent(s.Ctx(), s.Owner, "2"))
	wants("black belt, 200 cm Ari Abara+Cy Costa 1")
}

func TestASignatureIsItsOwnersAndPapersAreTheHeadInstructors(t *testing.T) {
	s := apptest.New(t)
	desk, coach := s.Person("Dana Desk", app.Assistant, ""), s.Person("Cora Coach", app.Instructor, "")
	other := s.Person("Olu Other", app.Owner, "")
	hand := app.PaperFile{Kind: app.SignatureFile, Owner: other.ID, Name: "hand.png", Media: "image/png", Data: []byte{1}}
	for _, who := range []app.Actor{desk, coach, {}} {
		if err := s.App.KeepPaperFile(s.Ctx(), who, hand); err == nil {
			t.Errorf("%q puts in a signature", who.Role)
		}
		if err := s.App.SetPapers(s.Ctx(), who, app.Papers{}); err == nil {
			t.Errorf("%q says how papers look", who.Role)
		}
	}
	if err := s.App.KeepPaperFile(s.Ctx(), s.Owner, hand); err != nil {
		t.Fatal(err)
	}
	files, err := s.App.PaperFiles(s.Ctx(), desk)
	if f, ok := files.Signatures[s.Owner.Name]; err != nil || !ok || f.Owner != s.Owner.ID || len(files.Signatures) != 1 {
		t.Errorf("whoever puts in a signature puts in their own: %+v, %v", files.Signatures, err)
	}
	for _, tt := range []struct {
		name string
		p    app.Papers
		code string
	}{
		{"a language that is not there", app.Papers{Lang: "tlh"}, "bad_lang"},
		{"a second language that is not there", app.Papers{Second: "tlh"}, "bad_second"},
		{"own words that are not written", app.Papers{Second: app.OwnWords, Own: " "}, "bad_own"},
		{"own words of a page", app.Papers{Own: strings.Repeat("x", 300)}, "bad_own"},
		{"a tag that is none", app.Papers{OwnLang: "in Welsh"}, "bad_own_lang"},
		{"a crowd that signs", app.Papers{More: "a\nb\nc\nd"}, "bad_more"},
	} {
		if f, ok := s.App.SetPapers(s.Ctx(), s.Owner, tt.p).(*rankwright.Fault); !ok || f.Code != tt.code {
			t.Errorf("%s: %v", tt.name, f)
		}
	}
	want := app.Papers{Letter: true, Design: "band", Second: app.OwnWords, Own: "đã đạt", OwnLang: "vi", More: "Anahera Ropatini, Examiner"}
	if err := s.App.SetPapers(s.Ctx(), s.Owner, want); err != nil {
		t.Fatal(err)
	}
	if got, err := s.App.Papers(s.Ctx()); err != nil || got != want {
		t.Errorf("kept are %+v, %v", got, err)
	}
}
