package web_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	cdp "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"rankwright"
	"rankwright/internal/app"
)

// fits fails where the page is wider than the screen, or where something that
// is tapped is lower than 44 pixels.
func (b *tab) fits(what string) {
	b.t.Helper()
	if wide := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); wide > 0 {
		b.t.Errorf("%s is %d pixels too wide", what, wide)
	}
	for _, low := range eval[[]string](b, `[...document.querySelectorAll('main a.button, main a.card, main button, main input:not([type=hidden]), main summary, .foot button, .foot a.button')]
		.filter(e => e.getClientRects().length && e.type !== 'radio' && e.type !== 'checkbox').filter(e => e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML.slice(0, 120))`) {
		b.t.Errorf("%s: lower than a thumb: %s", what, low)
	}
}

// effort is what a hand does on a phone, in the operators of the keystroke-level
// model (Card, Moran, Newell, "The keystroke-level model for user performance
// time with interactive systems", Communications of the ACM 23, 1980, table 1):
// each tap is thought of (M), aimed at (P) and pressed (K of an average typist),
// each time that the page has to be pushed up or down is too, and each letter
// costs what it does whoever is unfamiliar with the keyboard. What is read, and
// what the server takes, comes on top of it.
type effort struct{ taps, pushes, letters int }

const (
	thinkMs   = 1350 // M
	aimMs     = 1100 // P
	pressMs   = 200  // K, an average skilled typist
	unusedMs  = 1200 // K, who is unfamiliar with the keyboard
	mostTapMs = 120_000
)

func (e effort) ms() int {
	return (e.taps+e.pushes)*(thinkMs+aimMs+pressMs) + e.letters*unusedMs
}

// reach counts how often the page has to be pushed, two thirds of a screen each,
// until an element is in sight, and leaves the page as if it had been.
func (b *tab) reach(css string) int {
	b.t.Helper()
	return eval[int](b, fmt.Sprintf(`(() => {
		const r = document.querySelector(%q).getBoundingClientRect();
		const off = r.bottom > innerHeight ? r.bottom - innerHeight : r.top < 0 ? -r.top : 0;
		if (off) document.querySelector(%q).scrollIntoView({block: 'center', behavior: 'instant'});
		return Math.ceil(off / (innerHeight * 2 / 3));
	})()`, css, css))
}

// A guardian with two children goes from the link to signed and wished on a
// phone, with under two minutes of taps: what they cost is counted by a published
// model and not measured with a clock.
func TestInTheBrowserAGuardianOfTwoGoesFromTheLinkToSignedAndWished(t *testing.T) {
	h := newHome(t)
	b := browser(t)
	b.before(axeScript(t))
	b.errors()
	b.phone()
	var hand effort
	look := func(what string) {
		t.Helper()
		b.fits(what)
		for _, broken := range b.axe() {
			t.Errorf("%s: %s", what, broken)
		}
		if n := eval[int](b, `document.querySelectorAll('script').length`); n > 0 {
			t.Errorf("%s has %d scripts; it has to work without", what, n)
		}
	}
	aim := func(css string) { t.Helper(); hand.taps++; hand.pushes += b.reach(css) }
	press := func(text string) {
		t.Helper()
		if b.sees("button, a, summary", text, false) {
			aim("[data-press]")
		}
		b.press(text)
	}
	tap := func(css string) { t.Helper(); aim(css); b.do(chromedp.Tap(chromedp.CSS(css))) }

	hand.taps++ // the link in the message
	b.open(h.URL + h.link["Krajewik"])
	look("the door")
	press("Open our page")
	b.reads("For Zofia and Igor", "2 things are open.")
	look("the first page")
	press("Which times suit you?")
	look("the times")
	tap(`[name="suits.` + h.when[0] + `"][value="yes"]`)
	tap(`[name="suits.` + h.when[1] + `"][value="if_need_be"]`)
	press("Send")
	b.reads("Thank you, we know what suits you.", "I agree that Zofia Krajewik takes part.")
	look("what is signed")
	for _, child := range []string{"Zofia", "Igor"} {
		for _, c := range []string{"consent", "home_note"} {
			tap(fmt.Sprintf(`[name="said %s/%s"][value="signed"]`, h.entry[child], c))
		}
	}
	const name = "Ewa Krajewik"
	aim(`[name="name"]`)
	hand.letters += len(name)
	b.fill(`[name="name"]`, name)
	press("Send")
	b.reads("Thank you, that is signed.", "Everything is answered.")
	t.Logf("%+v: %d.%d s", hand, hand.ms()/1000, hand.ms()%1000/100)
	if hand.taps > 12 || hand.letters > len(name) {
		t.Errorf("from the link to signed and wished takes %d taps and %d letters, more than 12 and a name", hand.taps, hand.letters)
	}
	if hand.ms() >= mostTapMs {
		t.Errorf("that is %d ms of taps, and two minutes are promised", hand.ms())
	}
	look("the first page when all is done")

	// No dead end: every page leads back, and what is read is read there.
	for _, page := range []struct{ link, reads string }{{"What will be asked", "always needed"}, {"Practise at home", "Week by week"}, {"Ask something", "Your question"}, {"Read and sign", "Signed by Ewa Krajewik"}, {"Which times suit you?", "Sunday 11 October 2026"}} {
		b.press(page.link)
		b.reads(page.reads)
		look(page.link)
		b.press("Back to the first page")
		b.reads("For Zofia and Igor")
	}
	b.press("Read and sign")
	b.press("Take it back")
	b.reads("It is taken back.")
	b.press("Back to the first page")
	b.press("Español")
	b.reads("Para Zofia e Igor", "Queda una cosa pendiente.")
	look("the first page in Spanish")
	b.press("He terminado en este aparato")
	b.reads("Hasta pronto")
	look("the end")
	b.open(h.URL + "/family")
	look("nothing here")
	for _, screen := range []int64{820, 1440} {
		b.screen(screen, 900, screen < 1000)
		v := h.link["Krajewik"]
		b.open(h.URL + v)
		b.press("Open our page")
		for _, at := range []string{"/family", "/family/child/" + h.entry["Igor"], "/family/child/" + h.entry["Igor"] + "/practice", "/family/sign"} {
			b.open(h.URL + at)
			look(fmt.Sprint(at, " at ", screen))
		}
	}
}

// The plan for the fridge is one sheet of A4, also for the highest rank, and
// holds every day and every task.
func TestInTheBrowserThePlanForTheFridgeIsOneSheet(t *testing.T) {
	h := newHome(t)
	h.Import("student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank\na9,Oriane,Valtersdóttir,2014-03-03,h9,youth,Plum,2025-11-01,90\n")
	h.must(h.App.EditGrading(t.Context(), h.Owner, h.g, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-11-28"), Ladder: "youth"}))
	h.must(h.App.Enter(t.Context(), h.Owner, h.g, []rankwright.StudentID{"a9"}))
	_, err := h.App.MakeLinks(t.Context(), h.Owner, h.g, nil, 0, false)
	h.must(err)
	h.links()
	v, err := h.App.Grading(t.Context(), h.Owner, h.g)
	h.must(err)
	h.entry["Oriane"] = string(v.Entries[len(v.Entries)-1].Entry.ID)
	b := browser(t)
	b.phone()
	// Eight weeks and two days before the day: the plan begins with the ninth
	// week's Saturday.
	for name, child := range map[string]string{"Krajewik": "Zofia", "Valtersdóttir": "Oriane"} {
		b.open(h.URL + h.link[name])
		b.press("Open our page")
		b.open(h.URL + "/family/child/" + h.entry[child] + "/practice")
		r, err := chromedp.Call(b.ctx, cdp.PrintToPDF, cdp.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
		h.must(err)
		file := filepath.Join(t.TempDir(), "plan.pdf")
		h.must(os.WriteFile(file, r.Data, 0o644))
		if keep := os.Getenv("RANKWRIGHT_KEEP"); keep != "" {
			h.must(os.WriteFile(filepath.Join(keep, child+".pdf"), r.Data, 0o644))
		}
		info, err := exec.Command("pdfinfo", file).Output()
		h.must(err)
		if !strings.Contains(string(info), "Pages:           1\n") {
			t.Errorf("%s's plan has another number of sheets:\n%s", child, info)
		}
		text, err := exec.Command("pdftotext", "-layout", file, "-").Output()
		h.must(err)
		for _, want := range []string{"28 Sep", "23 Nov", "Mon Tue Wed Thu Fri Sat Sun", "Stop while it is still fun", "Falls and partner work are for class"} {
			if !strings.Contains(strings.Join(strings.Fields(string(text)), " "), want) {
				t.Errorf("%s's sheet does not say %q:\n%s", child, want, text)
			}
		}
	}
}
