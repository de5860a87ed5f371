package app_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/examples"
	"rankwright/internal/app"
	"rankwright/internal/words"
	"rankwright/scoring"
)

func spanishFile(t *testing.T) string {
	t.Helper()
	b, err := examples.Translations.ReadFile("translations/otterlight.es.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A family that reads Spanish reads the school's own texts in it, as far as
// they are translated; what is asked stays the same, and so does the version.
func TestAFamilyReadsTheSchoolsTextsInItsLanguage(t *testing.T) {
	f := newFamilies(t)
	g, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	before, _, err := f.App.Version(f.Ctx(), f.Owner, g.Version)
	f.must(err)
	lang, remarks, err := f.App.SaveTranslation(f.Ctx(), f.Owner, g.Version, spanishFile(t))
	f.must(err)
	if lang != words.Spanish || len(remarks) != 1 || !strings.Contains(remarks[0].Say, "are not translated") {
		t.Errorf("%s, %v", lang, remarks)
	}
	after, _, err := f.App.Version(f.Ctx(), f.Owner, g.Version)
	f.must(err)
	if after != before {
		t.Error("the published version has changed")
	}
	who := f.open("h4")
	english := f.page(who)
	who.Lang = words.Spanish
	spanish := f.page(who)
	a, b := english.Children[0], spanish.Children[0]
	if a.Of.Name != "Amber" || b.Of.Name != "Ámbar" || spanish.Syllabus.Section("KI").Name != "Patadas" {
		t.Errorf("%q, %q, %q", a.Of.Name, b.Of.Name, spanish.Syllabus.Section("KI").Name)
	}
	if len(a.Asked) != len(b.Asked) {
		t.Fatalf("%d are asked, and %d in Spanish", len(a.Asked), len(b.Asked))
	}
	for i := range a.Asked {
		if a.Asked[i].ID != b.Asked[i].ID || a.Asked[i].Points != b.Asked[i].Points || a.Asked[i].Expected(a.Band) != b.Asked[i].Expected(b.Band) {
			t.Errorf("%s and %s are not asked alike", a.Asked[i].ID, b.Asked[i].ID)
		}
	}
}

// What is signed is in the school's own words, and can be signed by a family
// that reads another language.
func TestAFamilySignsTheSchoolsOwnWordsWhateverItReads(t *testing.T) {
	f := newFamilies(t)
	g, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	_, _, err = f.App.SaveTranslation(f.Ctx(), f.Owner, g.Version, spanishFile(t))
	f.must(err)
	who := f.open("h4")
	who.Lang = words.Spanish
	c := f.page(who).Children[0]
	s := c.Sheets[0]
	if !strings.Contains(s.Body, "for Amber") || !strings.Contains(s.Name, "Visto bueno") {
		t.Errorf("%q, %q", s.Name, s.Body)
	}
	f.must(f.App.SignFamily(f.Ctx(), who, "Ewa Krajewik", []app.Signing{{Entry: c.Entry.ID, Clearance: s.Clearance, Read: s.Hash, Said: app.Signed}}))
	if got := f.page(who).Children[0].Sheets[0].State; got != app.Signed {
		t.Errorf("it is %q", got)
	}
}

// The result is the one that was signed, in the family's words.
func TestAResultStaysAsItIsWhateverTheLanguage(t *testing.T) {
	f := newFamilies(t)
	v, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	_, _, err = f.App.SaveTranslation(f.Ctx(), f.Owner, v.Version, spanishFile(t))
	f.must(err)
	f.At("2026-10-10")
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.OnTheMat))
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		var marks []scoring.Mark
		for _, q := range k.Requirements {
			m := scoring.Mark{Entry: e.Entry.ID, Requirement: q.ID, Value: scoring.Value{Sort: scoring.Number, Num: max(q.Expected(v.Syllabus.Band(e.Age)), rankwright.One)}}
			if e.Student.ID == "a3" && q.Section == "HA" {
				m.Value = scoring.N(0)
			}
			marks = append(marks, m)
		}
		_, err := f.App.AddMarks(f.Ctx(), f.Owner, f.g, marks)
		f.must(err)
		for _, c := range v.Syllabus.Clearances {
			f.must(f.App.SetClearance(f.Ctx(), f.Owner, e.Entry.ID, c.ID, true))
		}
	}
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.Deciding))
	f.must(f.App.Sign(f.Ctx(), f.Owner, f.g, ""))
	f.must(f.App.ShowResults(f.Ctx(), f.Owner, f.g, "", true))
	who := f.open("h4")
	english := f.page(who)
	who.Lang = words.Spanish
	spanish := f.page(who)
	for i := range english.Children {
		a, b := english.Children[i].Result, spanish.Children[i].Result
		if a.Stands() != b.Stands() || a.Verdict.Outcome != b.Verdict.Outcome || a.Verdict.Label != b.Verdict.Label || len(a.Verdict.ShowAgain) != len(b.Verdict.ShowAgain) {
			t.Errorf("%s: %s and %s", english.Children[i].Student.GivenName, a.Stands(), b.Stands())
		}
		if len(a.Judge.Well(a.Case)) != len(b.Judge.Well(b.Case)) {
			t.Error("other things went well in Spanish")
		}
	}
	well := strings.Join(spanish.Children[0].Result.Judge.Well(spanish.Children[0].Result.Case), "; ")
	if !strings.Contains(well, "Revisión del equipo") {
		t.Errorf("what went well is not translated: %s", well)
	}
	// Certificates call the rank as their language does; the ledger does not.
	ranks := func() map[string]string {
		awards, err := f.App.Awards(f.Ctx(), f.Owner, f.g, "")
		f.must(err)
		out := map[string]string{}
		for _, a := range awards {
			out[a.Line.RankName] = a.Rank
		}
		return out
	}
	if got := ranks(); got["Amber"] != "" {
		t.Errorf("an English certificate is to %q", got)
	}
	f.must(f.App.SetPapers(f.Ctx(), f.Owner, app.Papers{Lang: "es"}))
	if got, ok := ranks()["Amber"]; !ok || got != "Ámbar" {
		t.Errorf("Spanish certificates are to %q", ranks())
	}
}

func TestATranslationThatDoesNotFitIsRefusedAndNothingIsLost(t *testing.T) {
	f := newFamilies(t)
	g, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	_, _, err = f.App.SaveTranslation(f.Ctx(), f.Owner, g.Version, spanishFile(t))
	f.must(err)
	save := func(who app.Actor, version, text string) error {
		_, _, err := f.App.SaveTranslation(f.Ctx(), who, version, text)
		return err
	}
	f.fails("unknown_key", save(f.Owner, g.Version, spanishFile(t)+"section: {}\n").(rankwright.Faults)[0])
	f.fails("translation", save(f.Owner, g.Version, strings.Replace(spanishFile(t), "ladder: youth", "ladder: adults", 1)))
	f.fails("lang", save(f.Owner, g.Version, strings.Replace(spanishFile(t), "language: es", "language: tlh", 1)))
	f.fails("not_allowed", save(f.desk, g.Version, spanishFile(t)))
	f.fails("not_found", save(f.Owner, "v404", spanishFile(t)))
	v, s, err := f.App.Version(f.Ctx(), f.Owner, g.Version)
	f.must(err)
	d, _, err := f.App.SaveDraft(f.Ctx(), f.Owner, strings.Replace(v.Text, "KI: Kicks", "KI: All kicks", 1))
	f.must(err)
	f.fails("draft", save(f.Owner, d.ID, spanishFile(t)))

	// The next version takes what still fits; the earlier one stays as it was.
	next, err := f.App.Publish(f.Ctx(), f.Owner, s.Ladder)
	f.must(err)
	_, now, err := f.App.VersionIn(f.Ctx(), f.Owner, next.ID, words.Spanish)
	f.must(err)
	_, then, err := f.App.VersionIn(f.Ctx(), f.Owner, g.Version, words.Spanish)
	f.must(err)
	if now.Section("KI").Name != "All kicks" || now.Section("HA").Name != "Manos" || then.Section("KI").Name != "Patadas" {
		t.Errorf("%q, %q, %q", now.Section("KI").Name, now.Section("HA").Name, then.Section("KI").Name)
	}
	x, err := f.App.Translations(f.Ctx(), f.desk, next.ID)
	f.must(err)
	for _, l := range x.Languages {
		switch l.Lang {
		case words.Spanish:
			if l.Latest != nil || l.Done < 100 || l.Done+len(l.Missing.Untranslated) != x.Texts {
				t.Errorf("Spanish: %d of %d, kept %v", l.Done, x.Texts, l.Latest)
			}
		default:
			if l.Done != 0 {
				t.Errorf("%s: %d are translated", l.Lang, l.Done)
			}
		}
	}
	_, file, err := f.App.TranslationFile(f.Ctx(), f.Owner, next.ID, words.Spanish)
	f.must(err)
	if !strings.Contains(string(file), `KI: {from: "All kicks", to: ""}`) || !strings.Contains(string(file), `HA: {from: "Hands", to: "Manos"}`) {
		t.Error("the file to fill in does not hold what is known")
	}
}

// Where the school is, and its clock, are checked before they are kept.
func TestTheSchoolsCountryAndClockAreChecked(t *testing.T) {
	f := newFamilies(t)
	sc, err := f.App.School(f.Ctx())
	f.must(err)
	for field, bad := range map[string]app.School{"country": {Name: "x", Country: "XB"}, "clock": {Name: "x", Clock: "25"}} {
		f.fails(field, f.App.EditSchool(f.Ctx(), f.Owner, bad))
	}
	sc.Country, sc.Clock = "us", "12"
	f.must(f.App.EditSchool(f.Ctx(), f.Owner, sc))
	sc, err = f.App.School(f.Ctx())
	f.must(err)
	if got := sc.Say(words.English).Day(rankwright.MustDay("2026-10-10")); sc.Country != "US" || got != "Saturday, October 10, 2026" {
		t.Errorf("%q, %q", sc.Country, got)
	}
}
