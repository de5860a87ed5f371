package main

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"rankwright/internal/tlsca"
)

// trusting is a browser that trusts an authority.
func trusting(t *testing.T, file []byte) *http.Client {
	t.Helper()
	p := x509.NewCertPool()
	if !p.AppendCertsFromPEM(file) {
		t.Fatalf("no certificate in\n%s", file)
	}
	c := browser()
	c.Transport = &http.Transport{TLSClientConfig: &tls.Config{RootCAs: p}, ForceAttemptHTTP2: true}
	return c
}

func TestADeviceThatInstallsTheAuthorityIsServedOverTLS(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "school")
	s := start(t, "serve", "--data", dir, "--addr", "127.0.0.1:0", "--tls-local")
	if !strings.HasPrefix(s.at, "https://") {
		t.Fatalf("the pages are at %s", s.at)
	}
	plain := regexp.MustCompile(`  (http://127\.0\.0\.1:\d+)\n`).FindStringSubmatch(s.said)
	if plain == nil {
		t.Fatalf("no install page is told:\n%s", s.said)
	}
	r, err := browser().Get(plain[1] + "/")
	install := page(t, r, err)
	fingerprint := regexp.MustCompile(`(?:[0-9A-F]{2} ){31}[0-9A-F]{2}`).FindString(s.said)
	for _, want := range []string{"iPhone and iPad", "Android", "Windows", "Mac", "Firefox", fingerprint, `href="` + s.at + `/"`, "not for any site on the internet"} {
		if want == "" || !strings.Contains(install, want) {
			t.Errorf("the install page lacks %q", want)
		}
	}
	if strings.Contains(install, "Set-Cookie") || r.Header.Get("Set-Cookie") != "" {
		t.Error("the install page sets a cookie")
	}
	r, err = browser().Get(plain[1] + "/authority.crt")
	file := page(t, r, err)
	if r.Header.Get("Content-Type") != "application/x-x509-ca-cert" {
		t.Errorf("the file is a %s", r.Header.Get("Content-Type"))
	}
	if r, err := browser().Get(plain[1] + "/sign-in"); err != nil || r.StatusCode != http.StatusNotFound {
		t.Errorf("over plain HTTP there is more than the install page: %v %v", r, err)
	}
	if _, err := browser().Get(s.at); err == nil {
		t.Error("a device that trusts nothing is served")
	}
	c := trusting(t, []byte(file))
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	link := regexp.MustCompile(`https://\S+/setup/\S+`).FindString(s.said)
	r, err = c.PostForm(link, url.Values{"school": {"Otterlight"}, "name": {"Sefanaia"}, "password": {"three quiet otters"}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.Proto != "HTTP/2.0" || r.StatusCode != http.StatusSeeOther || len(r.Cookies()) != 1 || !r.Cookies()[0].Secure || !r.Cookies()[0].HttpOnly {
		t.Errorf("%s %d with the cookies %v, want one that stays on TLS", r.Proto, r.StatusCode, r.Cookies())
	}
	if r.Header.Get("Strict-Transport-Security") != "" {
		t.Error("an address of the hall is bound to HTTPS for a year")
	}
	s.stop()

	again := start(t, "serve", "--data", dir, "--addr", "127.0.0.1:0", "--tls-local")
	if !strings.Contains(again.said, fingerprint) {
		t.Error("started again it is another authority")
	}
	r, err = trusting(t, []byte(file)).Get(again.at + "/sign-in")
	page(t, r, err)
}

// ownPair writes a certificate for this machine and its key.
func ownPair(t *testing.T) (cert, key string, ca []byte) {
	t.Helper()
	a, err := tlsca.Open(t.TempDir(), tlsca.Options{Host: "desk"})
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := a.Leaf()
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(leaf.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for name, b := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: leaf.Certificate[0]}, key: {Type: "PRIVATE KEY", Bytes: der}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key, a.PEM()
}

func TestOwnCertificateFilesAreServed(t *testing.T) {
	cert, key, ca := ownPair(t)
	s := start(t, "serve", "--data", t.TempDir(), "--addr", "127.0.0.1:0", "--tls-cert", cert, "--tls-key", key)
	at := regexp.MustCompile(`https://127\.0\.0\.1:\d+`).FindString(s.said)
	if !strings.Contains(s.said, "your own certificate, good until") || !strings.Contains(s.said, "https://desk:") {
		t.Errorf("it says\n%s", s.said)
	}
	r, err := trusting(t, ca).Get(at + "/sign-in")
	page(t, r, err)
	if r.Header.Get("Strict-Transport-Security") == "" {
		t.Error("browsers are not told to come by HTTPS")
	}
}

func TestCertificatesThatCannotBeUsedAreNamed(t *testing.T) {
	cert, key, _ := ownPair(t)
	_, other, _ := ownPair(t)
	open := filepath.Join(t.TempDir(), "open.pem")
	text, err := os.ReadFile(key)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(open, text, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(open, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--tls-cert", cert}, wrongUse, "--tls-cert and --tls-key go together"},
		{[]string{"--tls-local", "--tls-name", "a.example.org"}, wrongUse, "choose one of"},
		{[]string{"--tls-cert", cert, "--tls-key", key, "--tls-local"}, wrongUse, "choose one of"},
		{[]string{"--plain-addr", ":80"}, wrongUse, "--plain-addr goes with"},
		{[]string{"--tls-name", "192.168.1.4"}, wrongUse, "is no public name"},
		{[]string{"--tls-name", "https://a.example.org"}, wrongUse, "is no public name"},
		{[]string{"--tls-cert", cert, "--tls-key", other}, answerNo, "are no certificate and its key"},
		{[]string{"--tls-cert", cert, "--tls-key", open}, answerNo, "everybody on this machine may read the key"},
		{[]string{"--tls-cert", cert, "--tls-key", "nowhere.pem"}, answerNo, "cannot be opened"},
	} {
		var out, errs bytes.Buffer
		args := append([]string{"serve", "--data", filepath.Join(t.TempDir(), "d"), "--addr", "127.0.0.1:0"}, c.args...)
		if code := run(t.Context(), args, nil, &out, &errs); code != c.code || !strings.Contains(errs.String(), c.says) {
			t.Errorf("%v ended with %d: %s", c.args, code, errs.String())
		}
	}
}

// Nothing here reaches the network: what is tested is the configuration.
func TestAPublicNameIsConfiguredForItselfOnly(t *testing.T) {
	f := tlsFlags{name: "grading.example.org"}
	m := f.acme(t.TempDir())
	if err := m.HostPolicy(t.Context(), "grading.example.org"); err != nil {
		t.Error(err)
	}
	if m.HostPolicy(t.Context(), "other.example.org") == nil {
		t.Error("a certificate would be asked for somebody else's name")
	}
	if !slices.Contains(m.TLSConfig().NextProtos, "acme-tls/1") {
		t.Error("the challenge on port 443 is not answered")
	}
	s := start(t, "serve", "--data", t.TempDir(), "--addr", "127.0.0.1:0", "--tls-name", "grading.example.org", "--plain-addr", "127.0.0.1:0")
	if !strings.Contains(s.said, "The pages are at https://grading.example.org:") || !strings.Contains(s.said, "Let's Encrypt") {
		t.Errorf("it says\n%s", s.said)
	}
	c, err := tls.Dial("tcp", strings.TrimPrefix(s.at, "https://"), &tls.Config{ServerName: "other.example.org"})
	if err == nil {
		c.Close()
		t.Error("another name is served")
	}
	if host, _, _ := net.SplitHostPort(strings.TrimPrefix(s.at, "https://")); host != "127.0.0.1" {
		t.Errorf("it listens on %s", host)
	}
}
