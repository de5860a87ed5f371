// Package posttest is a mail server for tests: it listens on this machine, speaks
// SMTP by way of go-smtp, keeps what it has taken, and does the harm it is told
// to do.
package posttest

import (
	"crypto/tls"
	"encoding/pem"
	"errors"
	"io"
	"log"
	"net"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// A Letter is one that the server has taken.
type Letter struct {
	From, To string // of the envelope
	Data     []byte // CRLF at the ends of lines
	// Secure tells whether it came over TLS, and User who had signed in.
	Secure bool
	User   string
}

// Harm is what the server does instead of taking a letter.
type Harm uint8

const (
	// None takes it.
	None Harm = iota
	// LaterAtRecipient and RefusedAtRecipient answer 451 and 550 to RCPT.
	LaterAtRecipient
	RefusedAtRecipient
	// LaterAtData and RefusedAtData answer so after all of the letter.
	LaterAtData
	RefusedAtData
	// CutBefore closes the connection in the middle of the letter, which has to
	// be larger than CutAfter.
	CutBefore
	// CutAfterTaking takes the letter, and closes the connection without an answer.
	CutAfterTaking
	// CutAfterLosing closes it without an answer, and takes nothing.
	CutAfterLosing
	// Silent takes the letter and never answers.
	Silent
	// RefusedAtSender answers 550 to MAIL.
	RefusedAtSender
)

// CutAfter is how many octets CutBefore reads.
const CutAfter = 64 << 10

// User and Password open the server where signing in is asked for.
const User, Password = "desk@otterlight.example", "five otters # swim: 7%"

// Server is a mail server.
type Server struct {
	Host string
	Port int
	mu   sync.Mutex
	got  []Letter
	harm func(to string, nth int) Harm
	done func(to string)
	seen map[string]int
	ends chan struct{}
}

// Options of a server; the zero value is one in the clear, for anybody.
type Options struct {
	// TLS speaks TLS from the beginning, StartTLS offers it.
	TLS, StartTLS bool
	// SignIn asks for User and Password.
	SignIn bool
	// Size is the most octets that it takes in one letter; 0 is no limit.
	Size int64
	// Harm is asked for each letter that comes for an address; nth counts from 1.
	Harm func(to string, nth int) Harm
	// Taken is called when a letter is kept and not answered yet.
	Taken func(to string)
}

// New starts a server, which ends with the test.
func New(t testing.TB, o Options) *Server {
	t.Helper()
	s := &Server{harm: o.Harm, done: o.Taken, seen: map[string]int{}, ends: make(chan struct{})}
	if s.harm == nil {
		s.harm = func(string, int) Harm { return None }
	}
	if s.done == nil {
		s.done = func(string) {}
	}
	srv := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		p := &plain{session{s: s, c: c}}
		if o.SignIn {
			return &signedIn{p}, nil
		}
		return p, nil
	}))
	srv.Domain = "mail.otterlight.example"
	srv.ErrorLog = log.New(io.Discard, "", 0)
	srv.MaxMessageBytes = o.Size
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.Host, s.Port = "127.0.0.1", ln.Addr().(*net.TCPAddr).Port
	if o.TLS || o.StartTLS {
		srv.TLSConfig = &tls.Config{Certificates: certificate(t).Certificates, MinVersion: tls.VersionTLS12}
	} else {
		srv.AllowInsecureAuth = true
	}
	if o.TLS {
		ln = tls.NewListener(ln, srv.TLSConfig)
		srv.TLSConfig = nil // no STARTTLS within TLS
	}
	go func() { _ = srv.Serve(ln) }()
	t.Cleanup(func() {
		close(s.ends)
		_ = srv.Close()
	})
	return s
}

// certificate is that of net/http/httptest, for example.com and 127.0.0.1.
func certificate(t testing.TB) *tls.Config {
	h := httptest.NewTLSServer(nil)
	t.Cleanup(h.Close)
	return h.TLS
}

// Authority writes what vouches for the server's certificate into a file that
// its owner alone can read, and returns its path.
func Authority(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "authority.pem")
	der := certificate(t).Certificates[0].Certificate[0]
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Letters returns what was taken up to now.
func (s *Server) Letters() []Letter {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Letter(nil), s.got...)
}

type session struct {
	s        *Server
	c        *smtp.Conn
	user     string
	from, to string
	harm     Harm
}

func (x *session) Reset()        { x.from, x.to, x.harm = "", "", None }
func (x *session) Logout() error { return nil }

func answer(code int, say string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, 1, 1}, Message: say}
}

func (x *session) Mail(from string, _ *smtp.MailOptions) error {
	x.from = from
	return nil
}

func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	x.s.mu.Lock()
	x.s.seen[to]++
	nth := x.s.seen[to]
	x.s.mu.Unlock()
	x.to, x.harm = to, x.s.harm(to, nth)
	switch x.harm {
	case LaterAtRecipient:
		return answer(451, "come back in a minute")
	case RefusedAtRecipient:
		return answer(550, "nobody of that name lives here")
	}
	return nil
}

var errCut = errors.New("cut")

func (x *session) Data(r io.Reader) error {
	if x.harm == CutBefore {
		_, _ = io.CopyN(io.Discard, r, CutAfter)
		_ = x.c.Conn().Close()
		return errCut
	}
	data, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	switch x.harm {
	case LaterAtData:
		return answer(452, "the disk is full")
	case RefusedAtData:
		return answer(554, "this looks like something nobody wants")
	case CutAfterLosing:
		_ = x.c.Conn().Close()
		return errCut
	}
	_, secure := x.c.TLSConnectionState()
	if _, ok := x.c.Conn().(*tls.Conn); ok {
		secure = true
	}
	x.s.mu.Lock()
	x.s.got = append(x.s.got, Letter{From: x.from, To: x.to, Data: data, Secure: secure, User: x.user})
	x.s.mu.Unlock()
	x.s.done(x.to)
	switch x.harm {
	case CutAfterTaking:
		_ = x.c.Conn().Close()
		return errCut
	case Silent:
		select {
		case <-x.s.ends:
		case <-time.After(time.Minute):
		}
		return errCut
	}
	return nil
}

// plain is a session in which nobody signs in.
type plain struct{ session }

// signedIn is one in which somebody has to.
type signedIn struct{ *plain }

func (x *signedIn) AuthMechanisms() []string { return []string{sasl.Plain} }

func (x *signedIn) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != User || password != Password {
			return smtp.ErrAuthFailed
		}
		x.user = strings.Clone(user)
		return nil
	}), nil
}

func (x *signedIn) Mail(from string, o *smtp.MailOptions) error {
	if x.user == "" {
		return smtp.ErrAuthRequired
	}
	return x.session.Mail(from, o)
}
