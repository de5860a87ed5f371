package web

import (
	"bytes"
	"context"
	"net"
	"net/http"

	"rankwright/internal/web/look"
)

// Authority is what a device needs to trust the school's own authority.
type Authority struct {
	File        []byte // its certificate in PEM
	Fingerprint string
	Port        string // of the pages over HTTPS
}

type trustPage struct {
	Frame
	File, Pages, Fingerprint string
}

const trustFile = "/authority.crt"

// NewTrust serves the page that explains on each kind of device how to trust
// an authority, over plain HTTP, and offers its file. There is nothing else
// on it: no session, no name of anybody.
func NewTrust(a Authority, school func(context.Context) string) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET "+look.AssetPath(), forEver(http.StripPrefix(look.AssetPath(), http.FileServerFS(look.Served))))
	mux.HandleFunc("GET "+trustFile, func(w http.ResponseWriter, _ *http.Request) {
		// The type by which phones offer to install it.
		w.Header().Set("Content-Type", "application/x-x509-ca-cert")
		w.Header().Set("Content-Disposition", `attachment; filename="school-authority.crt"`)
		_, _ = w.Write(a.File)
	})
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.Host)
		if err != nil {
			host = r.Host
		}
		p := &trustPage{File: trustFile, Pages: "https://" + net.JoinHostPort(host, a.Port) + "/", Fingerprint: a.Fingerprint}
		p.Title, p.Width, p.School = "Let this device trust the school's computer", "narrow", school(r.Context())
		p.Lead = "Once for each device. Then the pages are safe from listeners, and marks survive a reload without the network."
		if p.School == "" {
			p.School = "Rankwright"
		}
		t, err := look.Parts().ParseFS(pageFiles, "pages/trust.html")
		var b bytes.Buffer
		if err == nil {
			err = t.ExecuteTemplate(&b, "page", p)
		}
		if err != nil {
			http.Error(w, "The page cannot be shown.", http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write(b.Bytes())
	})
	return guarded(mux)
}
