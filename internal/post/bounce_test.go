package post

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const (
	failed  = "failed"
	delayed = "delayed"
)

var reports = []struct {
	file string
	want Report
}{
	{"rfc3464-e1-simple.eml", Report{"", []Recipient{{"louisl@larry.slip.umd.edu", failed, "4.0.0", "426 connection timed out"}}}},
	{"rfc3464-e2-several.eml", Report{"", []Recipient{
		{"arathib@vnet.ibm.com", failed, "5.0.0", "550 'arathib@vnet.IBM.COM' is not a registered gateway user"},
		{"johnh@hpnjld.njd.hp.com", delayed, "4.0.0", ""},
		{"wsnell@sdcc13.ucsd.edu", failed, "5.0.0", "550 user unknown"}}}},
	{"rfc3464-e3-gateway.eml", Report{"", []Recipient{{"nair_s", failed, "5.0.0", ""}}}},
	{"rfc3464-e4-delayed.eml", Report{"", []Recipient{{"thomas@de-montfort.ac.uk", delayed, "4.0.0", ""}}}},
	{"headers-only.eml", Report{"m7f3a@otterlight.example", []Recipient{{"ines@calder.example", failed, "5.1.1",
		"550 5.1.1 <box4711@mail.calder.example>: Recipient address rejected: nobody of that name lives here"}}}},
	{"answers-only.eml", Report{"m7f3a@otterlight.example", []Recipient{{"ines@calder.example", failed, "5.0.0", "552 5.2.2 mailbox full"}}}},
	{"sent-on.eml", Report{"m7f3a@otterlight.example", []Recipient{{"ines@calder.example", failed, "5.1.1",
		"550 5.1.1 <box4711@mail.calder.example>: Recipient address rejected: nobody of that name lives here"}}}},
}

func reportFile(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", "bounces", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// The examples of RFC 3464 appendix E among them; what Python's email package
// finds in the same file is the same.
func TestAReportIsReadAsTheStandardHasIt(t *testing.T) {
	py := newReader(t)
	for _, c := range reports {
		data := reportFile(t, c.file)
		got, err := ReadReport(data)
		if err != nil {
			t.Errorf("%s: %v", c.file, err)
			continue
		}
		same(t, c.file, got, c.want)
		theirs := py.read(t, data).Report
		if len(theirs) != len(got.Recipients) {
			t.Errorf("%s: the independent reader finds %v", c.file, theirs)
			continue
		}
		for i, r := range got.Recipients {
			where := theirs[i]["original-recipient"]
			if where == "" {
				where = theirs[i]["final-recipient"]
			}
			_, where, _ = strings.Cut(where, ";")
			_, said, _ := strings.Cut(theirs[i]["diagnostic-code"], ";")
			same(t, c.file+", read independently", r, Recipient{strings.TrimSpace(where), theirs[i]["action"], strings.Fields(theirs[i]["status"])[0], line(said)})
		}
	}
}

// What we send is what comes back: the report about a letter of ours, also one
// whose parts are encoded on the way.
func TestALetterOfOursIsKnownAgainWhenItComesBack(t *testing.T) {
	m := letter()
	m.Subject, m.HTML = subjects[3], "<p>x</p>"
	sent, err := m.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(sent), "\r\n\r\n")
	for name, returned := range map[string]string{
		"whole":        "Content-Type: message/rfc822\r\n\r\n" + string(sent),
		"its headers":  "Content-Type: text/rfc822-headers; charset=us-ascii\r\n\r\n" + head + "\r\n",
		"in printable": "Content-Type: text/rfc822-headers\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n" + strings.NewReplacer("=", "=3D", "@", "=40").Replace(head) + "\r\n",
		"with LF":      "Content-Type: message/rfc822\n\n" + strings.ReplaceAll(string(sent), "\r\n", "\n"),
		"in Unicode":   "Content-Type: message/global-headers\r\n\r\n" + head + "\r\n",
	} {
		data := "From: x@y.example\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n" +
			"--b\r\n\r\nsorry\r\n--b\r\nContent-Type: message/delivery-status\r\nContent-Transfer-Encoding: 7bit\r\n\r\nReporting-MTA: dns; y.example\r\n\r\n" +
			"Final-Recipient: RFC822; ines@calder.example\r\nAction: FAILED\r\nStatus: 5.1.1\r\n\r\n--b\r\n" + returned + "\r\n--b--\r\n"
		r, err := ReadReport([]byte(data))
		if err != nil || r.ID != m.ID || len(r.Recipients) != 1 || r.Recipients[0].Action != failed {
			t.Errorf("%s: %+v, %v", name, r, err)
		}
	}
}

// Of several letters in one file only that counts which the report is about.
func TestAReportSentOnIsNotMistakenForTheLettersBesideIt(t *testing.T) {
	report := strings.ReplaceAll(string(reportFile(t, "answers-only.eml")), "\r\n", "\n")
	around := func(inner string) string {
		return "Content-Type: message/rfc822\n\n" + inner
	}
	const other = "Message-ID: <other@otterlight.example>\nSubject: x\n"
	for name, data := range map[string]string{
		"another letter behind it": "Content-Type: multipart/mixed; boundary=o\n\n--o\n" + around(report) + "\n--o\n" + around(other+"\nx") + "\n--o--\n",
		"another's headers before": "Content-Type: multipart/mixed; boundary=o\n\n--o\nContent-Type: text/rfc822-headers\n\n" + other + "\n--o\n" + around(report) + "\n--o--\n",
		"sent on three times":      around(around(around(report))),
	} {
		if r, err := ReadReport([]byte(data)); err != nil || r.ID != "m7f3a@otterlight.example" {
			t.Errorf("%s: %+v, %v", name, r, err)
		}
	}
	for name, data := range map[string]string{
		"too deep":       strings.Repeat("Content-Type: message/rfc822\n\n", deepestParts+1) + report,
		"too far behind": "Content-Type: multipart/mixed; boundary=o\n\n" + strings.Repeat("--o\n\nx\n", mostParts+1) + "--o\n" + around(report) + "\n--o--\n",
	} {
		if r, err := ReadReport([]byte(data)); err == nil {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

func TestWhatIsNoReportIsRefused(t *testing.T) {
	sent, err := letter().Bytes()
	if err != nil {
		t.Fatal(err)
	}
	part := func(status string) string {
		return "From: x@y.example\nContent-Type: multipart/report; boundary=b\n\n--b\nContent-Type: message/delivery-status\n\n" + status + "\n--b--\n"
	}
	for _, c := range []struct{ name, data, say string }{
		{"nothing", "", "is no report of a mail server"},
		{"a letter of ours", string(sent), "is no report of a mail server"},
		{"a picture", "\x89PNG\r\n\x1a\n\x00\x00", "is no report of a mail server"},
		{"a report about nobody", part("Reporting-MTA: dns; y.example\n"), "names nobody whom the letter did not reach"},
		{"a report without what became of it", part("Reporting-MTA: dns; y.example\n\nFinal-Recipient: rfc822; a@b.example\n"), "names nobody"},
		{"an unknown action", part("Reporting-MTA: dns; y.example\n\nFinal-Recipient: rfc822; a@b.example\nAction: eaten\n"), "names nobody"},
		{"a large file", strings.Repeat("x", mostReport+1), "the file has more than 25 MB"},
		{"parts without end", "Content-Type: multipart/mixed; boundary=b\n\n" + strings.Repeat("--b\n\nx\n", 10000), "is no report of a mail server"},
		{"parts in parts", "Content-Type: message/rfc822\n\n" + strings.Repeat("Content-Type: message/rfc822\n\n", 10000), "is no report of a mail server"},
	} {
		if r, err := ReadReport([]byte(c.data)); err == nil || r != nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %+v, %v; should say %q", c.name, r, err, c.say)
		}
	}
}

func FuzzAReportIsReadOrRefused(f *testing.F) {
	for _, c := range reports {
		f.Add(reportFile(f, c.file))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ReadReport(data)
		if (r == nil) == (err == nil) {
			t.Fatalf("%v and %v", r, err)
		}
		if r == nil {
			return
		}
		if strings.ContainsAny(r.ID, "<> \r\n") || len(r.Recipients) == 0 || len(r.Recipients) > mostParts {
			t.Errorf("%+v", r)
		}
		for _, x := range r.Recipients {
			if x.Address == "" || x.Action == "" || line(x.Diagnostic) != x.Diagnostic || line(x.Address) != x.Address {
				t.Errorf("%+v", x)
			}
		}
	})
}
