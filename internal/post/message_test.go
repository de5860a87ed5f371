package post

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/post/posttest"
)

// subjects are in many scripts, and with what makes trouble in a header.
var subjects = []string{
	"Grading on 10 October",
	"Prüfung am 10. Oktober: Zoë, Łucja und Åse",
	"Examen del 10 de octubre: ¿vendrás, Íñigo?",
	"Ispit 10. listopada za Đurđicu Čavčić",
	"Экзамен десятого октября",
	"Εξετάσεις στις δέκα Οκτωβρίου",
	"審査会のお知らせ 十月十日",
	"10월 10일 심사 안내",
	"امتحان الحزام يوم العاشر من أكتوبر",
	"מבחן חגורה בעשרה באוקטובר",
	"การสอบเลื่อนสาย วันที่ ๑๐ ตุลาคม",
	"परीक्षा दस अक्टूबर को",
	"Kiểm tra ngày 10 tháng 10",
	"🥋 10 October 👩🏽‍🏫",
	`Quotes " and \ backslash; comma, <angle> (round)`,
	"=?utf-8?Q?not_what_it_seems?=",
	"an = and a ? and =?",
	strings.Repeat("long ", 39) + "end",
	strings.Repeat("x", 150),
	strings.Repeat("ü", 200),
	"  space   at ends\tand within ",
}

// bodies are texts that transports have been known to spoil.
var bodies = []string{
	"Dear Ines,\n\nthe grading is on 10 October.\n",
	"Line ending in a space \nand in a tab\t\nFrom the beginning of a line\n.\n..\n.dot\nend",
	"CRLF\r\nand LF\nand CR\rend\r\n",
	strings.Repeat("one long line without an end ", 100),
	strings.Repeat("é", 3000),
	"=3D is no =\n=\n==\n",
	"--=_0123456789\n\n--\n",
	"日本語の本文。\n\nالسلام عليكم\n\n",
	"",
	"\n\n\nbegins late",
}

func every(t *testing.T, f func(name string, m *Message)) {
	t.Helper()
	for i := range max(len(subjects), len(bodies)) {
		m := letter()
		m.ID = string(rune('a'+i)) + ".1@otterlight.example"
		m.Subject, m.Text = subjects[i%len(subjects)], bodies[i%len(bodies)]
		m.From.Name = line(subjects[(i+3)%len(subjects)])
		m.To.Name = line(subjects[(i+7)%len(subjects)])
		for _, a := range []*Address{&m.From, &m.To} {
			if r := []rune(a.Name); len(r) > mostName {
				a.Name = strings.TrimSpace(string(r[:mostName]))
			}
		}
		if i%2 == 1 {
			m.Lang = "es"
			m.HTML = "<p>" + bodies[(i+1)%len(bodies)] + "</p>"
			m.OptOut = "https://grading.otterlight.example/stop/0123456789abcdef"
			if i%4 == 3 { // no click for a program there, RFC 8058 section 3.1
				m.OptOut = "http://192.168.7.20:8390/stop/0123456789abcdef"
			}
		}
		if i%3 == 1 {
			m.ReplyTo = Address{"Écurie, the desk", "reply@otterlight.example"}
			m.Files = []File{
				{"Führer für Gelb.pdf", "application/pdf", bytes.Repeat([]byte{0, 255, '\r', '\n', '%'}, 100*i)},
				{"times.ics", "text/calendar; charset=utf-8; method=PUBLISH", []byte("BEGIN:VCALENDAR\r\nSUMMARY:Prüfung\r\nEND:VCALENDAR\r\n")},
			}
		}
		f(m.Subject, m)
	}
}

func TestALetterReadsAsItWasWrittenAfterARealConversation(t *testing.T) {
	r := newReader(t)
	at := posttest.New(t, posttest.Options{TLS: true, SignIn: true})
	s := serverFor(t, at, TLS)
	s.s.User, s.s.Password = posttest.User, posttest.Password
	n := 0
	every(t, func(name string, m *Message) {
		n++
		if got := s.Send(context.Background(), m); got.Fate != Accepted {
			t.Fatalf("%s: %+v", name, got)
		}
		all := at.Letters()
		if len(all) != n {
			t.Fatalf("%d letters came of %d", len(all), n)
		}
		l := all[n-1]
		if l.From != m.From.Mail || l.To != m.To.Mail || !l.Secure || l.User != posttest.User {
			t.Errorf("the envelope is %s to %s, secure %v, by %q", l.From, l.To, l.Secure, l.User)
		}
		sent, err := m.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(l.Data, sent) {
			t.Errorf("%s: what came is not what was sent:\n%q\n%q", name, l.Data, sent)
		}
		r.holds(t, l.Data, m)
		if t.Failed() {
			t.Fatalf("in the letter %q", name)
		}
	})
}

func TestTheSameLetterGivesTheSameBytes(t *testing.T) {
	m := letter()
	m.HTML, m.Files = "<p>x</p>", []File{{"a.pdf", "application/pdf", []byte("x")}}
	a, err := m.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	b, _ := m.Bytes()
	if !bytes.Equal(a, b) {
		t.Error("twice the same letter is not the same")
	}
	m.ID = "other@otterlight.example"
	if c, _ := m.Bytes(); bytes.Equal(a, c) {
		t.Error("another Message-ID changes nothing")
	}
}

func TestALetterThatCannotBeSentSaysWhy(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*Message)
		say   string
	}{
		{"no address", func(m *Message) { m.To.Mail = "" }, `"" is not a mail address: it has no @`},
		{"a line end in an address", func(m *Message) { m.To.Mail = "a@b.example\r\nBcc: c@d.example" }, "is not a mail address"},
		{"a line end in the sender's address", func(m *Message) { m.From.Mail = "a\n@b.example" }, "is not a mail address"},
		{"a bad address for answers", func(m *Message) { m.ReplyTo.Mail = "desk" }, `"desk" is not a mail address: it has no @; write it as name@example.org`},
		{"no subject", func(m *Message) { m.Subject = " \r\n " }, "the letter has no subject"},
		{"a long subject", func(m *Message) { m.Subject = strings.Repeat("x", 201) }, "the subject has 201 characters"},
		{"a long name", func(m *Message) { m.To.Name = strings.Repeat("x", 121) }, "has 121 characters"},
		{"no date", func(m *Message) { m.Date = time.Time{} }, "the letter has no date"},
		{"no Message-ID", func(m *Message) { m.ID = "" }, "cannot be the Message-ID"},
		{"a Message-ID with a line end", func(m *Message) { m.ID = "a\r\nBcc: x@y.example" }, "cannot be the Message-ID"},
		{"an opt-out that is no address", func(m *Message) { m.OptOut = "javascript:alert(1)" }, "is no address at which"},
		{"an opt-out with a line end", func(m *Message) { m.OptOut = "https://a.example/\r\nBcc: x" }, "is no address at which"},
		{"an opt-out that names two", func(m *Message) { m.OptOut = "https://a.example/>,<mailto:x@y.example" }, "is no address at which"},
		{"a language with a line end", func(m *Message) { m.Lang = "es\r\nBcc: x" }, "is no language"},
		{"a file without a name", func(m *Message) { m.Files = []File{{"", "application/pdf", nil}} }, "cannot be the name of a file"},
		{"a file with a way in its name", func(m *Message) { m.Files = []File{{"../a.pdf", "application/pdf", nil}} }, "cannot be the name of a file"},
		{"a file with a line end in its name", func(m *Message) { m.Files = []File{{"a\r\nb.pdf", "application/pdf", nil}} }, "cannot be the name of a file"},
		{"a file of no kind", func(m *Message) { m.Files = []File{{"a.pdf", "pdf", nil}} }, "cannot be the kind of the file a.pdf"},
		{"a file with a line end in its kind", func(m *Message) { m.Files = []File{{"a.pdf", "a/b;\r\n x=y", nil}} }, "cannot be the kind of the file a.pdf"},
		{"too much", func(m *Message) { m.Files = []File{{"a.pdf", "application/pdf", make([]byte, 10<<20)}} }, "many mail servers take no more than 12"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := letter()
			c.spoil(m)
			data, err := m.Bytes()
			if err == nil || data != nil || !strings.Contains(err.Error(), c.say) {
				t.Errorf("%v, should say %q", err, c.say)
			}
			if k := rankwright.KindOf(err); k != rankwright.Invalid && k != rankwright.TooLarge {
				t.Errorf("it is of kind %d", k)
			}
		})
	}
}

func TestEveryFaultOfALetterIsToldAtOnce(t *testing.T) {
	_, err := (&Message{}).Bytes()
	if got := strings.Count(err.Error(), "\n") + 1; got != 5 { // date, from, to, id, subject
		t.Errorf("%d faults:\n%v", got, err)
	}
}

// Whatever is written into it, a letter has the headers that it should have and
// no other, and its recipients are one.
func FuzzNobodyWritesAHeaderOfTheirOwn(f *testing.F) {
	r := newReader(f)
	f.Add("Otterlight", "Ines", "Grading", "Dear Ines", "guide.pdf")
	f.Add("a\r\nBcc: x@y.example", "b\nTo: z@y.example", "c\r\n\r\nbody", "\r\n.\r\nMAIL FROM:<x@y.example>\r\n", "a.pdf")
	f.Add("a\rBcc: x@y.example", "\u2028Bcc: q", "\x85Bcc: q", "\x00", "a\x00")
	f.Add(`"Bcc: x@y.example" <z@y.example>,`, `a\`, "=?utf-8?Q?=0D=0ABcc:_x?=", "--=_\r\n", `; x=`)
	f.Add("\xff\xfe", "(comment)", "=?", strings.Repeat("x", 1000), "ü.pdf")
	f.Fuzz(func(t *testing.T, from, to, subject, text, file string) {
		m := letter()
		m.From.Name, m.To.Name, m.Subject, m.Text, m.HTML = from, to, subject, text, text
		m.Files = []File{{file, "application/pdf", []byte(text)}}
		data, err := m.Bytes()
		if err != nil {
			if len(subject) < 50 && len(from) < 40 && len(to) < 40 && line(subject) != "" && line(file) == file && file != "" && len(file) < 40 && !strings.ContainsAny(file, `/\":*?<>|`) {
				t.Errorf("refused: %v", err)
			}
			return
		}
		m.From.Name, m.To.Name = line(from), line(to)
		r.holds(t, data, m)
	})
}

// The same, with letters and signs of many scripts drawn at random.
func TestAnyNameAndAnySubjectComeOutAsTheyWere(t *testing.T) {
	r := newReader(t)
	text := rapid.StringOfN(rapid.OneOf(rapid.Rune(), rapid.RuneFrom([]rune(" ,;:<>()@[]\"\\=?_.-abcÄ"))), 0, mostName, -1)
	rapid.Check(t, func(rt *rapid.T) {
		m := letter()
		m.Subject = "x" + text.Draw(rt, "subject")
		m.From.Name, m.To.Name = line(text.Draw(rt, "from")), line(text.Draw(rt, "to"))
		m.Text = text.Draw(rt, "text")
		data, err := m.Bytes()
		if err != nil {
			rt.Fatal(err)
		}
		r.holds(rt, data, m)
	})
}
