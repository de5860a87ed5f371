package web_test

import (
	"encoding/base64"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/internal/web"
)

// press clicks the button or link that says text, and waits for the page that
// it leads to.
func (b *tab) press(text string) {
	b.t.Helper()
	b.mark("button, a, summary", text)
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS("[data-press]"))); err != nil {
		b.t.Fatalf("pressing %q: %v", text, err)
	}
}

// mark finds what says text among the elements, or fails with the page.
func (b *tab) mark(css, text string) {
	b.t.Helper()
	if !b.sees(css, text, true) {
		b.t.Fatalf("nothing says %q on the page:\n%s", text, eval[string](b, "document.title + '\\n' + document.body.innerText.slice(0, 3000)"))
	}
}

// sees marks what says text among the elements, and brings it into view where
// that is wanted.
func (b *tab) sees(css, text string, view bool) bool {
	b.t.Helper()
	return eval[bool](b, fmt.Sprintf(`(() => {
		document.querySelectorAll('[data-press]').forEach(x => x.removeAttribute('data-press'));
		const said = x => (x.innerText || x.textContent || '').replace(/\s+/g, ' ').trim();
		const all = [...document.querySelectorAll(%q)].filter(x => x.getClientRects().length);
		const one = all.find(x => said(x) === %q) || all.find(x => said(x).startsWith(%q));
		if (one) { one.setAttribute('data-press', ''); if (%v) one.scrollIntoView({block: 'center'}); }
		return !!one;
	})()`, css, text, text, view))
}

// reads fails unless the page says every text.
func (b *tab) reads(texts ...string) {
	b.t.Helper()
	body := eval[string](b, "document.body.innerText")
	for _, x := range texts {
		if !strings.Contains(body, x) {
			b.t.Fatalf("the page does not say %q:\n%s", x, body)
		}
	}
}

// set writes a value into a field, as a date picker or a person would.
func (b *tab) set(name, value string) {
	b.t.Helper()
	b.do(chromedp.SetValue(chromedp.CSS(fmt.Sprintf(`main [name=%q]`, name)), value))
}

// TestTheWholeJobInABrowser begins with an empty folder and the one-time link
// and ends with the certificate as a PDF, which is read back by poppler. No
// step is done behind the pages' back.
func TestTheWholeJobInABrowser(t *testing.T) {
	for _, tool := range []string{"pdftotext", "pdfinfo"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Fatalf("this test reads the certificate with poppler, and %s is not installed (on Debian: apt-get install poppler-utils)", tool)
		}
	}
	dir := t.TempDir()
	st, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	a := app.New(st, app.Options{})
	srv, err := web.New(a, web.Options{Sessions: st.Sessions(time.Now)})
	if err != nil {
		t.Fatal(err)
	}
	ts := httptest.NewServer(srv)
	t.Cleanup(ts.Close)
	secret, _, err := a.Setup(t.Context())
	if err != nil {
		t.Fatal(err)
	}

	b := browser(t)
	b.errors()
	b.screen(1280, 900, false)

	// First start: three answers.
	b.open(ts.URL + "/setup/" + secret)
	b.fill(`[name="school"]`, "Netloft Juniors")
	b.fill(`[name="name"]`, "Sefanaia Lindqvist-Amoako")
	b.fill(`[name="password"]`, "three quiet otters")
	b.press("Begin")
	b.reads("First steps", "Write down what each rank asks")

	// The syllabus: the one-page example, published.
	b.press("Write down what each rank asks")
	b.mark(`button[value="one-page.yaml"]`, "")
	b.do(chromedp.Click(chromedp.CSS(`button[value="one-page.yaml"]`)))
	b.until(`document.querySelector('textarea')`)
	b.press("Save and go on to publishing")
	b.press("Publish version 1")

	// The roster: the school's own spreadsheet, with its own headings.
	today := a.Today()
	day := func(back int) string { return (today - rankwright.Day(back)).String() }
	table := filepath.Join(t.TempDir(), "our students.csv")
	rows := "First name;Surname;Date of birth;Belt;Since;Parent;Parent e-mail\n" +
		"Linh-Đan;Phùng;" + day(8*365) + ";;" + day(200) + ";Mai Phùng;mai@example.org\n" +
		"Zofia;Krajewik;" + day(9*365) + ";;" + day(190) + ";Ewa Krajewik;ewa@example.org\n" +
		"Igor;Krajewik;" + day(10*365) + ";;" + day(190) + ";Ewa Krajewik;ewa@example.org\n" +
		"Noa;Elbazi;" + day(7*365) + ";;" + day(10) + ";;\n"
	if err := os.WriteFile(table, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	b.open(ts.URL + "/roster/import")
	b.do(chromedp.SetUploadFiles(chromedp.CSS(`input[type="file"]`), []string{table}))
	b.press("Show what would happen")
	b.reads("4 new")
	if eval[bool](b, `!!document.querySelector('button[formaction="/roster/import/confirm"]')`) {
		if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(`button[formaction="/roster/import/confirm"]`))); err != nil {
			t.Fatal(err)
		}
	}
	b.open(ts.URL + "/roster")
	b.reads("Linh-Đan Phùng", "Igor Krajewik")

	// The grading.
	b.open(ts.URL + "/gradings/new")
	b.set("title", "First grading")
	b.set("day", today.String())
	b.press("Begin the grading")
	b.reads("First grading", "0 students are entered")
	b.press("Who enters")
	b.reads("May enter", "Not yet", "Noa Elbazi")
	b.press("Enter those ticked")
	b.reads("3 students are entered.")
	b.press("First grading")
	b.press("Who examines")
	b.mark("label", "Sefanaia Lindqvist-Amoako")
	b.do(chromedp.Click(chromedp.CSS("[data-press]")))
	eval[bool](b, `(s => { s.selectedIndex = 1; return true })(document.querySelector('select[name="lead"]'))`)
	b.press("Save")
	b.press("Open the mat")

	// Arrivals: the signatures, one of them missing.
	b.press("Arrivals and clearances")
	b.settle("Linh-Đan")
	b.settle("Zofia")

	// Marks: everybody shows everything, but for one fall.
	b.open(ts.URL + "/gradings")
	b.press("First grading")
	b.press("Give marks")
	rowsOf := eval[int](b, `document.querySelectorAll('button.mat-all').length`)
	if rowsOf != 5 {
		t.Fatalf("%d rows of marks, want the 5 requirements of the rank", rowsOf)
	}
	eval[bool](b, `(document.querySelectorAll('button.mat-all').forEach(x => x.click()), true)`)
	b.until(`document.querySelectorAll('button.tap-none').length === 0`)
	b.mark(`button.tap[aria-label^="Zofia"]`, "")
	eval[bool](b, `(() => { const cells = [...document.querySelectorAll('button.tap')].filter(x => /Zofia/.test(x.getAttribute('aria-label') || x.innerText) && /ackwards/.test(x.getAttribute('aria-label') || '')); cells[0].click(); return cells.length === 1 })()`)
	b.until(allSaved) // a page with a mark in hand asks before it is left, and nobody answers here

	// Outcomes: each with its reason; then the signature.
	b.open(ts.URL + "/gradings")
	b.press("First grading")
	b.press("All marks are in: decide")
	b.press("Outcomes")
	b.reads("Promoted", "Not yet", "Held")
	b.press("Zofia Krajewik")
	b.reads("Musts", "Falls backwards with the head off the mat", "What is shown again")
	b.press("The page for the family")
	b.reads("Zofia is on the way to Yellow belt", "This went well:")
	b.press("Back to the outcome")
	b.press("Outcomes")
	b.press("Go to the signature")
	b.press("Sign")
	b.reads("Signed.", "Linh-Đan Phùng")

	// The certificate, fetched by the browser in its own session, and read by
	// another program.
	pdf := b.download(`document.querySelector('form[action$="certificates.pdf"]').action + '?paper=letter'`)
	file := filepath.Join(t.TempDir(), "certificates.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Linh-Đan Phùng", "Yellow belt", "Netloft Juniors", "Sefanaia Lindqvist-Amoako", fmt.Sprintf("%d-0001", today.Year())} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the certificate does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(string(text), "Krajewik") {
		t.Errorf("somebody held or not yet has a certificate:\n%s", text)
	}
	info, err := exec.Command("pdfinfo", file).Output()
	if err != nil || !strings.Contains(string(info), "792 x 612 pts (letter)") || !strings.Contains(string(info), "Pages:           1") {
		t.Errorf("not one page of US Letter: %v\n%s", err, info)
	}

	// The held promotion: the signature comes in, and the rank is given.
	b.open(ts.URL + "/gradings")
	b.press("First grading")
	b.press("Arrivals and clearances")
	b.settle("Igor")
	b.open(ts.URL + "/gradings")
	b.press("First grading")
	b.press("Outcomes")
	b.press("Igor Krajewik")
	b.press("Everything is in: promote now")
	b.reads("Promoted")
	b.open(ts.URL + "/ledger")
	b.reads("Linh-Đan Phùng", "Igor Krajewik")
	found, err := a.Verify(t.Context(), app.CommandLine())
	if err != nil || len(found.Differ) > 0 || found.Outcomes != 3 {
		t.Errorf("verify: %+v, %v", found, err)
	}
}

// download fetches an address, given as an expression, with the page's own
// session.
func (b *tab) download(address string) []byte {
	b.t.Helper()
	eval[bool](b, `(fetch(`+address+`).then(r => r.ok ? r.blob() : Promise.reject(r.status)).then(x => { const f = new FileReader(); f.onload = () => document.body.dataset.got = f.result; f.readAsDataURL(x) }).catch(e => document.body.dataset.got = 'failed ' + e), true)`)
	b.until(`document.body.dataset.got`)
	got := eval[string](b, `document.body.dataset.got`)
	_, encoded, ok := strings.Cut(got, "base64,")
	data, err := base64.StdEncoding.DecodeString(encoded)
	if !ok || err != nil {
		b.t.Fatalf("the download failed: %.80s %v", got, err)
	}
	return data
}

// settle ticks a child's clearance at the desk and waits until the page says
// that it is saved.
func (b *tab) settle(name string) {
	b.t.Helper()
	form := fmt.Sprintf(`[...document.querySelectorAll('.arrivals-one')].find(x => x.innerText.includes(%q))`, name)
	eval[bool](b, `(`+form+`.querySelector('input[name^="clear."]').click(), true)`)
	b.until(form + `.querySelector('.arrivals-state').textContent === 'Saved'`)
}
