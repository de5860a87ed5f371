package app_test

import (
	"errors"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

func TestTheSchoolsOwnWordsHoldUntilTheUsualOnesAreTakenBack(t *testing.T) {
	f := newSigned(t)
	letter := func(l words.Lang) string {
		t.Helper()
		return f.letters(app.LetterChoice{Entry: f.entry["a3"], Lang: l})[0].Words.Plain()
	}
	own := wording.Text{Subject: " For {child}\r\n", Body: "Dear {child},\r\n\r\nthis is what we look at again:\r\n{again}\n"}
	usual := letter(words.Spanish)
	f.must(f.App.WriteWording(f.Ctx(), f.Owner, wording.NotYet, words.English, own))
	f.must(f.App.WriteWording(f.Ctx(), f.Owner, wording.NotYet, words.English, own)) // once more is nothing new
	if got := letter(words.English); got != "Dear Zofia,\n\nthis is what we look at again:\n- Promise\n- Settle-back from a squat\n" {
		t.Errorf("the letter is\n%s", got)
	}
	if letter(words.Spanish) != usual {
		t.Error("the words of one language change those of another")
	}
	v, err := f.App.Wording(f.Ctx(), f.Owner, wording.NotYet, words.English)
	f.must(err)
	if !v.Own || v.At == 0 || v.Left != nil || v.Text.Subject != "For {child}" {
		t.Errorf("the wording is %+v", v)
	}
	// The cautions do not hang on the school's words.
	if x := f.letters(app.LetterChoice{Entry: f.entry["a3"], Lang: words.English})[0]; len(x.Cautions) == 0 {
		t.Error("the school's words took the cautions away")
	}
	f.must(f.App.ResetWording(f.Ctx(), f.Owner, wording.NotYet, words.English))
	if got := letter(words.English); !strings.Contains(got, "is on the way to Amber") {
		t.Errorf("the usual words are not back:\n%s", got)
	}
	every, err := f.App.EveryWording(f.Ctx(), f.Owner)
	f.must(err)
	for _, x := range every {
		if x.Own {
			t.Errorf("%s in %s is the school's own still", x.Kind, x.Lang)
		}
	}
	if len(every) != len(wording.Kinds())*len(words.Langs()) {
		t.Errorf("%d wordings", len(every))
	}

	lines, err := f.App.Audit(f.Ctx(), f.Owner, 0, 4)
	f.must(err)
	for i, want := range []string{`"what":"the usual words again"`, `"what":"as it was"`, `"hash"`} {
		if l := lines[i]; l.Act != string(app.EditWordings) || l.Subject != "wording not-yet en" || !l.Allowed || !strings.Contains(l.Detail, want) {
			t.Errorf("the audit says %+v, want %s", l, want)
		}
	}
}

func TestAWordingThatIsWrongIsRefusedAndChangesNothing(t *testing.T) {
	f := newTimes(t)
	for _, tt := range []struct {
		who  app.Actor
		kind wording.Kind
		lang words.Lang
		body string
		code string
	}{
		{f.Owner, wording.Link, words.English, "Dear family", "needed"}, {f.Owner, wording.Link, words.English, "{lnik}", "no_field"}, {f.Owner, wording.Link, words.English, "", "empty"},
		{f.Owner, wording.Link, "tlh", "{link}", "lang"}, {f.Owner, "bill", words.English, "{link}", "no_kind"},
		{f.tomek, wording.Link, words.English, "{link}", "not_allowed"}, {f.desk, wording.Link, words.English, "{link}", "not_allowed"},
	} {
		for name, err := range map[string]error{
			"written": f.App.WriteWording(f.Ctx(), tt.who, tt.kind, tt.lang, wording.Text{Subject: "Hello", Body: tt.body}),
			"looked at": func() error {
				_, err := f.App.LookAtWording(f.Ctx(), tt.who, tt.kind, tt.lang, wording.Text{Subject: "Hello", Body: tt.body})
				return err
			}(),
		} {
			var fs rankwright.Faults
			if errors.As(err, &fs) {
				err = fs[0]
			}
			if err == nil {
				t.Fatalf("%q is %s by %s", tt.body, name, tt.who.Name)
			}
			f.fails(tt.code, err)
		}
	}
	_, err := f.App.Wording(f.Ctx(), f.tomek, wording.Link, words.English)
	f.fails("not_allowed", err)
	v, err := f.App.Wording(f.Ctx(), f.Owner, wording.Link, words.English)
	f.must(err)
	if v.Own || v.Text != wording.Default(wording.Link, words.English) {
		t.Errorf("the wording is %+v", v)
	}
	look, err := f.App.LookAtWording(f.Ctx(), f.Owner, wording.Link, words.English, wording.Text{Subject: "{grading}", Body: "For {children}: {link}"})
	f.must(err)
	if look.Plain() != "For Noor and Sami: https://gradings.example/f/0123-example\n" {
		t.Errorf("the invented child's message is %q", look.Plain())
	}
}
