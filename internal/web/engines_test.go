//go:build engines

package web_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"rankwright"
)

// engine is a browser that is no Chromium, driven by the commands of WebDriver
// (W3C). Each step fails the test at the caller's line.
type engine struct {
	t    *testing.T
	name string
	call func(command string, params any) (json.RawMessage, error)
	quit func()
}

// webdriver speaks WebDriver over HTTP, as WebKitGTK's driver does.
type webdriver struct{ base, session string }

func (w *webdriver) call(command string, params any) (json.RawMessage, error) {
	route := map[string][2]string{
		"Navigate": {"POST", "/url"}, "ExecuteScript": {"POST", "/execute/sync"}, "ExecuteAsyncScript": {"POST", "/execute/async"},
		"PerformActions": {"POST", "/actions"}, "ReleaseActions": {"DELETE", "/actions"}, "TakeScreenshot": {"GET", "/screenshot"}, "SetWindowRect": {"POST", "/window/rect"}, "DeleteSession": {"DELETE", ""},
	}[command]
	return w.send(route[0], "/session/"+w.session+route[1], params)
}

func (w *webdriver) send(method, path string, params any) (json.RawMessage, error) {
	var body io.Reader
	if method == "POST" {
		data, err := json.Marshal(params)
		if err != nil {
			return nil, err
		}
		body = bytes.NewReader(data)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, method, w.base+path, body)
	if err != nil {
		return nil, err
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	defer a.Body.Close()
	var v struct{ Value json.RawMessage }
	if err := json.NewDecoder(a.Body).Decode(&v); err != nil {
		return nil, err
	}
	if a.StatusCode != 200 {
		return nil, fmt.Errorf("%s: %s", a.Status, v.Value)
	}
	return v.Value, nil
}

// start runs a program in a process group of its own, which ends with the test.
func start(t *testing.T, env []string, program string, args ...string) {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		t.Fatalf("this test needs %s (on Debian: apt-get install firefox-esr webkit2gtk-driver xvfb)", program)
	}
	c := exec.Command(path, args...)
	c.Env = append(os.Environ(), env...)
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if testing.Verbose() {
		c.Stderr = os.Stderr
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = syscall.Kill(-c.Process.Pid, syscall.SIGKILL)
		_ = c.Wait()
	})
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
}

// webkit starts WebKitGTK's small browser on a display of its own.
func webkit(t *testing.T, home string) *engine {
	t.Helper()
	browsers, _ := filepath.Glob("/usr/lib/*/webkit2gtk-4.*/MiniBrowser")
	if len(browsers) == 0 {
		t.Fatal("this test needs WebKitGTK's MiniBrowser (on Debian: apt-get install webkit2gtk-driver xvfb)")
	}
	port := freePort(t)
	display := ":" + port
	start(t, nil, "Xvfb", display, "-screen", "0", "1500x1300x24", "-nolisten", "tcp")
	env := []string{"DISPLAY=" + display, "HOME=" + home, "XDG_DATA_HOME=" + home + "/data", "XDG_CACHE_HOME=" + home + "/cache", "XDG_CONFIG_HOME=" + home + "/config", "NO_AT_BRIDGE=1", "LIBGL_ALWAYS_SOFTWARE=1"}
	start(t, env, "WebKitWebDriver", "--host=127.0.0.1", "--port="+port)
	w := &webdriver{base: "http://127.0.0.1:" + port}
	var made struct{ SessionID string }
	var err error
	for range 100 {
		var v json.RawMessage
		if v, err = w.send("POST", "/session", map[string]any{"capabilities": map[string]any{"alwaysMatch": map[string]any{
			"acceptInsecureCerts":      true,
			"webkitgtk:browserOptions": map[string]any{"binary": browsers[len(browsers)-1], "args": []string{"--automation"}},
		}}}); err == nil {
			err = json.Unmarshal(v, &made)
			break
		}
		if !errors.Is(err, syscall.ECONNREFUSED) {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil {
		t.Fatal(err)
	}
	w.session = made.SessionID
	e := &engine{t: t, name: "WebKit", call: w.call, quit: func() { _, _ = w.call("DeleteSession", nil) }}
	t.Cleanup(e.quit)
	return e
}

// firefox starts Firefox and speaks Marionette with it: the same commands over
// a socket of its own.
func firefox(t *testing.T, profile string) *engine {
	t.Helper()
	port := freePort(t)
	prefs := `user_pref("marionette.port", ` + port + `);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.reportingpolicy.firstRun", false);
user_pref("app.update.auto", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
`
	if err := os.WriteFile(filepath.Join(profile, "user.js"), []byte(prefs), 0o600); err != nil {
		t.Fatal(err)
	}
	start(t, []string{"HOME=" + profile}, "firefox-esr", "--marionette", "--headless", "--no-remote", "--profile", profile)
	var c net.Conn
	var err error
	for range 200 {
		if c, err = net.Dial("tcp", "127.0.0.1:"+port); err == nil {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil {
		t.Fatal(err)
	}
	in := bufio.NewReader(c)
	read := func() ([]byte, error) {
		_ = c.SetReadDeadline(time.Now().Add(time.Minute))
		n, err := in.ReadString(':')
		if err != nil {
			return nil, err
		}
		size, err := strconv.Atoi(strings.TrimSuffix(n, ":"))
		if err != nil {
			return nil, err
		}
		data := make([]byte, size)
		_, err = io.ReadFull(in, data)
		return data, err
	}
	if _, err := read(); err != nil { // it says who it is
		t.Fatal(err)
	}
	id := 0
	call := func(command string, params any) (json.RawMessage, error) {
		if params == nil {
			params = map[string]any{}
		}
		id++
		data, err := json.Marshal([]any{0, id, "WebDriver:" + command, params})
		if err != nil {
			return nil, err
		}
		if _, err := fmt.Fprintf(c, "%d:%s", len(data), data); err != nil {
			return nil, err
		}
		answer, err := read()
		if err != nil {
			return nil, err
		}
		var v [4]json.RawMessage
		if err := json.Unmarshal(answer, &v); err != nil {
			return nil, err
		}
		if string(v[2]) != "null" {
			return nil, errors.New(string(v[2]))
		}
		var boxed struct{ Value json.RawMessage }
		if json.Unmarshal(v[3], &boxed) == nil && boxed.Value != nil {
			return boxed.Value, nil
		}
		return v[3], nil
	}
	e := &engine{t: t, name: "Firefox", call: call, quit: func() { _, _ = call("DeleteSession", nil); c.Close() }}
	e.must("NewSession", map[string]any{"acceptInsecureCerts": true})
	t.Cleanup(e.quit)
	return e
}

func (e *engine) must(command string, params any) json.RawMessage {
	e.t.Helper()
	v, err := e.call(command, params)
	if err != nil {
		e.t.Fatalf("%s: %s: %v", e.name, command, err)
	}
	return v
}

func (e *engine) open(url string) { e.t.Helper(); e.must("Navigate", map[string]any{"url": url}) }

// ask runs an expression on the page, awaits it and gives back its value.
func ask[T any](e *engine, expression string) (out T) {
	e.t.Helper()
	v := e.must("ExecuteAsyncScript", map[string]any{"args": []any{}, "script": "const done = arguments[arguments.length - 1]; (async () => (" + expression + "))().then((v) => done({ v }), (x) => done({ x: String(x) }))"})
	var got struct {
		V json.RawMessage
		X string
	}
	if err := json.Unmarshal(v, &got); err != nil {
		e.t.Fatalf("%s: %s: %v", e.name, v, err)
	}
	if got.X != "" {
		e.t.Fatalf("%s: %s: %s", e.name, expression, got.X)
	}
	if len(got.V) > 0 {
		if err := json.Unmarshal(got.V, &out); err != nil {
			e.t.Fatalf("%s: %s: %s: %v", e.name, expression, got.V, err)
		}
	}
	return out
}

func (e *engine) until(expression string) {
	e.t.Helper()
	for range 200 {
		if ask[bool](e, "document.readyState !== 'loading' && !!("+expression+")") {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	e.t.Fatalf("%s waited in vain for %s; the page says:\n%s", e.name, expression, ask[string](e, "document.body.innerText.slice(0, 3000)"))
}

func (e *engine) signIn(site, name, password string) {
	e.t.Helper()
	e.open(site + "/sign-in")
	ask[bool](e, fmt.Sprintf(`(document.querySelector('input[name="name"]').value = %q, document.querySelector('input[name="password"]').value = %q, document.querySelector('main form button[type="submit"]').click(), true)`, name, password))
	e.until(`location.pathname !== '/sign-in'`)
}

// press puts a pointer on what css finds and lifts it: a finger, or a mouse.
func (e *engine) press(css, pointer string) {
	e.t.Helper()
	at := ask[[2]float64](e, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect(); return [Math.round(r.x + r.width / 2), Math.round(r.y + r.height / 2)] })()`, css))
	e.must("PerformActions", map[string]any{"actions": []any{map[string]any{"type": "pointer", "id": pointer, "parameters": map[string]any{"pointerType": pointer},
		"actions": []any{
			map[string]any{"type": "pointerMove", "x": at[0], "y": at[1], "duration": 0},
			map[string]any{"type": "pointerDown", "button": 0},
			map[string]any{"type": "pause", "duration": 60},
			map[string]any{"type": "pointerUp", "button": 0},
		}}}})
}

func (e *engine) shot(file string) {
	e.t.Helper()
	var png []byte
	v := e.must("TakeScreenshot", map[string]any{})
	if err := json.Unmarshal(v, &png); err != nil { // base 64
		e.t.Fatal(err)
	}
	if err := os.WriteFile(file, png, 0o600); err != nil {
		e.t.Fatal(err)
	}
}

// engines are the browsers that are not Chromium, each with a folder of its own.
var engines = map[string]func(*testing.T, string) *engine{"WebKit": webkit, "Firefox": firefox}

func (e *engine) all(q string) {
	e.t.Helper()
	css := `tr[data-q="` + q + `"] .mat-all`
	ask[bool](e, `(document.querySelector('`+css+`').scrollIntoView({ block: 'center' }), true)`)
	e.press(css, "touch")
}

func (e *engine) cell(id rankwright.EntryID, q, pointer string) {
	e.t.Helper()
	ask[bool](e, `(`+cellOf(id, q)+`, true)`)
	e.press("[data-aim]", pointer)
}

func (e *engine) onMat(m *mat) {
	e.t.Helper()
	e.must("SetWindowRect", map[string]any{"x": 0, "y": 0, "width": 500, "height": 900})
	e.signIn(m.URL, m.mira.Name, "three quiet otters")
	e.open(m.URL + m.path("/marks/reed"))
	e.until(allSaved)
	ask[bool](e, "(() => { "+findCell+"; return true })()")
}

// The same as in Chromium, in the other two engines: a squad is scored with a
// finger and a mouse while the network goes away, the page is opened again
// without it, and nothing is lost or doubled.
func TestOtherEnginesScoreASquadThroughALostConnection(t *testing.T) {
	for name, begin := range engines {
		t.Run(name, func(t *testing.T) {
			m := newMat(t)
			g := m.gated(t)
			e := begin(t, t.TempDir())
			e.onMat(m)
			e.until(reopens)
			want := map[string]string{}
			row := func(q, value string) {
				e.all(q)
				for _, id := range m.reed {
					want[string(id)+" "+q] = value
				}
			}
			row("RE-ET1", "1")
			e.until(allSaved)
			e.cell(m.reed[0], "RE-ET1", "touch")
			want[string(m.reed[0])+" RE-ET1"] = "0"
			e.until(allSaved)
			m.compare(t, want)
			g.set(true)
			row("RE-ET2", "1")
			row("RE-SM1", "2")
			e.cell(m.reed[1], "RE-SM1", "mouse")
			want[string(m.reed[1])+" RE-SM1"] = "1"
			e.until(`/^13 marks not sent yet: no connection/.test(document.getElementById('mat-saved').textContent)`)

			e.open(m.URL + m.path("/marks/reed"))
			e.until(`/^13 marks not sent yet/.test(document.getElementById('mat-saved').textContent)`)
			ask[bool](e, "(() => { "+findCell+"; return true })()")
			row("RE-PD1", "1")
			e.press(`th[data-e="`+string(m.reed[2])+`"]`, "touch") // a child is stopped
			e.until(`document.getElementById('mat-child').open`)
			e.press(`#mat-child [value="stop"]`, "touch")
			e.until(`document.querySelector('th[data-e="` + string(m.reed[2]) + `"]').classList.contains('mat-away')`)
			g.set(false)
			ask[bool](e, `(dispatchEvent(new Event('online')), true)`)
			e.until(allSaved)
			m.compare(t, want)
			if n := len(m.log(t)); n != 7+13+6 {
				t.Errorf("%d marks in the base, want 26: each exactly once", n)
			}
			for range 50 {
				for _, x := range m.view(t).Entries {
					if x.Entry.ID == m.reed[2] && x.Presence == "stopped" {
						return
					}
				}
				time.Sleep(100 * time.Millisecond)
			}
			t.Error("the stop did not arrive")
		})
	}
}

// A squad of six is seen whole on a narrow screen, a held finger opens the
// levels, and the rules of accessibility hold.
func TestOtherEnginesShowTheScoringPage(t *testing.T) {
	script := axeScript(t)
	for name, begin := range engines {
		t.Run(name, func(t *testing.T) {
			m := newMat(t)
			e := begin(t, t.TempDir())
			e.onMat(m)
			if n := ask[int](e, `[...document.querySelectorAll('.mat-grid thead th[data-e]')].filter((h) => h.getBoundingClientRect().width >= 44 && h.getBoundingClientRect().right <= innerWidth).length`); n != 6 {
				t.Errorf("%d of six columns are seen", n)
			}
			if n := ask[int](e, `(() => { const box = document.querySelector('.mat-scroll'), end = box.getBoundingClientRect().left + box.clientLeft + box.clientWidth; return [...document.querySelectorAll('.mat-all')].filter((b) => b.getBoundingClientRect().right > end).length })()`); n > 0 {
				t.Errorf("%d buttons of rows are cut", n)
			}
			e.shot(filepath.Join(t.ArtifactDir(), name+"-grid.png"))
			e.cell(m.reed[0], "RE-SM1", "mouse")
			e.until(`document.getElementById('mat-sheet').open && document.getElementById('mat-sheet').innerText.includes('guard and balance hold on most steps')`)
			e.shot(filepath.Join(t.ArtifactDir(), name+"-sheet.png"))
			e.must("ExecuteScript", map[string]any{"args": []any{}, "script": script + "; return true"})
			for _, broken := range ask[[]string](e, `axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => v.id + ': ' + v.help + ': ' + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(' | ')))`) {
				t.Error(broken)
			}
			for _, path := range []string{"/marks", "/marks/reed?row=RE-ET1", "/marks/indigo"} {
				e.open(m.URL + m.path(path))
				if over := ask[int](e, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
					t.Errorf("%s is %d px wider than the screen", path, over)
				}
				e.shot(filepath.Join(t.ArtifactDir(), name+strings.NewReplacer("/", "-", "?", "-").Replace(path)+".png"))
			}
		})
	}
}
