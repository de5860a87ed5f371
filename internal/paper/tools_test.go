package paper

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// run calls a tool that reads PDF files independently of us. Where it is
// absent the test fails, for a check that does not run proves nothing.
func run(t *testing.T, tool, debianPackage string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(tool); err != nil {
		t.Fatalf("This check reads the file with %s, which is not installed here. Install the Debian package %s.", tool, debianPackage)
	}
	var out, errs bytes.Buffer
	cmd := exec.Command(tool, args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil || errs.Len() > 0 {
		t.Fatalf("%s: %v\n%s%s", tool, err, errs.String(), out.String())
	}
	return out.String()
}

func poppler(t *testing.T, tool string, args ...string) string {
	t.Helper()
	return run(t, tool, "poppler-utils", args...)
}

func qpdfCheck(t *testing.T, file string) {
	t.Helper()
	if out := run(t, "qpdf", "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") {
		t.Errorf("qpdf finds fault with the file:\n%s", out)
	}
}

func save(t *testing.T, data []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(file, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func certificates(t testing.TB, opt Options, certs ...Certificate) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCertificates(&b, certs, opt); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// pageTexts is each page's text as poppler reads it.
func pageTexts(t *testing.T, data []byte) []string {
	t.Helper()
	text := poppler(t, "pdftotext", "-enc", "UTF-8", save(t, data), "-")
	return strings.Split(strings.TrimSuffix(text, "\f"), "\f")
}

// sample is a certificate of the fictional club of the demo.
func sample(student string) Certificate {
	return Certificate{
		Student: student, Rank: "Amber", Belt: Belt{Base: "#e0a02c"},
		School: "Otterlight Youth Karate and Self-Defence",
		Place:  "Pellmarrow Quay", Date: "10 October 2026", Number: "No. 2026-0107",
		Title:      "Certificate of rank",
		Statement:  "has shown all that is asked, and is promoted to the rank of",
		Signatures: []Signature{{Name: "Rhodri ap Siencyn", Role: "Head instructor"}, {Name: "Anahera Ropatini", Role: "Examiner"}},
	}
}

func scripts(t testing.TB) *Fonts {
	t.Helper()
	var files [][]byte
	for _, name := range []string{"NotoNaskhArabic-Regular.ttf", "NotoSansDevanagari-Regular.ttf"} {
		data, err := os.ReadFile(filepath.Join("testdata", "fonts", name))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, data)
	}
	fonts, err := ShippedFonts().With(files...)
	if err != nil {
		t.Fatal(err)
	}
	return fonts
}
