package app_test

import (
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/wording"
	"rankwright/internal/words"
	"rankwright/scoring"
)

// newSigned is a signed grading with a child of each outcome: Ayotomi and
// Naveed are promoted, Inti is absent, Zofia shows a fall and the promise
// again, Igor lacks his papers, Linh-Đan was stopped, Kwabena shows a section
// again by the head instructor's word, and Hanae all of it.
func newSigned(t *testing.T) *families {
	t.Helper()
	f := newFamilies(t)
	_, _, err := f.App.Letters(f.Ctx(), f.Owner, f.g, app.LetterChoice{})
	f.fails("not_signed", err)
	f.At("2026-10-10")
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.OnTheMat))
	v, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	short := map[rankwright.RequirementID]int{"AM-BF1": 0, "AM-PR1": 0}
	var marks []scoring.Mark
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		for i := range k.Requirements {
			q := &k.Requirements[i]
			n := best(q)
			if x, ok := short[q.ID]; ok && e.Student.ID == "a3" {
				n = x
			}
			if !q.Bonus {
				marks = append(marks, scoring.Mark{Entry: e.Entry.ID, Requirement: q.ID, Value: scoring.N(n)})
			}
		}
		if e.Student.ID != "a4" {
			f.must(f.App.SetClearance(f.Ctx(), f.Owner, e.Entry.ID, "consent", true))
			f.must(f.App.SetClearance(f.Ctx(), f.Owner, e.Entry.ID, "home_note", true))
		}
	}
	_, err = f.App.AddMarks(f.Ctx(), f.Owner, f.g, marks)
	f.must(err)
	f.must(f.App.SetPresence(f.Ctx(), f.Owner, f.entry["a2"], "absent"))
	f.must(f.App.SetPresence(f.Ctx(), f.Owner, f.entry["a5"], "stopped"))
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.Deciding))
	f.must(f.App.Override(f.Ctx(), f.Owner, f.entry["a6"], "not_yet", "seen with Tomek", []string{"SM"}))
	f.must(f.App.Override(f.Ctx(), f.Owner, f.entry["a7"], "not_yet", "seen with Tomek", nil))
	f.must(f.App.Sign(f.Ctx(), f.Owner, f.g, ""))
	next, err := f.App.CreateGrading(f.Ctx(), f.Owner, app.NewGrading{Title: "Winter grading", Day: rankwright.MustDay("2026-12-12"), Ladder: "youth"})
	f.must(err)
	like := app.LikeUsual()
	_, err = f.App.AddSession(f.Ctx(), f.Owner, next.ID, app.SittingsRow{Day: rankwright.MustDay("2026-12-16"), From: 17 * 60, Until: 18 * 60, MakeUp: true, Mats: []string{"A"}, Minutes: 40, Like: like})
	f.must(err)
	return f
}

func (f *families) letters(want app.LetterChoice) []app.ResultLetter {
	f.t.Helper()
	_, list, err := f.App.Letters(f.Ctx(), f.Owner, f.g, want)
	f.must(err)
	return list
}

func TestEachOutcomeHasItsLetter(t *testing.T) {
	f := newSigned(t)
	for _, tt := range []struct {
		student rankwright.StudentID
		kind    wording.Kind
		says    []string
		not     []string
		caution []string
	}{
		{"a1", wording.Promoted, []string{"Ayotomi showed what Reed asks", "This went especially well:\n- "}, []string{"once more", "Winter"}, nil},
		{"a2", wording.Absent, []string{"Inti was not examined", "Nothing is lost", "- Winter grading: Saturday 12 December 2026\n- Winter grading, make-up date: Wednesday 16 December 2026\n"}, []string{"went well"}, nil},
		{"a3", wording.NotYet, []string{"This is shown again:\n- Promise\n- Settle-back from a squat\n", "until Saturday 2 January 2027", "home, a few minutes a day:\n- Club promise – say it from memory\n",
			"class only:\n- Settle-back from a squat\n", "- Winter grading: Saturday 12 December 2026"}, []string{"Settle-back from a squat –"}, []string{"Falls, throws and work with a partner are for class", "After a knock to the head: stop."}},
		{"a4", wording.Held, []string{"Nothing has to be shown again", "settled:\n- Guardian's tick: fit, consent, collection – read and sign it on the page of your family, or at the desk\n- Home note handed in – read and sign"}, []string{"shown again:"}, nil},
		{"a5", wording.Stopped, []string{"This is not a result"}, []string{"went well", "shown again"}, []string{"a health professional is seen first"}},
		{"a6", wording.NotYet, []string{"This is shown again:\n- Stance and movement\n", "- Four half-turns with guard – alone and slowly, a few times\n- Tide pattern, first eight moves – say the steps from memory, then do them\n"}, []string{"class only"}, []string{"Clear some room", "Exercise stops"}},
		{"a7", wording.NotYet, []string{"- All of Slate: we practise it together"}, []string{"It can be shown until", "a few minutes a day"}, nil},
	} {
		x := f.letters(app.LetterChoice{Entry: f.entry[tt.student]})[0]
		text := x.Words.Plain()
		if x.Kind != tt.kind || x.Lang != words.English {
			t.Errorf("%s: %s in %s", tt.student, x.Kind, x.Lang)
		}
		for _, s := range tt.says {
			if !strings.Contains(text, s) {
				t.Errorf("%s: the letter does not say %q:\n%s", tt.student, s, text)
			}
		}
		for _, s := range tt.not {
			if strings.Contains(text, s) {
				t.Errorf("%s: the letter says %q:\n%s", tt.student, s, text)
			}
		}
		if cautions := strings.Join(x.Cautions, " "); (len(tt.caution) == 0) != (cautions == "") || cautions != "" && x.CautionTitle == "" {
			t.Errorf("%s: cautions %q", tt.student, cautions)
		}
		for _, s := range tt.caution {
			if !slices.ContainsFunc(x.Cautions, func(c string) bool { return strings.HasPrefix(c, s) || strings.Contains(c, s) }) {
				t.Errorf("%s: no caution %q among %q", tt.student, s, x.Cautions)
			}
		}
		if x.Signed != "Signed by Sefanaia Lindqvist-Amoako on Saturday 10 October 2026." {
			t.Errorf("%s: %q", tt.student, x.Signed)
		}
	}
}

// Whoever gets a letter learns nothing of another child, and brothers and
// sisters are neighbours.
func TestLettersNameNobodyElseAndSiblingsAreNeighbours(t *testing.T) {
	f := newSigned(t)
	all := f.letters(app.LetterChoice{Second: words.Spanish})
	if len(all) != 16 {
		t.Fatalf("%d letters for eight children in two languages", len(all))
	}
	ended := map[rankwright.HouseholdID]bool{}
	for i, x := range all {
		if i > 0 && all[i-1].Household != x.Household {
			ended[all[i-1].Household] = true
		}
		if ended[x.Household] {
			t.Errorf("the letters of %s are apart", x.Household)
		}
		if want := []words.Lang{words.English, words.Spanish}[i%2]; x.Lang != want || i%2 == 1 && all[i-1].Entry.Entry.ID != x.Entry.Entry.ID {
			t.Errorf("letter %d is in %s", i, x.Lang)
		}
		text := x.Words.Subject + "\n" + x.Words.Plain()
		for _, y := range all {
			if given := y.Entry.Student.GivenName; y.Entry.Entry.ID != x.Entry.Entry.ID && strings.Contains(text, given) {
				t.Errorf("the letter of %s names %s:\n%s", x.Entry.Student.GivenName, given, text)
			}
		}
		if strings.ContainsAny(text, "%{}") || strings.Contains(text, " of 8") {
			t.Errorf("the letter of %s counts something:\n%s", x.Entry.Student.GivenName, text)
		}
	}
	if two := f.letters(app.LetterChoice{Household: "h4"}); len(two) != 2 || two[0].Family != two[1].Family {
		t.Errorf("%d letters for the two of h4", len(two))
	}
	f.must(f.App.SetLanguage(f.Ctx(), f.desk, "h4", words.Spanish))
	if x := f.letters(app.LetterChoice{Household: "h4"})[0]; x.Lang != words.Spanish || !strings.Contains(x.Words.Plain(), "el sábado 10 de octubre de 2026") {
		t.Errorf("a family that reads Spanish gets:\n%s", x.Words.Plain())
	}
	if x := f.letters(app.LetterChoice{Household: "h4", Lang: words.English})[0]; x.Lang != words.English {
		t.Errorf("where a language is chosen for all it is %s", x.Lang)
	}
	_, _, err := f.App.Letters(f.Ctx(), f.Owner, f.g, app.LetterChoice{Household: "h99"})
	f.fails("no_letter", err)
	_, _, err = f.App.Letters(f.Ctx(), f.Owner, f.g, app.LetterChoice{Lang: "tlh"})
	f.fails("lang", err)
}

func TestAFamilyReadsItsOwnLettersOnceItMay(t *testing.T) {
	f := newSigned(t)
	who, other := f.open("h4"), f.open("h5")
	_, err := f.App.FamilyLetters(f.Ctx(), who, "", words.English)
	f.fails("no_result", err)
	f.must(f.App.ShowResults(f.Ctx(), f.Owner, f.g, "h4", true))
	list, err := f.App.FamilyLetters(f.Ctx(), who, "", words.Spanish)
	f.must(err)
	if len(list) != 2 || list[0].Lang != words.Spanish || !list[0].Shown {
		t.Errorf("%d letters", len(list))
	}
	if desk := f.letters(app.LetterChoice{Household: "h4", Lang: words.Spanish}); desk[0].Words.Plain() != list[0].Words.Plain() || !desk[0].Shown {
		t.Error("the family reads another letter than the one that is printed")
	}
	for _, x := range []struct {
		who   app.Actor
		entry rankwright.EntryID
	}{{who, f.entry["a5"]}, {other, f.entry["a3"]}, {other, ""}} {
		_, err := f.App.FamilyLetters(f.Ctx(), x.who, x.entry, words.English)
		f.fails("no_result", err)
	}
	// Letters are for those who see outcomes, and look at one before it is signed.
	for _, x := range []app.Actor{f.desk, who} {
		_, _, err := f.App.Letters(f.Ctx(), x, f.g, app.LetterChoice{})
		f.fails("not_allowed", err)
		_, _, err = f.App.LookAtLetter(f.Ctx(), x, f.entry["a3"], "")
		f.fails("not_allowed", err)
	}
	_, x, err := f.App.LookAtLetter(f.Ctx(), f.tomek, f.entry["a3"], "")
	f.must(err)
	if x.Words.Subject != "Zofia is on the way to Amber" {
		t.Errorf("a look at the letter: %q", x.Words.Subject)
	}
}

// What the school translated of its syllabus stands in the letters of those who
// read that language.
func TestLettersSayTheSyllabusInTheFamilysLanguage(t *testing.T) {
	f := newSigned(t)
	g, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	_, _, err = f.App.SaveTranslation(f.Ctx(), f.Owner, g.Version, spanishFile(t))
	f.must(err)
	v, s, err := f.App.VersionIn(f.Ctx(), f.Owner, g.Version, words.Spanish)
	f.must(err)
	amber, _ := s.Rank("amber")
	text := f.letters(app.LetterChoice{Entry: f.entry["a3"], Lang: words.Spanish})[0].Words.Plain()
	for _, want := range []string{"- " + s.Section("PR").Name + "\n- " + amber.Requirement("AM-BF1").Show + "\n", "- " + amber.Requirement("AM-PR1").Show + " – decirlo de memoria\n", "- " + amber.Requirement("AM-ET2").Show + "\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("the letter of a family that reads Spanish, by version %s, does not say %q:\n%s", v.ID, want, text)
		}
	}
	held := f.letters(app.LetterChoice{Entry: f.entry["a4"], Lang: words.Spanish})[0].Words.Plain()
	if want := s.Clearance("home_note").Name + " – léanlo y fírmenlo"; !strings.Contains(held, want) {
		t.Errorf("the letter does not say %q:\n%s", want, held)
	}
	if english := f.letters(app.LetterChoice{Entry: f.entry["a3"]})[0].Words.Plain(); !strings.Contains(english, "- Settle-back from a squat\n") || english == text {
		t.Errorf("the letter in English is\n%s", english)
	}
}
