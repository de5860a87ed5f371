// Package faults does harm to the program itself, as it is built: it kills it,
// fills its disk, cuts its connections, and then counts the marks.
package faults

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sync"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

var builtIn string // the folder of the program

func TestMain(m *testing.M) {
	code := func() int {
		defer func() { os.RemoveAll(builtIn) }()
		return m.Run()
	}()
	os.Exit(code)
}

// built is the path of the program, built once a run.
var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "rankwright-faults-")
	if err != nil {
		return "", err
	}
	builtIn = dir
	path := filepath.Join(dir, "rankwright")
	c := exec.Command("go", "build", "-o", path, "rankwright/cmd/rankwright")
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := c.CombinedOutput(); err != nil {
		return "", fmt.Errorf("the program does not build: %w\n%s", err, out)
	}
	return path, nil
})

// school is a school with a grading on the mat, before a server opens it.
type school struct {
	dir       string
	grading   rankwright.GradingID
	examiners []string // names
	asked     []question
}

// question is something that can be marked.
type question struct {
	entry       rankwright.EntryID
	requirement rankwright.RequirementID
	values      []string
}

// newSchool sets one up: candidates, examiners, the otterlight syllabus. It is
// closed again, all of it in one file, and lies in dir where one is given.
func newSchool(t testing.TB, dir string, candidates int) *school {
	t.Helper()
	s := apptest.New(t)
	s.Publish("otterlight.yaml")
	csv := "student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank\n"
	var ids []rankwright.StudentID
	for i := range candidates {
		id := fmt.Sprintf("c%03d", i)
		csv += fmt.Sprintf("%s,Candidate,Number%03d,2020-11-30,h%03d,youth,,2026-07-25,15\n", id, i, i)
		ids = append(ids, rankwright.StudentID(id))
	}
	s.Import(csv)
	out := &school{dir: s.Dir}
	panel := []string{s.Owner.ID}
	for _, name := range []string{"Anahera Ropatini", "Tomek Wielgosek", "Perpetua Okwuosah", "Ines Calder"} {
		panel = append(panel, s.Person(name, app.Examiner, "").ID)
		out.examiners = append(out.examiners, name)
	}
	g, err := s.App.CreateGrading(s.Ctx(), s.Owner, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-10-10"), Ladder: "youth"})
	must(t, err)
	out.grading = g.ID
	must(t, s.App.SetPanel(s.Ctx(), s.Owner, g.ID, panel, s.Owner.ID))
	must(t, s.App.Enter(s.Ctx(), s.Owner, g.ID, ids))
	must(t, s.App.Move(s.Ctx(), s.Owner, g.ID, app.OnTheMat))
	v, err := s.App.Grading(s.Ctx(), s.Owner, g.ID)
	must(t, err)
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		for _, q := range k.Requirements {
			if q.Kind == syllabus.Tick {
				out.asked = append(out.asked, question{e.Entry.ID, q.ID, []string{"0", "1", "x"}})
			}
		}
	}
	if len(out.asked) < candidates {
		t.Fatalf("%d questions for %d candidates", len(out.asked), candidates)
	}
	must(t, s.Store.Close())
	if dir != "" {
		data, err := os.ReadFile(filepath.Join(s.Dir, store.FileName))
		must(t, err)
		f, err := os.Create(filepath.Join(dir, store.FileName))
		must(t, err)
		_, err = f.Write(data)
		must(t, errors.Join(err, f.Sync(), f.Close())) // a copy that a power cut takes away would be our loss, not the program's
		out.dir = dir
	}
	return out
}

// program is a running server.
type program struct {
	t    testing.TB
	cmd  *exec.Cmd
	errs *bytes.Buffer
	at   string
	dead chan struct{} // it has ended
}

var address = regexp.MustCompile(`http://127\.0\.0\.1:\d+`)

// serve starts the program on a folder, with more flags where some are given,
// and waits until it listens.
func serve(t testing.TB, dir string, flags ...string) *program {
	t.Helper()
	p, out, err := start(t, dir, flags...)
	must(t, err)
	r := bufio.NewReader(out)
	for p.at == "" {
		line, err := r.ReadString('\n')
		if err != nil {
			<-p.dead
			t.Fatalf("the program ended before it served: %s", p.errs)
		}
		p.at = address.FindString(line)
	}
	go func() { _, _ = io.Copy(io.Discard, r) }()
	return p
}

// start starts the program and gives what it writes.
func start(t testing.TB, dir string, flags ...string) (*program, io.Reader, error) {
	path, err := built()
	if err != nil {
		return nil, nil, err
	}
	p := &program{t: t, errs: &bytes.Buffer{}, dead: make(chan struct{})}
	p.cmd = exec.Command(path, append([]string{"serve", "--data", dir, "--addr", "127.0.0.1:0"}, flags...)...)
	p.cmd.Stderr = p.errs
	r, w, err := os.Pipe()
	if err != nil {
		return nil, nil, err
	}
	p.cmd.Stdout = w
	err = p.cmd.Start()
	w.Close()
	if err != nil {
		return nil, nil, err
	}
	go func() {
		_ = p.cmd.Wait() // how it ended is read from its state
		close(p.dead)
	}()
	t.Cleanup(func() { p.kill(); r.Close() })
	return p, r, nil
}

// kill ends the program without a word (SIGKILL) and waits until it is gone.
func (p *program) kill() {
	_ = p.cmd.Process.Kill() // it may be dead already
	<-p.dead
}

// stop lets the program end by itself.
func (p *program) stop() {
	p.t.Helper()
	must(p.t, p.cmd.Process.Signal(os.Interrupt))
	<-p.dead
	if code := p.cmd.ProcessState.ExitCode(); code != 0 {
		p.t.Fatalf("the program ended with %d: %s", code, p.errs)
	}
}

// wire carries the devices' requests; many may be under way at once.
var wire = &http.Transport{MaxIdleConnsPerHost: 600, DisableCompression: true}

// signIn signs somebody in and returns their cookie. It outlives the server.
func (p *program) signIn(name string) string {
	p.t.Helper()
	jar, _ := cookiejar.New(nil)
	c := &http.Client{Transport: wire, Jar: jar, Timeout: time.Minute}
	r, err := c.PostForm(p.at+"/sign-in", url.Values{"name": {name}, "password": {apptest.Password}})
	must(p.t, err)
	r.Body.Close()
	u, _ := url.Parse(p.at)
	for _, k := range jar.Cookies(u) {
		if k.Name == "rankwright" && r.StatusCode == http.StatusOK {
			return k.Name + "=" + k.Value
		}
	}
	p.t.Fatalf("%s could not sign in: status %d", name, r.StatusCode)
	return ""
}

// get asks for a page and returns its status.
func (p *program) get(cookie, path string) (status int, body string, err error) {
	req, err := http.NewRequest(http.MethodGet, p.at+path, nil)
	if err != nil {
		return 0, "", err
	}
	req.Header.Set("Cookie", cookie)
	r, err := (&http.Client{Transport: wire, Timeout: time.Minute}).Do(req)
	if err != nil {
		return 0, "", err
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	return r.StatusCode, string(b), err
}

// inBase returns the marks that arrived after a number, read from the base
// itself and not by way of the server.
func inBase(t testing.TB, s *school, after int64) (rows []store.MarkRow) {
	t.Helper()
	st, err := store.Open(context.Background(), s.dir)
	must(t, err)
	defer st.Close()
	must(t, st.Read(context.Background(), func(tx *store.Tx) (err error) {
		rows, err = tx.MarksSince(s.grading, after, 1<<30)
		return err
	}))
	return rows
}

// sound works out the whole base anew: its pages, and the chain of the audit.
func sound(t testing.TB, s *school) {
	t.Helper()
	st, err := store.Open(context.Background(), s.dir)
	must(t, err)
	defer st.Close()
	must(t, st.Check(context.Background()))
	must(t, st.Read(context.Background(), func(tx *store.Tx) error { _, err := tx.VerifyAudit(); return err }))
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
