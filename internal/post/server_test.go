package post

import (
	"context"
	"crypto/x509"
	"strings"
	"testing"
	"time"

	"rankwright/internal/post/posttest"
)

func letter() *Message {
	return &Message{ID: "7f3a.1@otterlight.example", Date: time.Date(2026, 9, 14, 16, 5, 6, 0, time.FixedZone("", 3600)),
		From: Address{"Otterlight", "desk@otterlight.example"}, To: Address{"Ines Calder", "ines@calder.example"},
		Subject: "Grading on 10 October", Text: "Dear Ines,\n\nthe grading is on 10 October.\n"}
}

// serverFor is a Server that talks to one of posttest.
func serverFor(t *testing.T, at *posttest.Server, how Security) *Server {
	t.Helper()
	s := NewServer(&Settings{Host: at.Host, Port: at.Port, Security: how})
	if how != Clear {
		pem, err := readPrivate(posttest.Authority(t))
		if err != nil {
			t.Fatal(err)
		}
		s.s.Authorities = x509.NewCertPool()
		s.s.Authorities.AppendCertsFromPEM(pem)
	}
	s.wait = waits{connect: 5 * time.Second, command: 5 * time.Second, block: 5 * time.Second, end: 300 * time.Millisecond, grace: 100 * time.Millisecond}
	return s
}

func TestALetterIsTakenRefusedOrUncertain(t *testing.T) {
	for _, c := range []struct {
		name  string
		harm  posttest.Harm
		large bool
		fate  Fate
		code  int
		taken int
		say   string
	}{
		{"taken", posttest.None, false, Accepted, 250, 1, "taken"},
		{"4yz to the recipient is for later", posttest.LaterAtRecipient, false, Later, 451, 0, "come back in a minute"},
		{"5yz to the recipient is for good", posttest.RefusedAtRecipient, false, Refused, 550, 0, "nobody of that name"},
		{"4yz after the letter is for later", posttest.LaterAtData, false, Later, 452, 0, "the disk is full"},
		{"5yz after the letter is for good", posttest.RefusedAtData, false, Refused, 554, 0, "nobody wants"},
		{"a connection lost in the middle is for later", posttest.CutBefore, true, Later, 0, 0, "in the middle of the letter"},
		{"a connection lost after the end is unsure, and the server had taken it", posttest.CutAfterTaking, false, Unsure, 0, 1, "before the server answered"},
		{"a connection lost after the end is unsure, and the server had not", posttest.CutAfterLosing, false, Unsure, 0, 0, "before the server answered"},
		{"a server that never answers is unsure", posttest.Silent, false, Unsure, 0, 1, "before the server answered"},
	} {
		t.Run(c.name, func(t *testing.T) {
			at := posttest.New(t, posttest.Options{Harm: func(string, int) posttest.Harm { return c.harm }})
			m := letter()
			if c.large {
				m.Files = []File{{"guide.pdf", "application/pdf", make([]byte, 8<<20)}}
			}
			r := serverFor(t, at, Clear).Send(context.Background(), m)
			if r.Fate != c.fate || r.Code != c.code || !strings.Contains(r.Say, c.say) {
				t.Errorf("%+v, should be %v with %d and say %q", r, c.fate, c.code, c.say)
			}
			if got := at.Letters(); len(got) != c.taken {
				t.Errorf("the server has %d letters, and should have %d", len(got), c.taken)
			}
		})
	}
}
