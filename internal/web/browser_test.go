package web_test

import (
	"context"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// tab is one tab of a headless Chromium with a profile of its own. Each step
// fails the test at the caller's line.
type tab struct {
	t    *testing.T
	ctx  context.Context
	quit func() // ends the browser
}

// browser starts Chromium for one test; it ends with the test. A machine
// without Chromium fails: what a browser does is part of the promise.
func browser(t *testing.T, more ...chromedp.ExecAllocatorOption) *tab {
	t.Helper()
	return browserIn(t, t.TempDir(), more...)
}

// browserIn is a browser with the profile in a folder: one that is started
// again there is the same device.
func browserIn(t *testing.T, profile string, more ...chromedp.ExecAllocatorOption) *tab {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Fatal("this test needs Chromium, and none is installed (on Debian: apt-get install chromium)")
	}
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(path), chromedp.UserDataDir(profile),
		chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck, chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.WindowSize(1440, 1300), // what is outside the window is never drawn, whatever screen is emulated
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true)}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), append(options, more...)...)
	ctx, cancel := chromedp.NewContext(alloc)
	ctx, end := context.WithTimeout(ctx, 6*time.Minute) // what takes a minute alone takes four where others work on the same processors
	b := &tab{t: t, ctx: ctx}
	b.quit = sync.OnceFunc(func() {
		_ = chromedp.Cancel(ctx) // waits until the browser has ended
		end()
		cancel()
		stop()
	})
	t.Cleanup(b.quit)
	b.do() // starts it
	return b
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// phone is a screen of 390 by 844 under a finger, tablet one of 820 by 1180.
func (b *tab) phone()  { b.t.Helper(); b.screen(390, 844, true) }
func (b *tab) tablet() { b.t.Helper(); b.screen(820, 1180, true) }

func (b *tab) screen(width, height int64, touch bool) {
	b.t.Helper()
	if touch {
		b.do(chromedp.EmulateViewport(width, height, chromedp.EmulateMobile, chromedp.EmulateTouch))
	} else {
		b.do(chromedp.EmulateViewport(width, height))
	}
}

// errors collects what scripts on the page throw, until the test ends.
func (b *tab) errors() {
	thrown := chromedp.Events(b.ctx, runtime.ExceptionThrown)
	go func() {
		for e, err := range thrown {
			if err != nil {
				return
			}
			text := e.ExceptionDetails.Text
			if x := e.ExceptionDetails.Exception; x != nil {
				text += " " + x.Description
			}
			b.t.Errorf("a script on the page failed: %s", text)
		}
	}()
}

func (b *tab) open(url string) { b.t.Helper(); b.do(chromedp.Navigate(url)) }

func (b *tab) tap(css string)        { b.t.Helper(); b.do(chromedp.Tap(chromedp.CSS(css))) }
func (b *tab) click(css string)      { b.t.Helper(); b.do(chromedp.Click(chromedp.CSS(css))) }
func (b *tab) fill(css, text string) { b.t.Helper(); b.do(chromedp.SendKeys(chromedp.CSS(css), text)) }

// keys types on whatever has the focus.
func (b *tab) keys(keys string) { b.t.Helper(); b.do(chromedp.KeyEvent(keys)) }

// signIn fills the form of the door.
func (b *tab) signIn(site, name, password string) {
	b.t.Helper()
	b.open(site + "/sign-in")
	b.fill(`input[name="name"]`, name)
	b.fill(`input[name="password"]`, password)
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(`main form button[type="submit"]`))); err != nil {
		b.t.Fatal(err)
	}
}

func (b *tab) signOut(site string) {
	b.t.Helper()
	b.open(site + "/")
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(`.head-who button`))); err != nil {
		b.t.Fatal(err)
	}
}

// eval runs an expression on the page and gives back its value.
func eval[T any](b *tab, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// soon is eval of a promise.
func soon[T any](b *tab, expression string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits until an expression is true on a page that has been read: between
// two pages there is a moment without a body, and one that asks just then is
// not answered, sometimes not even with an error. Then it asks again.
func (b *tab) until(expression string) {
	b.t.Helper()
	for range 200 {
		asked := "document.readyState !== 'loading' && !!(" + expression + ")"
		ctx, forget := context.WithTimeout(b.ctx, 10*time.Second)
		v, err := chromedp.Run(ctx, chromedp.Evaluate[bool](asked))
		unanswered := ctx.Err() != nil && b.ctx.Err() == nil
		forget()
		switch {
		case err != nil && !unanswered && !strings.Contains(err.Error(), "target navigated"):
			b.t.Fatalf("%s: %v", asked, err)
		case v:
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.t.Fatalf("waited in vain for %s; the page says:\n%s", expression, eval[string](b, "document.body.innerText.slice(0, 3000)"))
}

// hold keeps a finger down on what css finds, for longer than a tap.
func (b *tab) hold(css string) {
	b.t.Helper()
	x, y := b.centre(css)
	b.touch("touchStart", &input.TouchPoint{X: x, Y: y})
	time.Sleep(700 * time.Millisecond)
	b.touch("touchEnd")
}
