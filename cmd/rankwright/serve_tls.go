package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/crypto/acme/autocert"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/tlsca"
	"rankwright/internal/web"
)

// trustPort is where the install page of --tls-local answers plain HTTP, on
// the host of --addr.
const trustPort = "8389"

// tlsFlags say who vouches for the pages.
type tlsFlags struct {
	cert, key string
	name      string
	local     bool
	plain     string // the address that answers plain HTTP beside the pages
}

func (f *tlsFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.cert, "tls-cert", "", "serve HTTPS with the certificate (and its chain) in this PEM file")
	c.Flags().StringVar(&f.key, "tls-key", "", "the private key of --tls-cert, in PEM")
	c.Flags().StringVar(&f.name, "tls-name", "", "serve HTTPS as this public name, with a certificate from Let's Encrypt")
	c.Flags().BoolVar(&f.local, "tls-local", false, "serve HTTPS with an authority of this school's own, which each device is told to trust once")
	c.Flags().StringVar(&f.plain, "plain-addr", "", "with --tls-local the address of the page that installs the authority (port "+trustPort+"), with --tls-name of the way on to HTTPS")
}

func (f *tlsFlags) check() error {
	n := 0
	for _, on := range []bool{f.cert != "" || f.key != "", f.name != "", f.local} {
		if on {
			n++
		}
	}
	switch {
	case n > 1:
		return used{errors.New("choose one of --tls-cert with --tls-key, --tls-name, --tls-local")}
	case (f.cert == "") != (f.key == ""):
		return used{errors.New("--tls-cert and --tls-key go together")}
	case f.plain != "" && f.name == "" && !f.local:
		return used{errors.New("--plain-addr goes with --tls-local or --tls-name")}
	case f.name != "" && (strings.ContainsAny(f.name, ":/ ") || net.ParseIP(f.name) != nil || !strings.Contains(f.name, ".")):
		return used{fmt.Errorf("--tls-name %q is no public name: write it as school.example.org", f.name)}
	}
	return nil
}

// secured is how the pages are served.
type secured struct {
	config *tls.Config // nil is plain HTTP
	names  []string    // by which the certificate wants to be called, where it says so
	strict bool        // browsers may be told to come by HTTPS only
	plain  func(pages string) http.Handler
	told   func(out io.Writer, plain []string) // what holds, for people
}

// secure makes what --tls-… ask for; dir is the folder of the data.
func (f *tlsFlags) secure(dir string, a *app.App) (s secured, err error) {
	switch {
	case f.cert != "":
		pair, err := readPair(f.cert, f.key)
		if err != nil {
			return s, err
		}
		s.config, s.strict = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}}, true
		for _, n := range pair.Leaf.DNSNames {
			if !strings.HasPrefix(n, "*") {
				s.names = append(s.names, n)
			}
		}
		s.told = func(out io.Writer, _ []string) {
			fmt.Fprintf(out, "This is HTTPS with your own certificate, good until %s. Start the program again after renewing it.\n", pair.Leaf.NotAfter.Format("2 January 2006"))
		}
	case f.name != "":
		m := f.acme(dir)
		s.config, s.names, s.strict = m.TLSConfig(), []string{f.name}, true
		s.config.MinVersion = tls.VersionTLS12
		s.plain = func(string) http.Handler { return m.HTTPHandler(nil) }
		s.told = func(out io.Writer, _ []string) {
			fmt.Fprintf(out, "This is HTTPS as %s. The certificate comes from Let's Encrypt at the first visit, whose terms you accept by this; for that, port 443 of %s must lead here from the internet.\n", f.name, f.name)
		}
	case f.local:
		ca, err := tlsca.Open(filepath.Join(dir, "tls"), tlsca.Options{})
		if err != nil {
			return s, err
		}
		s.config = ca.Config()
		s.plain = func(pages string) http.Handler {
			_, port, _ := net.SplitHostPort(pages)
			return web.NewTrust(web.Authority{File: ca.PEM(), Fingerprint: ca.Fingerprint(), Port: port}, func(ctx context.Context) string {
				sc, _ := a.School(ctx)
				return sc.Name
			})
		}
		s.told = func(out io.Writer, plain []string) {
			fmt.Fprintf(out, "This is HTTPS with an authority of this school's own. Each device must be told once to trust it, on this page:\n\n")
			for _, p := range plain {
				fmt.Fprintf(out, "  %s\n", p)
			}
			fmt.Fprintf(out, "\nThe authority's SHA-256 fingerprint, to compare on the device:\n  %s\n", ca.Fingerprint())
			for _, ip := range ca.Outside() {
				fmt.Fprintf(out, "It does not vouch for %s, which is not an address of a private network.\n", ip)
			}
		}
	default:
		s.told = func(out io.Writer, _ []string) {
			fmt.Fprintf(out, "This is plain HTTP: while marks are given, the page must stay open until it says that every mark is saved.\nWith --tls-local, --tls-cert or --tls-name it is HTTPS, and the page of marks can be opened again without the network.\n")
		}
	}
	return s, nil
}

// acme fetches and renews the certificate of a public name. It keeps them
// beside the data.
func (f *tlsFlags) acme(dir string) *autocert.Manager {
	return &autocert.Manager{Prompt: autocert.AcceptTOS, HostPolicy: autocert.HostWhitelist(f.name), Cache: autocert.DirCache(filepath.Join(dir, "tls", "acme"))}
}

// readPair reads a certificate and its key, and refuses a key that anybody on
// the machine may read.
func readPair(cert, key string) (tls.Certificate, error) {
	info, err := os.Stat(key)
	if err != nil {
		return tls.Certificate{}, unreadable(key, err)
	}
	if info.Mode().Perm()&0o007 != 0 && os.PathSeparator == '/' {
		return tls.Certificate{}, rankwright.Faultf(rankwright.Invalid, "key_open", "take that right away (chmod o= "+key+")", "everybody on this machine may read the key %s", key)
	}
	certText, err := os.ReadFile(cert)
	if err != nil {
		return tls.Certificate{}, unreadable(cert, err)
	}
	keyText, err := os.ReadFile(key)
	if err != nil {
		return tls.Certificate{}, unreadable(key, err)
	}
	pair, err := tls.X509KeyPair(certText, keyText)
	if err == nil && pair.Leaf == nil {
		pair.Leaf, err = x509.ParseCertificate(pair.Certificate[0])
	}
	if err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "bad_pair", "name the certificate with its chain, and the key that belongs to it, both in PEM", "%s and %s are no certificate and its key", cert, key)
		f.Err = err
		return pair, f
	}
	return pair, nil
}

// servePlain listens for what answers plain HTTP beside the pages; it returns
// nil where nothing does.
func (f *tlsFlags) servePlain(ctx context.Context, s *secured, pages net.Addr, log *slog.Logger) ([]string, error) {
	at := f.plain
	if at == "" && f.local {
		tcp := pages.(*net.TCPAddr)
		host, port := "", trustPort
		if !tcp.IP.IsUnspecified() {
			host = tcp.IP.String()
		}
		if tcp.Port != servePort() {
			port = "0" // not the usual one: then neither is this
		}
		at = net.JoinHostPort(host, port)
	}
	if at == "" || s.plain == nil {
		return nil, nil
	}
	ln, err := listen(ctx, at)
	if err != nil {
		var f *rankwright.Fault
		if errors.As(err, &f) {
			f.Do = strings.Replace(f.Do, "--addr", "--plain-addr", 1)
		}
		return nil, err
	}
	go func() {
		if err := serveUntilDone(ctx, ln, s.plain(pages.String()), nil, log); err != nil {
			log.Error("the plain page ended", "error", err.Error())
		}
	}()
	return addresses(ln.Addr(), "http"), nil
}

func servePort() int {
	_, p, _ := net.SplitHostPort(serveAddress)
	n, _ := strconv.Atoi(p)
	return n
}

// addresses lists the pages' addresses, those that the certificate knows by
// name first.
func (s *secured) addresses(at net.Addr) []string {
	scheme := "http"
	if s.config != nil {
		scheme = "https"
	}
	var out []string
	for _, n := range s.names {
		u := scheme + "://" + n
		if port := at.(*net.TCPAddr).Port; port != 443 {
			u += fmt.Sprintf(":%d", port)
		}
		out = append(out, u)
	}
	return append(out, addresses(at, scheme)...)
}

// reach lists the addresses at which devices reach the pages.
func (s *secured) reach(at net.Addr) func() []string {
	return func() []string {
		var out []string
		for _, u := range s.addresses(at) {
			if !strings.Contains(u, "//127.") && !strings.Contains(u, "//[::1]") {
				out = append(out, u)
			}
		}
		return out
	}
}

// onlyHTTPS tells browsers to come by HTTPS from now on (RFC 6797).
func onlyHTTPS(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Strict-Transport-Security", "max-age=31536000")
		h.ServeHTTP(w, r)
	})
}
