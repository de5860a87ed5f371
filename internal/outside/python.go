// Package outside lets tests ask programs that share nothing with us what they
// read in the files that we write. Where such a program is absent the test
// fails: a check that does not run proves nothing.
package outside

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os/exec"
	"testing"
)

// Python is a Python script at work, of the Python of the system. It is handed
// files one after the other, each as its length on a line and its bytes, and
// answers each with a line of JSON.
type Python struct {
	in      io.WriteCloser
	out     *bufio.Reader
	missing string
}

// Fatal is a test, of package testing or of rapid.
type Fatal interface {
	Helper()
	Fatalf(string, ...any)
}

// Start starts a script. missing says which Debian packages it needs.
func Start(t testing.TB, script, missing string) *Python {
	t.Helper()
	cmd := exec.Command("/usr/bin/python3", script)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v: install the Debian packages %s", err, missing)
	}
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("the independent reader: %v\n%s", err, errs.String())
		}
	})
	return &Python{in, bufio.NewReader(out), missing}
}

// Read hands a file over and reads the answer into what is given.
func (p *Python) Read(t Fatal, data []byte, into any) {
	t.Helper()
	if _, err := fmt.Fprintf(p.in, "%d\n%s", len(data), data); err != nil {
		t.Fatalf("the independent reader is gone: %v; are the Debian packages %s there?", err, p.missing)
	}
	line, err := p.out.ReadBytes('\n')
	if err != nil {
		t.Fatalf("the independent reader is gone: %v; are the Debian packages %s there?", err, p.missing)
	}
	if err := json.Unmarshal(line, into); err != nil {
		t.Fatalf("%v in %s", err, line)
	}
}
