package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rankwright/internal/app"
	"rankwright/internal/post/posttest"
)

// mailFile writes settings for a server of the tests.
func mailFile(t *testing.T, at *posttest.Server, password string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "mail.json")
	text := fmt.Sprintf(`{"format": 1, "server": %q, "port": %d, "authorities": %q, "user": %q, "password": %q, "from": "desk@otterlight.example", "name": "Otterlight"}`,
		at.Host, at.Port, posttest.Authority(t), posttest.User, password)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestTheMailSettingsAreTriedAtTheServer(t *testing.T) {
	at := posttest.New(t, posttest.Options{TLS: true, SignIn: true})
	good := mailFile(t, at, posttest.Password)
	mail := func(want int, args ...string) (string, string) {
		var out, errs strings.Builder
		if code := run(t.Context(), append([]string{"mail"}, args...), strings.NewReader(""), &out, &errs); code != want {
			t.Fatalf("%v ended with %d: %s%s", args, code, out.String(), errs.String())
		}
		return out.String(), errs.String()
	}
	out, _ := mail(done, good)
	if !strings.Contains(out, "can be reached, and the user may sign in. Letters come from desk@otterlight.example, at most 20 a minute.\nNo letter was sent") || len(at.Letters()) != 0 {
		t.Errorf("%s, %d letters", out, len(at.Letters()))
	}
	out, _ = mail(done, good, "--to", "Ines@Calder.example")
	if got := at.Letters(); !strings.Contains(out, "has taken a letter to Ines@Calder.example") || len(got) != 1 || got[0].To != "Ines@calder.example" || !strings.Contains(string(got[0].Data), "\r\nSubject: A letter to check the mail settings\r\n") {
		t.Errorf("%s, %+v", out, got)
	}
	_, errs := mail(answerNo, mailFile(t, at, "six otters"))
	if !strings.Contains(errs, "does not accept the user and the password of the settings: 535 ") || strings.Contains(errs, "six otters") {
		t.Error(errs)
	}
}

func TestServingSaysHowMessagesLeave(t *testing.T) {
	at := posttest.New(t, posttest.Options{TLS: true, SignIn: true})
	path := mailFile(t, at, posttest.Password)
	dir := t.TempDir()
	for _, c := range []struct {
		args []string
		say  string
	}{
		{[]string{"--mail", path}, "Messages go through the mail server 127.0.0.1, as desk@otterlight.example, at most 20 a minute.\n"},
		{[]string{"--mail", path, "--mail-dry"}, "Messages are written, and none is sent (--mail-dry).\n"},
		{[]string{"--mail-dry"}, "Messages are written, and none is sent (--mail-dry).\n"},
	} {
		r := start(t, append([]string{"serve", "--data", dir, "--addr", "127.0.0.1:0"}, c.args...)...)
		if !strings.Contains(r.said, c.say) {
			t.Errorf("%v says\n%s", c.args, r.said)
		}
		code, rest, errs := r.stop()
		if code != done {
			t.Errorf("it ended with %d: %s", code, errs)
		}
		if strings.Contains(r.said+rest+errs, posttest.Password) {
			t.Errorf("%v prints the password", c.args)
		}
	}
	// Nor is anything of it in the base, or in a backup.
	var out strings.Builder
	if code := run(t.Context(), []string{"backup", "--data", dir, "-o", filepath.Join(dir, "backup.db")}, strings.NewReader(""), &out, &out); code != done {
		t.Fatalf("%d: %s", code, out.String())
	}
	err := filepath.WalkDir(dir, func(p string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(p)
		for _, secret := range []string{posttest.Password, posttest.User} {
			if bytes.Contains(data, []byte(secret)) {
				t.Errorf("%s holds %q", d.Name(), secret)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestALetterOfTheAppBecomesAMessageOfTheSchool(t *testing.T) {
	m := &mailer{settings: nowhere()}
	m.settings.From.Mail, m.settings.ReplyTo.Mail = "desk@otterlight.example", "answers@otterlight.example"
	l := app.Letter{ID: "message-k3", To: "ines@calder.example", From: "Otterlight", Subject: "Mañana", Text: "Hola", Lang: "es", Date: time.Date(2026, 9, 14, 16, 5, 6, 0, time.UTC), Stop: "https://pages.otterlight.example/stop/x"}
	data, err := m.EML(l)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"From: Otterlight <desk@otterlight.example>", "Reply-To: answers@otterlight.example", "To: ines@calder.example", "Message-ID: <message-k3@otterlight.example>",
		"Content-Language: es", "List-Unsubscribe: <https://pages.otterlight.example/stop/x>", "List-Unsubscribe-Post: List-Unsubscribe=One-Click"} {
		if !strings.Contains(string(data), want+"\r\n") {
			t.Errorf("there is no %q in\n%s", want, data)
		}
	}
	m.settings.From.Name = "Otterlight Quay"
	if data, _ := m.EML(l); !strings.Contains(string(data), "From: Otterlight Quay <") {
		t.Errorf("%s", data)
	}
	if m.Check("ines@calder.example") != nil || m.Check("ines") == nil {
		t.Error("an address is judged wrongly")
	}
}

func TestAReportOfAMailServerBecomesWhatTheAppNotes(t *testing.T) {
	report := func(action string) []byte {
		return []byte("From: x@y.example\nIn-Reply-To: <message-k3@otterlight.example>\nContent-Type: multipart/report; boundary=b\n\n--b\nContent-Type: message/delivery-status\n\n" +
			"Reporting-MTA: dns; y.example\n\nFinal-Recipient: rfc822; ines@calder.example\nAction: " + action + "\nStatus: 4.2.2\nDiagnostic-Code: smtp; 452 full\n\n--b--\n")
	}
	for action, permanent := range map[string]bool{"failed": true, "delayed": false} {
		got, err := readBounce(report(action))
		if err != nil || len(got) != 1 || got[0] != (app.Bounce{ID: "message-k3@otterlight.example", Address: "ines@calder.example", Permanent: permanent, Diagnostic: "4.2.2 452 full"}) {
			t.Errorf("%s: %+v, %v", action, got, err)
		}
	}
	if got, err := readBounce(report("delivered")); err == nil || got != nil || !strings.Contains(err.Error(), "has arrived") {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := readBounce([]byte("x")); err == nil {
		t.Error("what is no report is read")
	}
}
