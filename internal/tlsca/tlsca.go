// Package tlsca is a certificate authority for one hall: it is made in the
// school's own data folder, the school's devices are told to trust it once, and
// it signs a certificate for the addresses that this machine has now.
//
// What it can vouch for is limited in its own certificate: private addresses,
// this machine's names, and names under "local". Even with its key nobody can
// pretend to be another site on the devices that trust it.
package tlsca

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"rankwright"
)

const (
	certFile = "authority.crt"
	keyFile  = "authority.key"
	// authorityLasts is long, since each device must be told anew.
	authorityLasts = 10 * 365 * 24 * time.Hour
	// leafLasts stays under the 398 days that browsers allow (CA/Browser
	// Forum, Baseline Requirements 6.3.2) and the 825 of Apple's systems.
	leafLasts = 90 * 24 * time.Hour
	// leafRenew is how long before its end a certificate is made anew.
	leafRenew = 30 * 24 * time.Hour
	// lookAgain is how often the machine's addresses are looked at.
	lookAgain = 10 * time.Second
)

// Authority signs certificates for this machine.
type Authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	now  func() time.Time
	own  func() []net.IP

	mu     sync.Mutex
	leaf   *tls.Certificate
	names  []string // of the leaf, sorted
	looked time.Time
}

// Options are what differs between the product and its tests.
type Options struct {
	Now func() time.Time
	// Own lists the addresses of this machine; nil asks the system.
	Own func() []net.IP
	// Host is this machine's name; "" asks the system.
	Host string
}

// Open returns the authority of a folder, which is made with a new authority
// where there is none. A key that others on this machine may read is refused.
func Open(dir string, o Options) (*Authority, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Own == nil {
		o.Own = ownAddresses
	}
	if o.Host == "" {
		o.Host, _ = os.Hostname()
	}
	a := &Authority{now: o.Now, own: o.Own}
	err := a.load(dir)
	if errors.Is(err, fs.ErrNotExist) {
		err = a.make(dir, o.Host)
	}
	if err != nil {
		return nil, err
	}
	if !a.now().Before(a.cert.NotAfter.Add(-leafRenew)) {
		return nil, fault("authority_old", "move the folder away; a new one is made at the next start, and each device must trust it once", "the authority in %s ends on %s", dir, a.cert.NotAfter.Format(time.DateOnly))
	}
	_, err = a.Leaf()
	return a, err
}

func fault(code, do, say string, args ...any) *rankwright.Fault {
	return rankwright.Faultf(rankwright.Invalid, code, do, say, args...)
}

func (a *Authority) load(dir string) error {
	key, err := os.ReadFile(filepath.Join(dir, keyFile))
	if err != nil {
		return err
	}
	info, err := os.Stat(filepath.Join(dir, keyFile))
	if err != nil {
		return err
	}
	if info.Mode().Perm()&0o077 != 0 && os.PathSeparator == '/' {
		return fault("key_open", "take the right to read it from everybody else (chmod 600)", "others on this machine may read the key %s", filepath.Join(dir, keyFile))
	}
	cert, err := os.ReadFile(filepath.Join(dir, certFile))
	if err != nil {
		return fault("authority_broken", "move the folder away; a new one is made at the next start, and each device must trust it once", "the authority in %s has no certificate", dir)
	}
	pair, err := tls.X509KeyPair(cert, key)
	if err == nil {
		a.cert, err = x509.ParseCertificate(pair.Certificate[0])
	}
	k, ok := pair.PrivateKey.(*ecdsa.PrivateKey)
	if err != nil || !ok || !a.cert.IsCA {
		f := fault("authority_broken", "move the folder away; a new one is made at the next start, and each device must trust it once", "the authority in %s cannot be read", dir)
		f.Err = err
		return f
	}
	a.key = k
	return nil
}

func (a *Authority) make(dir, host string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		f := fault("no_folder", "name a folder in which you may write", "the folder %s cannot be made", dir)
		f.Err = err
		return f
	}
	var err error
	if a.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		return err
	}
	serial, err := newSerial()
	if err != nil {
		return err
	}
	host = machine(host)
	tmpl := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: "Rankwright on " + host, Organization: []string{"Rankwright, made on this school's own computer"}},
		NotBefore:    a.now().Add(-time.Hour), NotAfter: a.now().Add(authorityLasts),
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign, BasicConstraintsValid: true, IsCA: true, MaxPathLenZero: true,
		ExtKeyUsage:                 []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		PermittedDNSDomainsCritical: true,
		PermittedDNSDomains:         []string{host, "local", "localhost"},
		PermittedIPRanges:           private,
	}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &a.key.PublicKey, a.key)
	if err != nil {
		return err
	}
	if a.cert, err = x509.ParseCertificate(der); err != nil {
		return err
	}
	key, err := x509.MarshalPKCS8PrivateKey(a.key)
	if err != nil {
		return err
	}
	// The key last: a folder with a key is whole.
	if err := write(dir, certFile, "CERTIFICATE", der); err != nil {
		return err
	}
	return write(dir, keyFile, "PRIVATE KEY", key)
}

func write(dir, name, kind string, der []byte) error {
	f, err := os.CreateTemp(dir, name+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // after the rename it does nothing
	if err := pem.Encode(f, &pem.Block{Type: kind, Bytes: der}); err != nil {
		f.Close()
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), filepath.Join(dir, name))
}

// private are the addresses of networks of one's own (RFC 1918, 3927, 4193,
// 4291, 6598) and of the machine itself.
var private = networks("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128")

func networks(list ...string) []*net.IPNet {
	var out []*net.IPNet
	for _, s := range list {
		_, n, err := net.ParseCIDR(s)
		if err != nil {
			panic(err) // the list above is constant
		}
		out = append(out, n)
	}
	return out
}

func newSerial() (*big.Int, error) {
	return rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
}

// machine is a host name that a certificate can hold.
func machine(host string) string {
	host, _, _ = strings.Cut(strings.ToLower(host), ".")
	host = strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return -1
	}, host), "-")
	if host == "" || len(host) > 63 {
		return "localhost"
	}
	return host
}

func ownAddresses() []net.IP {
	var out []net.IP
	list, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	for _, x := range list {
		if n, ok := x.(*net.IPNet); ok {
			out = append(out, n.IP)
		}
	}
	return out
}

// PEM is the authority's certificate, which devices are told to trust.
func (a *Authority) PEM() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.cert.Raw})
}

// Fingerprint is the SHA-256 of the authority's certificate as devices show it.
func (a *Authority) Fingerprint() string {
	sum := sha256.Sum256(a.cert.Raw)
	var b strings.Builder
	for i, x := range sum {
		if i > 0 {
			b.WriteByte(' ')
		}
		fmt.Fprintf(&b, "%02X", x)
	}
	return b.String()
}

// Outside lists the addresses of this machine that the authority cannot vouch
// for, since they are not of a private network.
func (a *Authority) Outside() []net.IP {
	var out []net.IP
	for _, ip := range a.own() {
		if ip.IsGlobalUnicast() && !a.permits(ip) {
			out = append(out, ip)
		}
	}
	return out
}

func (a *Authority) permits(ip net.IP) bool {
	return slices.ContainsFunc(a.cert.PermittedIPRanges, func(n *net.IPNet) bool { return n.Contains(ip) })
}

// Leaf is the certificate for the addresses and names of this machine now. It
// is made anew when they have changed, and in time before it ends.
func (a *Authority) Leaf() (*tls.Certificate, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	if a.leaf != nil && now.Sub(a.looked) < lookAgain && now.Sub(a.looked) >= 0 {
		return a.leaf, nil
	}
	var ips []net.IP
	names := slices.Clone(a.cert.PermittedDNSDomains)
	names = slices.DeleteFunc(names, func(s string) bool { return s == "local" })
	for _, s := range names {
		if s != "localhost" {
			names = append(names, s+".local")
			break
		}
	}
	all := slices.Clone(names)
	for _, ip := range append(a.own(), net.IPv4(127, 0, 0, 1), net.IPv6loopback) {
		// A zone is no part of a certificate: link-local addresses are left out.
		if a.permits(ip) && !ip.IsLinkLocalUnicast() && !slices.ContainsFunc(ips, ip.Equal) {
			ips = append(ips, ip)
			all = append(all, ip.String())
		}
	}
	slices.Sort(all)
	a.looked = now
	if a.leaf != nil && slices.Equal(all, a.names) && now.Before(a.leaf.Leaf.NotAfter.Add(-leafRenew)) && now.After(a.leaf.Leaf.NotBefore) {
		return a.leaf, nil
	}
	leaf, err := a.sign(names, ips)
	if err != nil {
		return nil, err
	}
	a.leaf, a.names = leaf, all
	return leaf, nil
}

func (a *Authority) sign(names []string, ips []net.IP) (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := newSerial()
	if err != nil {
		return nil, err
	}
	tmpl := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: names[0]}, DNSNames: names, IPAddresses: ips,
		NotBefore: a.now().Add(-time.Hour), NotAfter: a.now().Add(leafLasts),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, a.cert, &key.PublicKey, a.key)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	return &tls.Certificate{Certificate: [][]byte{der, bytes.Clone(a.cert.Raw)}, PrivateKey: key, Leaf: leaf}, nil
}

// Config is what a server needs to speak TLS as this machine.
func (a *Authority) Config() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return a.Leaf() }}
}
