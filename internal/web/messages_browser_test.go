package web_test

import (
	"fmt"
	"strings"
	"testing"

	"rankwright/internal/app"
)

// A head instructor sends the link from a phone, without a mouse's help: looks
// at each, leaves one out, and sees to what did not arrive. Every page on the
// way fits, can be tapped, and keeps the rules of accessibility.
func TestInTheBrowserMessagesAreSentAndSeenToOnAPhone(t *testing.T) {
	h := newMailHome(t)
	h.mail.fate["mai@example.org"] = app.Delivery{Fate: app.Refused, Answer: "550 5.1.1 " + strings.Repeat("nobody-of-that-name-", 8)}
	h.mail.fate["esi@example.org"] = app.Delivery{Fate: app.Unsure, Answer: "the line broke"}
	b := browser(t)
	b.before(axeScript(t))
	b.errors()
	b.phone()
	b.signIn(h.URL, h.Owner.Name, "three quiet otters")
	look := func(what string) {
		t.Helper()
		eval[bool](b, `document.querySelectorAll('main details').forEach((d) => { d.open = true }), true`)
		b.fits(what)
		for _, broken := range b.axe() {
			t.Errorf("%s: %s", what, broken)
		}
	}
	b.open(h.URL + h.at)
	look("the messages")
	b.press("Prepare and look")
	b.reads("Look before it goes", "4 e-mails, 3 to hand over")
	look("the preview")
	b.click(`li:first-child input[name="take"]`) // Barakzoy
	b.press("Yes, send 4 e-mails and set out 3 to hand over")
	b.reads("6 messages are on the way")
	h.run()
	b.open(h.URL + h.at)
	b.reads("May have gone", "Did not arrive", "2 to print or to copy")
	look("what became of them")
	b.press("It has gone")
	b.reads("It counts as sent.")
	b.press("Print or copy them")
	b.press("Make the links for these letters")
	b.reads("Print the letters (2)")
	look("what is handed over")
	for _, at := range []string{"/write", "/report", "/read?message=" + all(singleIn, h.as(t, h.Owner).get(h.at).body)[0]} {
		b.open(h.URL + h.at + at)
		look(at)
	}
	h.send(h.as(t, h.Owner), "not-signed")
	h.run()
	for _, l := range h.mail.got {
		if l.Stop != "" {
			b.open(l.Stop)
			break
		}
	}
	look("no more reminders")
	b.press("No more of these")
	b.reads("No more reminders go to your e-mail address.")
	look("the answer")
	if n := eval[int](b, fmt.Sprintf(`document.querySelectorAll(%q).length`, "script")); n > 0 {
		t.Errorf("%d scripts; it has to work without", n)
	}
}
