package web_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// An instructor adds a picture and a clip on a phone, and a family sees both in
// its guide: the picture is drawn, the clip plays, all of it without a script.
func TestInTheBrowserPicturesAndClipsComeIntoTheGuide(t *testing.T) {
	h := newHome(t)
	b := browser(t)
	b.before(axeScript(t))
	b.errors()
	b.phone()
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
	picture := filepath.Join(t.TempDir(), "stance.png")
	h.must(os.WriteFile(picture, pngFile(t, drawn(300, 200)), 0o600))
	clip, err := filepath.Abs("../clip/testdata/square.webm")
	h.must(err)
	b.signIn(h.URL, h.Owner.Name, "three quiet otters")
	for _, add := range []struct{ about, alt, file string }{{"requirement AM-SM1", "Feet as wide as the shoulders", picture}, {"section BF", "A fall, slowly", clip}} {
		b.open(h.URL + "/syllabus/pictures/youth")
		b.set("about", add.about)
		b.fill(`[name="alt"]`, add.alt)
		b.click(`[name="agreed"]`)
		b.do(chromedp.SetUploadFiles(chromedp.CSS(`input[type="file"]`), []string{add.file}))
		b.press("Add it")
		b.reads("It is added, and stands in the guides from now on.", add.alt)
	}
	look("the page of pictures")
	b.open(h.URL + h.link["Krajewik"])
	b.press("Open our page")
	b.press("Guide to Amber")
	b.reads("What is shown for this rank", "Ties own belt alone")
	look("the guide")
	eval[bool](b, `document.querySelector('img').scrollIntoView(), true`)
	b.until(`document.querySelector('img[alt="Feet as wide as the shoulders"]').naturalWidth === 300`)
	eval[bool](b, `(() => { const v = document.querySelector('video[aria-label="A fall, slowly"]'); v.muted = true; v.play(); return true })()`)
	b.until(`document.querySelector('video').currentTime > 0 && document.querySelector('video').videoWidth === 64`)
	b.screen(1440, 900, false)
	look("the guide on a wide screen")
}
