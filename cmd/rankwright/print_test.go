package main

import (
	"bytes"
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"rankwright/internal/app"
)

// What is printed is read back with poppler's pdftotext and held against the
// rank ledger.
func TestPrintedCertificatesAreThoseOfTheLedger(t *testing.T) {
	dir, a := clubBase(t)
	gradings, err := a.Gradings(t.Context(), app.CommandLine())
	if err != nil {
		t.Fatal(err)
	}
	coming, last := string(gradings[0].ID), string(gradings[1].ID)
	awards, err := a.Awards(t.Context(), app.CommandLine(), gradings[1].ID, "")
	if err != nil {
		t.Fatal(err)
	}
	do := func(want int, args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		if code := run(t.Context(), append([]string{"print", "certificates", "--data", dir}, args...), nil, &out, &errs); code != want {
			t.Fatalf("%v ended with %d: %s%s", args, code, out.String(), errs.String())
		}
		return out.String() + errs.String()
	}
	file := filepath.Join(t.TempDir(), "certificates.pdf")
	said := do(done, "--grading", last, "-o", file, "--paper", "Letter")
	pages := strings.Split(strings.TrimSuffix(tool(t, "pdftotext", "-layout", file, "-"), "\f"), "\f")
	at := 0
	var later []app.Award
	for _, x := range awards {
		if x.Line.FollowUp != 0 {
			later = append(later, x)
			continue
		}
		if at >= len(pages) {
			t.Fatalf("there are %d pages, and none for %s", len(pages), x.Name)
		}
		for _, want := range []string{x.Name, x.Line.RankName, "No. " + x.Line.Certificate, "Sefanaia Lindqvist-Amoako"} {
			if !strings.Contains(pages[at], want) {
				t.Errorf("page %d lacks %q:\n%s", at+1, want, pages[at])
			}
		}
		if commended := strings.Contains(pages[at], "commendation"); commended != (x.Line.Label == "commendation") {
			t.Errorf("page %d, %s, label %q:\n%s", at+1, x.Name, x.Line.Label, pages[at])
		}
		at++
	}
	if at != len(pages) || len(later) == 0 {
		t.Fatalf("%d pages for %d certificates; %d come later", len(pages), at, len(later))
	}
	if info := tool(t, "pdfinfo", file); !strings.Contains(info, "792 x 612 pts (letter)") {
		t.Errorf("the paper is not Letter:\n%s", info)
	}
	for _, x := range later {
		if want := fmt.Sprintf("--entry %s  %s, by ", x.Line.Entry, x.Name); !strings.Contains(said, want) {
			t.Errorf("it does not say %q:\n%s", want, said)
		}
		do(done, "--grading", last, "--entry", string(x.Line.Entry), "-o", file)
		if text := tool(t, "pdftotext", file, "-"); !strings.Contains(text, x.Name) {
			t.Errorf("asked for alone, the certificate of %s says\n%s", x.Name, text)
		}
		if info := tool(t, "pdfinfo", file); !strings.Contains(info, "(A4)") || !regexp.MustCompile(`Pages: +1\n`).MatchString(info) {
			t.Errorf("it is not one page of A4:\n%s", info)
		}
	}
	if said := do(answerNo, "--grading", coming, "-o", file); !strings.Contains(said, "sign the grading first") {
		t.Error(said)
	}
	if said := do(answerNo, "--grading", "none", "-o", file); !strings.Contains(said, last) || !strings.Contains(said, "there is no such grading") {
		t.Error(said)
	}
}

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}
