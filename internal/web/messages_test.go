package web_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"rankwright/internal/app"
	"rankwright/internal/web"
	"rankwright/internal/wording"
)

// mailbox is a mail server that takes what the test lets it take.
type mailbox struct {
	got  []app.Letter
	fate map[string]app.Delivery // by address
}

func (m *mailbox) Check(string) error { return nil }

func (m *mailbox) Send(_ context.Context, l app.Letter) app.Delivery {
	if d, ok := m.fate[l.To]; ok {
		return d
	}
	m.got = append(m.got, l)
	return app.Delivery{Fate: app.Sent}
}

// Bounces reads the test's own form: an id a line, with a - before those that
// are only late.
func (m *mailbox) Bounces(report []byte) (out []app.Bounce, err error) {
	for line := range strings.Lines(string(report)) {
		id, late := strings.CutPrefix(strings.TrimSpace(line), "-")
		out = append(out, app.Bounce{ID: id, Permanent: !late, Diagnostic: "550 unknown"})
	}
	return out, nil
}

func (m *mailbox) EML(l app.Letter) ([]byte, error) {
	return []byte("Subject: " + l.Subject + "\r\n\r\n" + l.Text), nil
}

// mailHome is a home at a school that sends e-mail.
type mailHome struct {
	*home
	mail *mailbox
	at   string // of the messages
}

func newMailHome(t *testing.T) *mailHome {
	t.Helper()
	return mailHomeWith(t, app.Options{})
}

// mailHomeWith is newMailHome with a rehearsal, where the options say so.
func mailHomeWith(t *testing.T, o app.Options) *mailHome {
	t.Helper()
	h := &mailHome{home: newHome(t), mail: &mailbox{fate: map[string]app.Delivery{}}}
	h.at = "/gradings/" + string(h.g) + "/messages"
	h.Import(`student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank,guardian_name,guardian_email
a3,Zofia,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27,Ewa Krajewik,ewa@example.org
a5,Linh-Đan,Phùng,2019-10-10,h5,youth,Reed,2026-07-04,24,Mai <i>Phùng</i>,mai@example.org
a6,Kwabena,Darkofi,2016-07-21,h6,youth,Amber,2026-06-13,30,Esi Darkofi,esi@example.org
a7,Hanae,Ishikure,2017-03-03,h7,youth,Amber,2026-02-28,46,Ken Ishikure,ken@example.org
`)
	o.Now, o.Mail, o.QuickHash = func() time.Time { return h.Now }, h.mail, true
	h.App = app.New(h.Store, o)
	srv, err := web.New(h.App, web.Options{})
	h.must(err)
	ts := httptest.NewServer(srv)
	t.Cleanup(ts.Close)
	h.URL = ts.URL
	h.must(h.App.EditSchool(t.Context(), h.Owner, app.School{Name: "Otterlight", Place: "Pellmarrow Quay", Address: ts.URL}))
	return h
}

// run lets the outbox work until nothing waits that can go now.
func (h *mailHome) run() {
	h.t.Helper()
	for range 30 {
		rest, err := h.App.StepPost(h.t.Context())
		h.must(err)
		h.Now = h.Now.Add(min(rest, 2*time.Second))
	}
}

var (
	batchIn  = regexp.MustCompile(`name="batch" value="([^"]+)"`)
	takeIn   = regexp.MustCompile(`name="take" value="([^"]+)"`)
	singleIn = regexp.MustCompile(`name="message" value="([^"]+)"`)
)

func all(re *regexp.Regexp, s string) (out []string) {
	for _, m := range re.FindAllStringSubmatch(s, -1) {
		out = append(out, m[1])
	}
	return out
}

// send goes from what is due to the yes, as a person does.
func (h *mailHome) send(v *visitor, kind wording.Kind) {
	h.t.Helper()
	if r := v.post(h.at+"/prepare", url.Values{"kind": {string(kind)}}); r.status != http.StatusSeeOther || r.to != h.at+"/preview" {
		h.t.Fatalf("prepared: %d %s", r.status, r.to)
	}
	page := v.get(h.at + "/preview").body
	if r := v.post(h.at+"/send", url.Values{"batch": all(batchIn, page), "take": all(takeIn, page)}); r.status != http.StatusSeeOther {
		h.t.Fatalf("sent: %d\n%s", r.status, r.body)
	}
}

func TestInARehearsalThePageSaysThatNothingLeaves(t *testing.T) {
	h := mailHomeWith(t, app.Options{Dry: true})
	v := h.as(t, h.Owner)
	v.get(h.at).says(t, 200, "This is a rehearsal")
	h.send(v, wording.Link)
	if r := v.get(h.at); strings.Contains(r.body, "on the way") {
		t.Error("a rehearsal says that messages are on the way")
	} else {
		r.says(t, 200, "This is a rehearsal: no e-mail leaves")
	}
	h.run()
	if v.get(h.at).says(t, 200, "rehearsed, not sent"); len(h.mail.got) > 0 {
		t.Errorf("%d letters left in a rehearsal", len(h.mail.got))
	}
}

func TestAMessageIsLookedAtBeforeItGoesAndFollowedUp(t *testing.T) {
	h := newMailHome(t)
	v := h.as(t, h.Owner)
	if strings.Contains(v.get("/").body, "remind them") {
		t.Error("families are to be reminded on the day on which they got the link")
	}
	h.At("2026-10-04")
	v = h.as(t, h.Owner)
	v.get("/").says(t, 200, "families have not said which times suit; remind them: Autumn grading", `href="`+h.at+`#due"`)
	v.get(h.at).says(t, 200, "7 families have not had the link to their page.", "Nothing leaves without your yes")
	if r := v.post(h.at+"/prepare", url.Values{"kind": {"link"}}); r.to != h.at+"/preview" {
		t.Fatal(r.to)
	}
	page := v.get(h.at + "/preview")
	page.says(t, 200, "The link: 4 e-mails, 3 to hand over.", "ewa@example.org", "to hand over: no e-mail address", "Dear family of Zofia and Igor,", "Yes, send 4 e-mails and set out 3 to hand over", "[here stands the address of the family")
	if len(h.mail.got) > 0 {
		t.Fatal("something left before the yes")
	}
	v.post(h.at+"/send", url.Values{"batch": all(batchIn, page.body)}).says(t, 422, "No message was chosen.")
	v.post(h.at+"/send", url.Values{"batch": {"batch-old"}, "take": all(takeIn, page.body)}).says(t, 409, "What you looked at is not what is prepared by now.")
	h.mail.fate["mai@example.org"] = app.Delivery{Fate: app.Refused, Answer: "550 <b>no</b> such person"}
	h.mail.fate["esi@example.org"] = app.Delivery{Fate: app.Unsure, Answer: "the line broke"}
	v.post(h.at+"/send", url.Values{"batch": all(batchIn, page.body), "take": all(takeIn, page.body)})
	h.run()
	show := v.get(h.at)
	show.says(t, 200, "May have gone", "Darkofi", "Did not arrive", "550 &lt;b&gt;no&lt;/b&gt; such person", "3 to print or to copy", "The link: ")
	v.get("/").says(t, 200, "1 message may have gone or not: Autumn grading", "1 message did not arrive: Autumn grading", "3 messages are to be handed over: Autumn grading")
	id := all(singleIn, show.body)[0]
	v.get(h.at+"/read?message="+id).says(t, 200, "esi@example.org", "the line broke", "Dear family of Kwabena,")
	file := v.get(h.at + "/file?message=" + id)
	if file.head.Get("Content-Type") != "message/rfc822" || strings.Contains(file.body, "/f/") {
		t.Errorf("the file: %s", file.body)
	}
	v.get(h.at+"/report").says(t, 200, "A message came back")
	upload := func(text string) { t.Helper(); v.upload(h.at+"/report", "report.eml", []byte(text), nil) }
	upload(all(singleIn, show.body)[0] + "x")
	v.get(h.at).says(t, 200, "That is about none of the messages that went out from here.")
	upload(h.mail.got[0].ID)
	v.get(h.at).says(t, 200, "1 message did not arrive.", "came back")
	v.post(h.at+"/report", nil).says(t, 422, "No file was chosen.")
	v.get(h.at+"/read?message=other").says(t, 404, "This message is not there any more.")
	v.post(h.at+"/decide", url.Values{"message": {id}, "what": {"gone"}})
	v.post(h.at+"/decide", url.Values{"message": {id}, "what": {"gone"}}).says(t, 409, "This message has moved on meanwhile.")

	// A desk reads, hands over and says how families are reached; it sends nothing.
	desk := h.as(t, h.Person("Perpetua Okwuosah", app.Assistant, ""))
	desk.get(h.at).says(t, 200, "3 to print or to copy", "Wants no e-mail")
	for _, path := range []string{"/prepare", "/write", "/send", "/discard", "/halt"} {
		desk.post(h.at+path, nil).says(t, 403)
	}
	desk.post(h.at+"/way", url.Values{"family": {"h7"}, "way": {"hand"}})
	desk.get(h.at).says(t, 200, "wants no e-mail", "Write by e-mail again")
	desk.post(h.at+"/way", url.Values{"family": {"h7"}}).says(t, 422, "It was not said how the family is written to.")
	desk.post(h.at+"/way", url.Values{"family": {"h99"}, "way": {"mail"}}).says(t, 404)
}

func TestLettersForFamiliesWithoutEMailArePrintedWithACodeToScan(t *testing.T) {
	h := newMailHome(t)
	v := h.as(t, h.Owner)
	h.must(h.App.SetLanguage(t.Context(), h.Owner, "h1", "es"))
	h.send(v, wording.Link)
	v.get(h.at+"/letters.pdf").says(t, 409, "No letter can be printed now")
	v.get(h.at+"/hand").says(t, 200, "3 families are told by a letter", "its link is not made yet", "[here stands the address")
	if r := v.post(h.at+"/hand", nil); r.to != h.at+"/hand" {
		t.Fatal(r.to)
	}
	page := v.get(h.at + "/hand")
	page.says(t, 200, "Print the letters (3)", "Querida familia de Ayotomi", h.URL+"/f/")
	pdf := v.get(h.at + "/letters.pdf")
	file := filepath.Join(t.TempDir(), "letters.pdf")
	h.must(os.WriteFile(file, []byte(pdf.body), 0o600))
	text, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	h.must(err)
	links := regexp.MustCompile(`/f/([0-9a-z]{32})`).FindAllStringSubmatch(string(text), -1)
	if n := strings.Count(string(text), "\f"); n != 3 || len(links) != 3 {
		t.Errorf("%d pages and %d links for three letters:\n%s", n, len(links), text)
	}
	for _, l := range links {
		h.must(h.App.CheckLink(t.Context(), l[1]))
	}
	for _, want := range []string{"Otterlight", "Pellmarrow Quay, ", "Ayotomi", "1 de octubre de 2026", "Inti", "Naveed"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the letters do not say %q:\n%s", want, text)
		}
	}
	if out, err := exec.Command("qpdf", "--check", file).CombinedOutput(); err != nil {
		t.Errorf("qpdf: %v\n%s", err, out)
	}
	v.post(h.at+"/handed", url.Values{"message": all(singleIn, page.body)[:1], "as": {"paste"}})
	v.get(h.at+"/hand").says(t, 200, "2 families are told by a letter")
	v.post(h.at+"/handed", url.Values{"all": {"yes"}, "as": {"paper"}})
	v.get(h.at+"/hand").says(t, 200, "Nothing to hand over")
	v.get(h.at).says(t, 200, "passed on as a text", "handed over")
}

// RFC 8058 section 3.2: the mail program posts List-Unsubscribe=One-Click to the
// address of the header, without a session, and is not led on to another page.
func TestOneClickEndsRemindersAndALookDoesNot(t *testing.T) {
	h := newMailHome(t)
	v := h.as(t, h.Owner)
	h.send(v, wording.NotSigned)
	h.run()
	var stop, other string
	for _, l := range h.mail.got {
		if l.To == "ewa@example.org" {
			stop = strings.TrimPrefix(l.Stop, h.URL)
		} else {
			other = strings.TrimPrefix(l.Stop, h.URL)
		}
	}
	if !strings.HasPrefix(stop, "/stop/") {
		t.Fatalf("the header names %q", stop)
	}
	stopped := func() bool {
		t.Helper()
		s, err := h.App.CheckStop(t.Context(), strings.TrimPrefix(stop, "/stop/"))
		h.must(err)
		return s.Stopped
	}
	guest := h.visit(t)
	for range 5 { // programs that look at mail
		guest.get(stop).says(t, 200, "Shall no more reminders go to your e-mail address?", "No more of these")
	}
	if stopped() {
		t.Fatal("a look ended the reminders")
	}
	click := guest.post(stop, url.Values{"List-Unsubscribe": {"One-Click"}})
	click.says(t, 200, "No more reminders go to your e-mail address.")
	if !stopped() || click.head.Get("Set-Cookie") != "" {
		t.Errorf("stopped: %v, cookie: %q", stopped(), click.head.Get("Set-Cookie"))
	}
	for _, name := range []string{"Zofia", "Krajewik", "ewa@", "Autumn"} {
		if strings.Contains(click.body, name) {
			t.Errorf("the page says %q", name)
		}
	}
	guest.get(stop+"?lang=es").says(t, 200, "Ya no se envían recordatorios")
	guest.post(stop, url.Values{"again": {"yes"}}).says(t, 200, "They come again.")
	if stopped() {
		t.Error("it was not taken back")
	}
	guest.get("/stop/made-up").says(t, 404)
	guest.post("/stop/made-up", nil).says(t, 404)
	// Another page of the web cannot press the button in somebody's browser.
	req, err := http.NewRequest(http.MethodPost, h.URL+other, strings.NewReader(""))
	h.must(err)
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	r, err := http.DefaultClient.Do(req)
	h.must(err)
	r.Body.Close()
	if r.StatusCode != http.StatusForbidden {
		t.Errorf("a foreign page may: %d", r.StatusCode)
	}
}

func TestTheSchoolWritesInItsOwnWords(t *testing.T) {
	h := newMailHome(t)
	v := h.as(t, h.Owner)
	v.get(h.at+"/write").says(t, 200, "In your own words", "Krajewik")
	v.post(h.at+"/write", url.Values{"subject": {"Parking"}, "body": {"Dear {kids}"}}).says(t, 422, "{kids} names nothing in this wording", "Parking")
	r := v.post(h.at+"/write", url.Values{"subject": {"Parking"}, "body": {"Behind the hall, <please>."}, "family": {"h4"}})
	if r.to != h.at+"/preview" {
		t.Fatalf("%d %s %s", r.status, r.to, r.body)
	}
	v.get(h.at+"/preview").says(t, 200, "Your own words: 1 e-mail, 0 to hand over.", "Behind the hall, &lt;please&gt;.", "It does not concern them, or you did not choose them.")
	v.post(h.at+"/discard", nil)
	v.get(h.at+"/preview").says(t, 200, "Nothing is prepared")
	v.get("/school").says(t, 200)
	h.must(h.App.EditSchool(t.Context(), h.Owner, app.School{Name: "Otterlight"}))
	v.get(h.at).says(t, 200, "The links would lead nowhere")
	v.post(h.at+"/prepare", url.Values{"kind": {"link"}}).says(t, 409, "It is not written down where families reach the pages")
}
