package post

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/textproto"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail/smtp"

	"rankwright"
)

// Fate is what became of a letter.
type Fate uint8

const (
	// Accepted: the server has taken it and answers for it.
	Accepted Fate = iota + 1
	// Later: it was surely not taken, and may be when it is tried again.
	Later
	// Refused: it was surely not taken, and will not be.
	Refused
	// Unsure: all of it was sent, and the answer never came. Sent again it may
	// arrive twice.
	Unsure
)

// Result is what became of a letter, and the words for it.
type Result struct {
	Fate Fate
	// Code is the server's answer (RFC 5321 section 4.2), 0 where there was
	// none.
	Code int
	// Say is a sentence without a full stop. It may hold the address.
	Say string
	// Server is set where it is not about this letter: any other would have met
	// the same.
	Server bool
}

// Server is the school's mail server. It speaks SMTP (RFC 5321, Klensin 2008) as
// one who submits letters (RFC 6409).
type Server struct {
	s    Settings
	wait waits
}

// waits are how long an answer is waited for.
type waits struct {
	connect, command, block, end time.Duration
	// grace is what is left to a letter under way when the program ends.
	grace time.Duration
}

// usualWaits keep near to RFC 5321 section 4.5.3.2. The last one matters: who
// gives up on it too soon does not know whether the letter was taken.
var usualWaits = waits{connect: time.Minute, command: 2 * time.Minute, block: 3 * time.Minute, end: 10 * time.Minute, grace: 5 * time.Second}

// NewServer makes one from its settings. It connects only to send.
func NewServer(s *Settings) *Server { return &Server{s: *s, wait: usualWaits} }

// Check connects, signs in and says goodbye. Nothing is sent.
func (s *Server) Check(ctx context.Context) error {
	c, r := s.connect(ctx)
	if c == nil {
		return rankwright.Faultf(rankwright.Unavailable, "no_mail_server", "check the settings, and that the server runs", "%s", r.Say)
	}
	defer c.close()
	c.deadline(s.wait.command)
	_ = c.smtp.Quit() // it has let us in; how it says goodbye does not matter
	return nil
}

// Send hands one letter to the server. A letter is Accepted, Refused or to be
// sent Later only where that is certain.
func (s *Server) Send(ctx context.Context, m *Message) Result {
	data, err := m.Bytes()
	if err != nil {
		return Result{Fate: Refused, Say: err.Error()}
	}
	from, _ := CheckAddress(m.From.Mail) // Bytes has checked both
	to, _ := CheckAddress(m.To.Mail)
	c, r := s.connect(ctx)
	if c == nil {
		return r
	}
	defer c.close()
	if _, size := c.smtp.Extension("SIZE"); size != "" {
		if most, err := strconv.Atoi(size); err == nil && most > 0 && len(data) > most { // RFC 1870
			return Result{Fate: Refused, Say: fmt.Sprintf("the letter has %d kB, and the server takes at most %d", len(data)>>10, most>>10)}
		}
	}
	c.deadline(s.wait.command)
	if err := c.smtp.Mail("<" + from + ">"); err != nil {
		// Whatever it is, it is about the school's own address.
		r := answered(err, "when it was told who writes")
		r.Fate, r.Server = Later, true
		return r
	}
	c.deadline(s.wait.command)
	if err := c.smtp.Rcpt("<" + to + ">"); err != nil {
		return answered(err, "when it was told to whom")
	}
	c.deadline(s.wait.command)
	w, err := c.smtp.Data()
	if err != nil {
		return answered(err, "before the letter")
	}
	for len(data) > 0 {
		n := min(len(data), 32<<10)
		c.deadline(s.wait.block)
		if _, err := w.Write(data[:n]); err != nil {
			// The end of the letter was never said, so it cannot have been taken. A
			// server that had enough of it may have said why.
			if _, _, said := c.smtp.Text.ReadResponse(250); said != nil && code(said) != 0 {
				err = said
			}
			return answered(err, "in the middle of the letter")
		}
		data = data[n:]
	}
	// What was kept back goes out first, so that a break is seen before the end of
	// the letter is said, where it can be.
	c.deadline(s.wait.block)
	if err := c.smtp.Text.W.Flush(); err != nil {
		return answered(err, "in the middle of the letter")
	}
	c.deadline(s.wait.end)
	if err := w.Close(); err != nil {
		if code(err) == 0 {
			return Result{Fate: Unsure, Say: "all of the letter was sent, and the connection broke before the server answered"}
		}
		return answered(err, "after the letter")
	}
	c.deadline(s.wait.command)
	_ = c.smtp.Quit() // the letter is taken, whatever is said now
	return Result{Fate: Accepted, Code: 250, Say: "the server has taken it"}
}

// conn is a conversation under way.
type conn struct {
	ctx   context.Context
	net   net.Conn
	smtp  *smtp.Client
	grace time.Duration
	stop  func() bool
}

func (c *conn) close() {
	c.stop()
	c.net.Close()
}

// deadline says until when the next answer has to be there.
func (c *conn) deadline(d time.Duration) {
	_ = c.net.SetDeadline(time.Now().Add(d)) // a connection that cannot be waited on fails at the next word
	if c.ctx.Err() != nil {
		c.hurry()
	}
}

func (c *conn) hurry() { _ = c.net.SetDeadline(time.Now().Add(c.grace)) }

// connect opens a conversation up to where letters are taken. Without one it
// says why; that is never about a letter.
func (s *Server) connect(ctx context.Context) (*conn, Result) {
	no := func(err error, say string, args ...any) (*conn, Result) {
		r := Result{Fate: Later, Server: true, Code: code(err), Say: fmt.Sprintf(say, args...)}
		if why := cause(err); why != "" {
			r.Say += ": " + why
		}
		return nil, r
	}
	at := net.JoinHostPort(s.s.Host, strconv.Itoa(s.s.Port))
	dialing, cancel := context.WithTimeout(ctx, s.wait.connect)
	defer cancel()
	var d net.Dialer
	raw, err := d.DialContext(dialing, "tcp", at)
	if err != nil {
		return no(err, "the mail server %s cannot be reached", at)
	}
	c := &conn{ctx: ctx, net: raw, grace: s.wait.grace}
	c.stop = context.AfterFunc(ctx, c.hurry)
	ok := false
	defer func() {
		if !ok {
			c.close()
		}
	}()
	c.deadline(s.wait.connect)
	config := &tls.Config{ServerName: s.s.Host, MinVersion: tls.VersionTLS12, RootCAs: s.s.Authorities}
	way := net.Conn(raw)
	if s.s.Security == TLS {
		secure := tls.Client(raw, config)
		if err := secure.HandshakeContext(dialing); err != nil {
			return no(err, "no secure connection to the mail server %s", at)
		}
		way = secure
	}
	if c.smtp, err = smtp.NewClient(way, s.s.Host); err != nil {
		return no(err, "the mail server %s does not greet", at)
	}
	c.smtp.SkipSMTPUTF8(true) // all that we write is ASCII
	// An address of the machine itself is always in order and gives nothing away
	// (RFC 5321 section 4.1.3).
	if err := c.smtp.Hello("[127.0.0.1]"); err != nil {
		return no(err, "the mail server %s does not answer the greeting", at)
	}
	if s.s.Security == StartTLS {
		if offered, _ := c.smtp.Extension("STARTTLS"); !offered {
			return no(nil, "the mail server %s offers no secure connection (STARTTLS), and the settings ask for one", at)
		}
		if err := c.smtp.StartTLS(config); err != nil {
			return no(err, "no secure connection to the mail server %s", at)
		}
	}
	if s.s.User != "" {
		c.deadline(s.wait.command)
		auth, err := s.login(c.smtp)
		if err != nil {
			return no(err, "nobody can sign in at the mail server %s", at)
		}
		if err := c.smtp.Auth(auth); err != nil {
			return no(err, "the mail server %s does not accept the user and the password of the settings", at)
		}
	}
	ok = true
	return c, Result{}
}

// login chooses how to show the password: without saying it where the server can
// do that, else by the ways that go with a secure connection only.
func (s *Server) login(c *smtp.Client) (smtp.Auth, error) {
	_, offered := c.Extension("AUTH")
	user, password, host := s.s.User, string(s.s.Password), s.s.Host
	for _, m := range []struct {
		name string
		auth smtp.Auth
	}{
		{"SCRAM-SHA-256", smtp.ScramSHA256Auth(user, password)},
		{"SCRAM-SHA-1", smtp.ScramSHA1Auth(user, password)},
		{"PLAIN", smtp.PlainAuth("", user, password, host, false)},
		{"LOGIN", smtp.LoginAuth(user, password, host, false)},
		{"CRAM-MD5", smtp.CRAMMD5Auth(user, password)},
	} {
		for word := range strings.FieldsSeq(offered) {
			if strings.EqualFold(word, m.name) {
				return m.auth, nil
			}
		}
	}
	return nil, fmt.Errorf("it offers none of the ways that this program knows (%s)", shorten(offered))
}

// code is the number of a server's answer, 0 where err is none.
func code(err error) int {
	var e *textproto.Error
	if errors.As(err, &e) {
		return e.Code
	}
	return 0
}

// answered judges an answer that is no yes, or a connection that is gone, at a
// moment when the end of the letter was not said or was answered.
func answered(err error, when string) Result {
	r := Result{Fate: Later, Code: code(err)}
	if r.Code == 0 {
		// It may lie with the server; and it may be this letter that the server
		// cannot bear, so that the others go on.
		r.Say = "the connection to the mail server broke " + when
		return r
	}
	if r.Code >= 500 && r.Code < 600 {
		r.Fate = Refused
	}
	r.Say = fmt.Sprintf("the mail server answered %s: %s", when, cause(err))
	return r
}

// cause words an error for people: the server's own words, or what is the matter
// with the certificate or the network.
func cause(err error) string {
	var said *textproto.Error
	var unknown x509.UnknownAuthorityError
	var name x509.HostnameError
	var invalid x509.CertificateInvalidError
	var noTLS tls.RecordHeaderError
	var op *net.OpError
	switch {
	case err == nil:
		return ""
	case errors.As(err, &said):
		return fmt.Sprintf("%d %s", said.Code, shorten(line(said.Msg)))
	case errors.As(err, &unknown):
		return "nobody whom this machine trusts vouches for its certificate"
	case errors.As(err, &name):
		return "its certificate is for another name"
	case errors.As(err, &invalid):
		return "its certificate is not valid (" + line(invalid.Error()) + ")"
	case errors.As(err, &noTLS):
		return "what answers there does not speak TLS; with port 587 it is mostly starttls"
	case errors.Is(err, context.DeadlineExceeded) || errors.As(err, &op) && op.Timeout():
		return "there was no answer in time"
	}
	return shorten(line(err.Error()))
}
