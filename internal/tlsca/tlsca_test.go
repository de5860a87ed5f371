package tlsca

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rankwright"
)

// hall is a machine whose clock and addresses the test sets.
type hall struct {
	now time.Time
	own []net.IP
}

func newHall() *hall {
	return &hall{now: time.Now(), own: []net.IP{net.ParseIP("192.168.7.20"), net.ParseIP("127.0.0.1"), net.ParseIP("fe80::1")}}
}

func (h *hall) open(t *testing.T, dir string) *Authority {
	t.Helper()
	a, err := Open(dir, Options{Now: func() time.Time { return h.now }, Own: func() []net.IP { return h.own }, Host: "Desk_PC.example.org"})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func pool(t *testing.T, pem []byte) *x509.CertPool {
	t.Helper()
	p := x509.NewCertPool()
	if !p.AppendCertsFromPEM(pem) {
		t.Fatal("the authority's file holds no certificate")
	}
	return p
}

func verify(t *testing.T, a *Authority, name string) error {
	t.Helper()
	leaf, err := a.Leaf()
	if err != nil {
		t.Fatal(err)
	}
	_, err = leaf.Leaf.Verify(x509.VerifyOptions{Roots: pool(t, a.PEM()), DNSName: name, CurrentTime: a.now()})
	return err
}

func TestAClientThatTrustsTheFileSpeaksTLSAndNobodyElseDoes(t *testing.T) {
	a := newHall().open(t, filepath.Join(t.TempDir(), "tls"))
	ts := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = w.Write([]byte("hello")) }))
	ts.Config.ErrorLog = log.New(io.Discard, "", 0) // it tells of each that is refused
	ts.Listener = tls.NewListener(ts.Listener, a.Config())
	ts.Start()
	t.Cleanup(ts.Close)
	_, port, _ := net.SplitHostPort(ts.Listener.Addr().String())
	trusting := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool(t, a.PEM())}}}
	for _, host := range []string{"127.0.0.1", "localhost"} {
		r, err := trusting.Get("https://" + host + ":" + port)
		if err != nil {
			t.Fatalf("%s: %v", host, err)
		}
		r.Body.Close()
		if r.TLS.Version < tls.VersionTLS12 {
			t.Errorf("TLS %x", r.TLS.Version)
		}
	}
	other := newHall().open(t, t.TempDir()+"/other")
	for name, c := range map[string]*tls.Config{
		"no trust":          {},
		"another authority": {RootCAs: pool(t, other.PEM())},
		"TLS 1.1":           {RootCAs: pool(t, a.PEM()), MaxVersion: tls.VersionTLS11},
	} {
		if r, err := (&http.Client{Transport: &http.Transport{TLSClientConfig: c}}).Get("https://127.0.0.1:" + port); err == nil {
			r.Body.Close()
			t.Errorf("%s: it is served", name)
		}
	}
}

func TestACertificateIsMadeAnewWhenTheAddressesChangeOrItEnds(t *testing.T) {
	h := newHall()
	a := h.open(t, t.TempDir()+"/tls")
	for _, name := range []string{"192.168.7.20", "127.0.0.1", "::1", "localhost", "deskpc", "deskpc.local"} {
		if err := verify(t, a, name); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	first, _ := a.Leaf()
	h.now = h.now.Add(time.Minute)
	if same, _ := a.Leaf(); same != first {
		t.Error("it is made anew though nothing changed")
	}
	h.own = []net.IP{net.ParseIP("10.1.2.3")}
	h.now = h.now.Add(time.Minute)
	if err := verify(t, a, "10.1.2.3"); err != nil {
		t.Error(err)
	}
	if verify(t, a, "192.168.7.20") == nil {
		t.Error("the address that is gone is still vouched for")
	}
	h.now = h.now.Add(70 * 24 * time.Hour)
	if err := verify(t, a, "10.1.2.3"); err != nil {
		t.Error(err)
	}
	if leaf, _ := a.Leaf(); leaf.Leaf.NotAfter.Before(h.now.Add(leafRenew)) {
		t.Errorf("it ends on %s, too near", leaf.Leaf.NotAfter)
	}
}

func TestTheAuthorityStaysTheSameAndItsKeyIsItsOwn(t *testing.T) {
	h, dir := newHall(), t.TempDir()+"/tls"
	a := h.open(t, dir)
	if b := h.open(t, dir); b.Fingerprint() != a.Fingerprint() {
		t.Error("opened again it is another one")
	}
	key := filepath.Join(dir, keyFile)
	if info, err := os.Stat(key); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key: %v %v", info, err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*")); len(left) != 2 {
		t.Errorf("in its folder: %v", left)
	}
	code := func(want string) {
		t.Helper()
		_, err := Open(dir, Options{Now: func() time.Time { return h.now }, Own: func() []net.IP { return nil }, Host: "x"})
		var f *rankwright.Fault
		if !errors.As(err, &f) || f.Code != want || f.Do == "" {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	now := h.now
	h.now = now.Add(authorityLasts)
	code("authority_old")
	h.now = now
	if err := os.Chmod(key, 0o644); err != nil {
		t.Fatal(err)
	}
	code("key_open")
	if err := os.WriteFile(filepath.Join(dir, "x"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Chmod(key, 0o600), os.WriteFile(filepath.Join(dir, certFile), []byte("no certificate"), 0o600)); err != nil {
		t.Fatal(err)
	}
	code("authority_broken")
	if err := os.Remove(filepath.Join(dir, certFile)); err != nil {
		t.Fatal(err)
	}
	code("authority_broken")
}

// Whoever steals the key must not become a bank on the children's tablets.
func TestTheAuthorityCannotVouchForTheRestOfTheWorld(t *testing.T) {
	h := newHall()
	h.own = []net.IP{net.ParseIP("93.184.216.34"), net.ParseIP("192.168.7.20")}
	a := h.open(t, t.TempDir()+"/tls")
	if err := verify(t, a, "192.168.7.20"); err != nil {
		t.Errorf("beside a public address the private one fails: %v", err)
	}
	if out := a.Outside(); len(out) != 1 || out[0].String() != "93.184.216.34" {
		t.Errorf("outside: %v", out)
	}
	for _, bad := range []struct {
		names []string
		ips   []net.IP
	}{{[]string{"bank.example"}, nil}, {[]string{"deskpc"}, []net.IP{net.ParseIP("93.184.216.34")}}} {
		forged, err := a.sign(bad.names, bad.ips)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := forged.Leaf.Verify(x509.VerifyOptions{Roots: pool(t, a.PEM())}); err == nil {
			t.Errorf("%v %v is believed", bad.names, bad.ips)
		}
	}
}

// OpenSSL is the outside judge of the file and of the chain.
func TestOpenSSLReadsTheAuthorityAndTheCertificate(t *testing.T) {
	a, dir := newHall().open(t, t.TempDir()+"/tls"), t.TempDir()
	leaf, err := a.Leaf()
	if err != nil {
		t.Fatal(err)
	}
	if err := write(dir, "leaf.pem", "CERTIFICATE", leaf.Certificate[0]); err != nil {
		t.Fatal(err)
	}
	ca := filepath.Join(dir, "ca.pem")
	if err := os.WriteFile(ca, a.PEM(), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"verify", "-CAfile", ca, "-x509_strict", "-verify_ip", "192.168.7.20", filepath.Join(dir, "leaf.pem")},
		{"verify", "-CAfile", ca, "-x509_strict", "-verify_hostname", "deskpc.local", filepath.Join(dir, "leaf.pem")},
	} {
		if out, err := exec.Command("openssl", args...).CombinedOutput(); err != nil {
			t.Errorf("openssl %v: %v\n%s", args, err, out)
		}
	}
	out, err := exec.Command("openssl", "x509", "-in", ca, "-noout", "-fingerprint", "-sha256").Output()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.ReplaceAll(strings.TrimSpace(string(out)), ":", " "); !strings.HasSuffix(got, a.Fingerprint()) {
		t.Errorf("openssl shows %s, we show %s", got, a.Fingerprint())
	}
}
