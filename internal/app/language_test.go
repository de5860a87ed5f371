package app_test

import (
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/words"
)

// What a family says holds for its letters, at the desk too; without a word
// from anybody the school's own language does.
func TestAHouseholdIsWrittenToInItsLanguage(t *testing.T) {
	f := newFamilies(t)
	of := func(h rankwright.HouseholdID) words.Lang {
		l, err := f.App.Languages(f.Ctx(), f.desk)
		f.must(err)
		return l.Of(h)
	}
	who := f.open("h1")
	if of("h1") != words.English || who.Lang != "" {
		t.Errorf("nothing was said, and it is %q, %q", of("h1"), who.Lang)
	}
	sc, err := f.App.School(f.Ctx())
	f.must(err)
	sc.Lang = "es"
	f.must(f.App.EditSchool(f.Ctx(), f.Owner, sc))
	if of("h1") != words.Spanish {
		t.Error("the school's own language does not hold where nothing was said")
	}
	f.must(f.App.ChooseLanguage(f.Ctx(), who, words.English))
	again, ok, err := f.App.RecallFamily(f.Ctx(), who.ID)
	f.must(err)
	if of("h1") != words.English || of("h2") != words.Spanish || !ok || again.Lang != words.English {
		t.Errorf("the family chose English: %q, the other family %q, its own page %q", of("h1"), of("h2"), again.Lang)
	}
	f.must(f.App.SetLanguage(f.Ctx(), f.desk, "h1", words.Spanish))
	if of("h1") != words.Spanish || f.open("h1").Lang != words.Spanish {
		t.Error("the desk's word does not count")
	}
	f.must(f.App.SetLanguage(f.Ctx(), f.desk, "h1", ""))
	if l, _ := f.App.Languages(f.Ctx(), f.desk); l.Said("h1") != "" || l.Of("h1") != l.School() {
		t.Error("what was said is not taken back")
	}
	for name, err := range map[string]error{
		"no language":       f.App.ChooseLanguage(f.Ctx(), who, "tlh"),
		"no household":      f.App.SetLanguage(f.Ctx(), f.desk, "h404", words.Spanish),
		"an examiner":       f.App.SetLanguage(f.Ctx(), app.Actor{ID: "x", Role: app.Examiner}, "h1", words.Spanish),
		"the desk's button": f.App.ChooseLanguage(f.Ctx(), f.desk, words.Spanish),
		"a family's desk":   f.App.SetLanguage(f.Ctx(), who, "h1", words.Spanish),
	} {
		if err == nil {
			t.Errorf("%s: nothing is refused", name)
		}
	}
}
