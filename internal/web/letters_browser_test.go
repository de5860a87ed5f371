package web_test

import (
	"strings"
	"testing"
)

// While the words are typed the page shows what a child would get, and what is
// wrong with them; nothing is saved before it is asked for.
func TestInTheBrowserWordsAreLookedAtWhileTheyAreTyped(t *testing.T) {
	s := newSite(t)
	b := browser(t)
	b.errors()
	b.screen(1440, 900, false)
	b.signIn(s.URL, s.Owner.Name, "three quiet otters")
	b.open(s.URL + "/school/wordings/link/en")
	shown := `document.getElementById('wording-look').innerText`
	b.until(shown + `.includes('Dear family of Noor and Sami')`)
	eval[bool](b, `(() => { const t = document.querySelector('textarea[name="body"]'); t.focus(); t.value = 'Hello {children}!\n\n'; t.setSelectionRange(99, 99); return true })()`)
	b.keys("Look here: {lnik}")
	b.until(shown + `.includes('Text, line 3, column 12: {lnik} names nothing') && ` + shown + `.includes('Did you mean {link}?')`)
	eval[bool](b, `(() => { const t = document.querySelector('textarea[name="body"]'); t.value = t.value.replace('{lnik}', '{link} <b>'); return true })()`)
	b.keys(" ")
	b.until(shown + `.includes('Hello Noor and Sami!') && ` + shown + `.includes('<b>')`)
	if focus := eval[string](b, `document.activeElement.name`); focus != "body" {
		t.Errorf("the focus is on %q", focus)
	}
	if r := s.as(t, s.Owner).get("/school/wordings/link/en"); !strings.Contains(r.body, "usual words") {
		t.Error("looking has saved the words")
	}
	b.click(`button[value="save"]`)
	b.until(`document.body.innerText.includes('Saved. What is sent and printed')`)
}
