package post

import (
	"context"
	"crypto/x509"
	"net"
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
			if r.Fate != c.fate || r.Code != c.code || r.Server || !strings.Contains(r.Say, c.say) {
				t.Errorf("%+v, should be %v with %d and say %q", r, c.fate, c.code, c.say)
			}
			if got := at.Letters(); len(got) != c.taken {
				t.Errorf("the server has %d letters, and should have %d", len(got), c.taken)
			}
		})
	}
}

func TestAWrongWayToTheServerIsNamedAndCostsNoLetter(t *testing.T) {
	for _, c := range []struct {
		name string
		at   posttest.Options
		how  Security
		user string
		pass Secret
		host string
		weak bool // trusts nobody's certificate
		say  string
	}{
		{"TLS", posttest.Options{TLS: true}, TLS, "", "", "", false, ""},
		{"STARTTLS", posttest.Options{StartTLS: true}, StartTLS, "", "", "", false, ""},
		{"STARTTLS and a password", posttest.Options{StartTLS: true, SignIn: true}, StartTLS, posttest.User, posttest.Password, "", false, ""},
		{"a wrong password", posttest.Options{TLS: true, SignIn: true}, TLS, posttest.User, "wrong", "", false, "does not accept the user and the password of the settings: 535 "},
		{"no user where one is asked for", posttest.Options{TLS: true, SignIn: true}, TLS, "", "", "", false, "when it was told who writes: 502"},
		{"no STARTTLS where the settings ask for it", posttest.Options{}, StartTLS, "", "", "", false, "offers no secure connection (STARTTLS), and the settings ask for one"},
		{"TLS at a server that speaks in the clear", posttest.Options{}, TLS, "", "", "", false, "no secure connection to the mail server"},
		{"a certificate that nobody trusted vouches for", posttest.Options{TLS: true}, TLS, "", "", "", true, "nobody whom this machine trusts vouches for its certificate"},
		{"the same with STARTTLS, before the password is said", posttest.Options{StartTLS: true, SignIn: true}, StartTLS, posttest.User, posttest.Password, "", true, "nobody whom this machine trusts vouches for its certificate"},
		{"a certificate for another name", posttest.Options{TLS: true}, TLS, "", "", "localhost", false, "its certificate is for another name"},
		{"a password where nobody can sign in", posttest.Options{TLS: true}, TLS, posttest.User, posttest.Password, "", false, "nobody can sign in"},
	} {
		t.Run(c.name, func(t *testing.T) {
			at := posttest.New(t, c.at)
			s := serverFor(t, at, c.how)
			s.s.User, s.s.Password = c.user, c.pass
			if c.host != "" {
				s.s.Host = c.host
			}
			if c.weak {
				s.s.Authorities = nil
			}
			r := s.Send(context.Background(), letter())
			if c.say == "" {
				if r.Fate != Accepted || len(at.Letters()) != 1 {
					t.Fatalf("%+v, %d letters", r, len(at.Letters()))
				}
				if l := at.Letters()[0]; !l.Secure || l.User != c.user {
					t.Errorf("it came over TLS: %v, by %q", l.Secure, l.User)
				}
				if err := s.Check(context.Background()); err != nil {
					t.Error(err)
				}
			} else if r.Fate != Later || !r.Server || !strings.Contains(r.Say, c.say) {
				t.Errorf("%+v, should say %q", r, c.say)
			}
			if c.pass != "" && strings.Contains(r.Say, string(c.pass)) {
				t.Errorf("the password stands in %q", r.Say)
			}
			if err := s.Check(context.Background()); c.say != "" && !strings.Contains(c.name, "no user") && (err == nil || !strings.Contains(err.Error(), c.say)) {
				t.Errorf("the check says %v, and should say %q", err, c.say)
			}
			if c.say != "" && len(at.Letters()) > 0 {
				t.Error("a letter came all the same")
			}
		})
	}
}

func TestAServerThatIsNotThereIsForLater(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := ln.Addr().(*net.TCPAddr).Port
	ln.Close()
	s := NewServer(&Settings{Host: "127.0.0.1", Port: port, Security: Clear})
	if r := s.Send(context.Background(), letter()); r.Fate != Later || !r.Server || !strings.Contains(r.Say, "cannot be reached") {
		t.Errorf("%+v", r)
	}
}

func TestALetterOverTheServersLimitIsRefusedBeforeItIsSent(t *testing.T) {
	at := posttest.New(t, posttest.Options{Size: 20 << 10})
	m := letter()
	m.Files = []File{{"guide.pdf", "application/pdf", make([]byte, 30<<10)}}
	if r := serverFor(t, at, Clear).Send(context.Background(), m); r.Fate != Refused || !strings.Contains(r.Say, "the letter has 41 kB, and the server takes at most 20") {
		t.Errorf("%+v", r)
	}
}

func TestALetterThatCannotBeWrittenTroublesNoServer(t *testing.T) {
	m := letter()
	m.To.Mail = "nobody"
	if r := NewServer(&Settings{Host: "127.0.0.1", Port: 1, Security: Clear}).Send(context.Background(), m); r.Fate != Refused || !strings.Contains(r.Say, "it has no @") {
		t.Errorf("%+v", r)
	}
}

// A program that ends leaves a letter under way a moment to be answered, and
// begins no other.
func TestAProgramThatEndsGivesTheLetterUnderWayAMoment(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	at := posttest.New(t, posttest.Options{Harm: func(string, int) posttest.Harm { cancel(); return posttest.None }})
	s := serverFor(t, at, Clear)
	s.wait.grace = 5 * time.Second
	if r := s.Send(ctx, letter()); r.Fate != Accepted || len(at.Letters()) != 1 {
		t.Errorf("%+v", r)
	}
	if r := s.Send(ctx, letter()); r.Fate != Later || len(at.Letters()) != 1 {
		t.Errorf("%+v", r)
	}
}

func TestAProgramThatEndsDoesNotWaitForASilentServer(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	at := posttest.New(t, posttest.Options{Harm: func(string, int) posttest.Harm { return posttest.Silent }})
	s := serverFor(t, at, Clear)
	s.wait.end = time.Hour
	time.AfterFunc(200*time.Millisecond, cancel)
	if r := s.Send(ctx, letter()); r.Fate != Unsure {
		t.Errorf("%+v", r)
	}
}
