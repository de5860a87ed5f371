package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"rankwright/internal/demo"
)

// running is the program while it serves pages.
type running struct {
	said string // everything up to the line on how to stop
	at   string // the pages' address
	stop func() (code int, rest, errs string)
}

var address = regexp.MustCompile(`https?://127\.0\.0\.1:\d+`)

// start runs a command that serves, and returns when it says how to stop it.
func start(t *testing.T, args ...string) running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	r, w := io.Pipe()
	var errs bytes.Buffer
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, args, strings.NewReader(""), w, &errs)
		w.Close()
	}()
	out := bufio.NewReader(r)
	var said strings.Builder
	for !strings.Contains(said.String(), "Stop with Ctrl-C.") {
		line, err := out.ReadString('\n')
		said.WriteString(line)
		if err != nil {
			cancel()
			t.Fatalf("%v ended with %d before it served:\n%s%s", args, <-code, said.String(), errs.String())
		}
	}
	ended := false
	stop := func() (int, string, string) {
		ended = true
		cancel()
		rest, _ := io.ReadAll(out)
		return <-code, string(rest), errs.String()
	}
	t.Cleanup(func() {
		if !ended {
			stop()
		}
	})
	at := address.FindString(said.String())
	if at == "" {
		t.Fatalf("no address is told:\n%s", said.String())
	}
	return running{said.String(), at, stop}
}

func browser() *http.Client {
	jar, _ := cookiejar.New(nil)
	return &http.Client{Jar: jar, Timeout: time.Minute}
}

func page(t *testing.T, r *http.Response, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	if r.StatusCode != http.StatusOK {
		t.Fatalf("status %d\n%s", r.StatusCode, b)
	}
	return string(b)
}

func TestServeMakesAFolderAndLetsOneHeadInstructorIn(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "school")
	s := start(t, "serve", "--data", dir, "--addr", "127.0.0.1:0")
	info, err := os.Stat(dir)
	if err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the folder: %v, %v", info, err)
	}
	for _, want := range []string{"no head instructor yet", "within a week", "the page must stay open until it says that every mark is saved"} {
		if !strings.Contains(s.said, want) {
			t.Errorf("it does not say %q:\n%s", want, s.said)
		}
	}
	link := regexp.MustCompile(`http://\S+/setup/\S+`).FindString(s.said)
	c := browser()
	r, err := c.PostForm(link, url.Values{"school": {"Otterlight"}, "name": {"Sefanaia"}, "password": {"three quiet otters"}})
	if home := page(t, r, err); !strings.Contains(home, "Otterlight") {
		t.Errorf("after the setup the page is\n%s", home)
	}
	code, _, errs := s.stop()
	if code != done {
		t.Errorf("it ended with %d: %s", code, errs)
	}
	for _, want := range []string{"msg=serving", "msg=stopped"} {
		if !strings.Contains(errs, want) {
			t.Errorf("the log lacks %q:\n%s", want, errs)
		}
	}

	again := start(t, "serve", "--data", dir, "--addr", "127.0.0.1:0")
	if strings.Contains(again.said, "/setup/") {
		t.Errorf("a school with a head instructor is offered a second one:\n%s", again.said)
	}
	r, err = browser().PostForm(again.at+"/sign-in", url.Values{"name": {"Sefanaia"}, "password": {"three quiet otters"}})
	page(t, r, err)
}

func TestServeSaysThatTheAddressIsTaken(t *testing.T) {
	s := start(t, "serve", "--data", t.TempDir(), "--addr", "127.0.0.1:0")
	dir := filepath.Join(t.TempDir(), "other")
	var out, errs bytes.Buffer
	addr := strings.TrimPrefix(s.at, "http://")
	if code := run(t.Context(), []string{"serve", "--data", dir, "--addr", addr}, nil, &out, &errs); code != answerNo {
		t.Errorf("it ended with %d", code)
	}
	if want := "another program listens on " + addr + " already; stop that program, or choose another port with --addr"; !strings.Contains(errs.String(), want) {
		t.Errorf("it says\n%s", errs.String())
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("a folder was made all the same")
	}
}

func TestDemoLetsEachRoleInAndLeavesNothing(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	s := start(t, "demo", "--addr", "127.0.0.1:0")
	left, err := filepath.Glob(filepath.Join(temp, "*"))
	if err != nil || len(left) != 1 {
		t.Fatalf("temporary folders while it runs: %v, %v", left, err)
	}
	for _, p := range demo.People {
		if !regexp.MustCompile(regexp.QuoteMeta(p.Name) + ` +` + regexp.QuoteMeta(p.Password) + `\n`).MatchString(s.said) {
			t.Errorf("it does not say how %s enters:\n%s", p.Name, s.said)
		}
		r, err := browser().PostForm(s.at+"/sign-in", url.Values{"name": {p.Name}, "password": {p.Password}})
		if home := page(t, r, err); !strings.Contains(home, p.Name) || !strings.Contains(home, "in 10 days") {
			t.Errorf("%s sees\n%s", p.Name, home)
		}
	}
	if !strings.Contains(s.said, "Messages to families are written, and none is ever sent.") {
		t.Errorf("it does not say that it sends nothing:\n%s", s.said)
	}
	rehearses(t, s)
	if code, rest, errs := s.stop(); code != done || !strings.Contains(rest, "gone") || errs != "" {
		t.Errorf("it ended with %d, saying %q and %q", code, rest, errs)
	}
	if left, _ = filepath.Glob(filepath.Join(temp, "*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// rehearses prepares a message in the demo, says yes to it, and sees that all
// was done but the sending.
func rehearses(t *testing.T, s running) {
	t.Helper()
	c := browser()
	at := s.at
	ask := func(path string, form url.Values) string {
		t.Helper()
		var r *http.Response
		var err error
		if form == nil {
			r, err = c.Get(at + path)
		} else {
			r, err = c.PostForm(at+path, form)
		}
		return page(t, r, err)
	}
	ask("/sign-in", url.Values{"name": {demo.People[0].Name}, "password": {demo.People[0].Password}})
	one := func(pattern, in string) string {
		t.Helper()
		m := regexp.MustCompile(pattern).FindStringSubmatch(in)
		if m == nil {
			t.Fatalf("there is no %s in\n%s", pattern, in)
		}
		return m[1]
	}
	grading := ""
	for _, m := range regexp.MustCompile(`"(/gradings/g-\w+)"`).FindAllStringSubmatch(ask("/gradings", nil), -1) {
		if strings.Contains(ask(m[1]+"/messages", nil), "Prepare and look") {
			grading = m[1] + "/messages"
			break
		}
	}
	if grading == "" {
		t.Fatal("no message is due in any grading of the demo")
	}
	preview := ask(grading+"/prepare", url.Values{"kind": {"link"}})
	form := url.Values{"batch": {one(`name="batch" value="([^"]+)"`, preview)}}
	for _, m := range regexp.MustCompile(`name="take" value="([^"]+)"`).FindAllStringSubmatch(preview, -1) {
		form.Add("take", m[1])
	}
	if len(form["take"]) < 5 {
		t.Fatalf("%d messages are prepared:\n%s", len(form["take"]), preview)
	}
	ask(grading+"/send", form)
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if p := ask(grading, nil); strings.Count(p, "rehearsed, not sent") >= 5 {
			return
		} else if time.Now().After(end) {
			t.Fatalf("no message was rehearsed:\n%s", p)
		}
	}
}

// The log is kept and sent around; nobody's name belongs into it.
func TestTheLogNamesNobody(t *testing.T) {
	s := start(t, "serve", "--data", clubFolder(t), "--addr", "127.0.0.1:0")
	c := browser()
	r, err := c.PostForm(s.at+"/sign-in", url.Values{"name": {demo.People[0].Name}, "password": {demo.People[0].Password}})
	page(t, r, err)
	for _, path := range []string{"/", "/roster", "/gradings", "/ledger", "/people", "/audit", "/roster/ot-001", "/roster/nobody", "/gradings/none"} {
		if r, err = c.Get(s.at + path); err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
	}
	r, err = c.PostForm(s.at+"/sign-in", url.Values{"name": {demo.People[0].Name}, "password": {"wrong"}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	_, _, errs := s.stop()
	for _, name := range []string{"Fasanwe", "Ayotomi", "Sefanaia"} {
		if strings.Contains(errs, name) {
			t.Errorf("the log names %s:\n%s", name, errs)
		}
	}
}

func TestBackupsAreTakenWhileThePagesAreServed(t *testing.T) {
	dir := clubFolder(t)
	start(t, "serve", "--data", dir, "--addr", "127.0.0.1:0")
	t.Chdir(t.TempDir()) // names without a folder are the usual ones
	do := func(want int, args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		if code := run(t.Context(), args, nil, &out, &errs); code != want {
			t.Fatalf("%v ended with %d: %s%s", args, code, out.String(), errs.String())
		}
		return out.String() + errs.String()
	}
	do(done, "backup", "--data", dir, "-o", "copy.db")
	if said := do(answerNo, "backup", "--data", dir, "-o", "copy.db"); !strings.Contains(said, "choose another name") {
		t.Error(said)
	}
	whole := regexp.MustCompile(`outcomes of 2 signed gradings worked out again: all as they were signed`)
	for _, said := range []string{do(done, "restore", "--data", "back", "copy.db"), do(done, "verify", "--data", "back"), do(done, "verify", "--data", dir)} {
		if !whole.MatchString(said) {
			t.Error(said)
		}
	}
	if said := do(answerNo, "restore", "--data", "back", "copy.db"); !strings.Contains(said, "new or empty") {
		t.Error(said)
	}
}
