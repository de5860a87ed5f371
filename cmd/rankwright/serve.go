package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"
	"syscall"
	"time"
	_ "time/tzdata" // calendar files need the zones also where the machine has none

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/internal/web"
)

const serveAddress = "127.0.0.1:8390"

func serveCommand() *cobra.Command {
	var dir, addr string
	var secure tlsFlags
	var mail mailFlags
	c := &cobra.Command{
		Use:   "serve --data DIR [--addr HOST:PORT]",
		Short: "Serve the pages of a school",
		Long: `Serve the pages of a school, whose data lies in one folder. The folder is made
at the first start, and a link is printed with which the head instructor sets
the school up.

Without --addr only this machine can open the pages. For tablets in the hall:
rankwright serve --data DIR --addr 0.0.0.0:8390 --tls-local`,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := secure.check(); err != nil {
				return err
			}
			return serve(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), dir, addr, secure, mail)
		},
	}
	dataFlag(c, &dir)
	c.Flags().StringVar(&addr, "addr", serveAddress, "the address to listen on")
	secure.add(c)
	mail.add(c)
	needs(c, "data")
	return c
}

// roomToGrow lets the heap grow to four times what is in use before it is swept,
// where GOGC says nothing else. A school's is some ten megabytes: to sweep it
// each time it had doubled took a tenth of the server's work under load.
func roomToGrow() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(300)
	}
}

func serve(ctx context.Context, out, errs io.Writer, dir, addr string, flags tlsFlags, mail mailFlags) error {
	roomToGrow()
	var o app.Options
	mailed, err := mail.options(&o)
	if err != nil {
		return err
	}
	ln, err := listen(ctx, addr)
	if err != nil {
		return err
	}
	defer ln.Close() // where nothing has come of it
	if err := os.MkdirAll(dir, 0o700); err != nil {
		f := rankwright.Faultf(rankwright.Invalid, "no_folder", "name a folder in which you may write", "the folder %s cannot be made", dir)
		f.Err = err
		return f
	}
	claim, err := store.ClaimFolder(ctx, dir)
	if err != nil {
		return err
	}
	defer claim.Release()
	st, err := store.Open(ctx, filepath.Join(dir, store.FileName))
	if err != nil {
		return err
	}
	defer st.Close()
	solve, closeSolver := pageSolver()
	defer closeSolver()
	o.Solver = solve
	a := app.New(st, o)
	defer a.EndPlanning()
	secret, needed, err := a.Setup(ctx)
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(errs, nil))
	s, err := flags.secure(dir, a)
	if err != nil {
		return err
	}
	plain, err := flags.servePlain(ctx, &s, ln.Addr(), log)
	if err != nil {
		return err
	}
	w := web.Options{Sessions: st.Sessions(time.Now), Log: log, Secure: s.config != nil, Reach: s.reach(ln.Addr())}
	if flags.local {
		w.Trust = plain
	}
	pages, err := web.New(a, w)
	if err != nil {
		return err
	}
	at := s.addresses(ln.Addr())
	fmt.Fprintf(out, "The pages are at %s\n", at[0])
	for _, other := range at[1:] {
		fmt.Fprintf(out, "              or %s\n", other)
	}
	if needed {
		fmt.Fprintf(out, "\nThis school has no head instructor yet. Open this link once, within a week, to set it up:\n\n  %s/setup/%s\n\nWhoever has the link becomes the head instructor. When the program is started again before that, it prints a new link.\n", at[0], secret)
	}
	fmt.Fprintln(out)
	s.told(out, plain)
	if s.config == nil && !ln.Addr().(*net.TCPAddr).IP.IsLoopback() {
		fmt.Fprintf(out, "Anybody on the same network can read what is sent: use a network of your own in the hall.\n")
	}
	if mailed != "" {
		fmt.Fprintln(out, mailed)
	}
	fmt.Fprintf(out, "Stop with Ctrl-C.\n")
	log.Info("serving", "address", ln.Addr().String(), "data", dir)
	go sweep(ctx, st, log)
	defer sending(ctx, a, log)()
	var h http.Handler = pages
	if s.strict {
		h = onlyHTTPS(pages)
	}
	err = serveUntilDone(ctx, ln, h, s.config, log, pages.EndStreams)
	log.Info("stopped")
	return err
}

// listen listens on a TCP address, and says plainly when it is taken.
func listen(ctx context.Context, addr string) (net.Listener, error) {
	if _, _, err := net.SplitHostPort(addr); err != nil {
		return nil, used{fmt.Errorf("%q is no address: write it as 127.0.0.1:8390", addr)}
	}
	var lc net.ListenConfig
	ln, err := lc.Listen(ctx, "tcp", addr)
	if err == nil {
		return ln, nil
	}
	f := rankwright.Faultf(rankwright.Invalid, "no_address", "check the address", "nothing can listen on %s", addr)
	if errors.Is(err, syscall.EADDRINUSE) {
		f = rankwright.Faultf(rankwright.Conflict, "address_taken", "stop that program, or choose another port with --addr", "another program listens on %s already", addr)
	}
	f.Err = err
	return nil, f
}

// serveUntilDone answers requests until the context ends, and then lets those
// that are under way finish; last ends those that would never by themselves.
// Without a config it is plain HTTP.
func serveUntilDone(ctx context.Context, ln net.Listener, h http.Handler, config *tls.Config, log *slog.Logger, last ...func()) error {
	srv := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       time.Minute,
		WriteTimeout:      2 * time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	for _, f := range last {
		srv.RegisterOnShutdown(f)
	}
	failed := make(chan error, 1)
	go func() {
		if config == nil {
			failed <- srv.Serve(ln)
			return
		}
		srv.TLSConfig = config
		failed <- srv.ServeTLS(ln, "", "")
	}()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if err := srv.Shutdown(grace); err != nil {
		return srv.Close()
	}
	return nil
}

// sending lets the app send its messages until the function that it returns has
// come back: a letter under way is given a moment.
func sending(ctx context.Context, a *app.App, log *slog.Logger) (end func()) {
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	wg.Go(func() { a.RunPost(ctx, log) })
	return func() {
		cancel()
		wg.Wait()
	}
}

// sweep removes sessions and links that have expired, and what uploads that were
// cut off left behind, once an hour.
func sweep(ctx context.Context, st *store.Store, log *slog.Logger) {
	every := time.NewTicker(time.Hour)
	defer every.Stop()
	for {
		err := st.Sessions(time.Now).DeleteExpired(ctx)
		if err == nil {
			err = st.Write(ctx, func(tx *store.Tx) error {
				_, err := tx.DeleteExpiredTokens(store.At(time.Now()))
				return err
			})
		}
		if err == nil {
			err = st.RemoveUnused(ctx, "")
		}
		if err != nil && ctx.Err() == nil {
			log.Warn("what has expired could not be removed", "error", err.Error())
		}
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
	}
}

// addresses lists the pages' addresses: where it listens on all interfaces,
// that of this machine and those by which others on the network reach it.
func addresses(at net.Addr, scheme string) []string {
	tcp := at.(*net.TCPAddr)
	if !tcp.IP.IsUnspecified() {
		return []string{scheme + "://" + tcp.String()}
	}
	port := fmt.Sprint(tcp.Port)
	out := []string{scheme + "://" + net.JoinHostPort("127.0.0.1", port)}
	own, err := net.InterfaceAddrs()
	if err != nil {
		return out
	}
	for _, x := range own {
		if n, ok := x.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsGlobalUnicast() {
			out = append(out, scheme+"://"+net.JoinHostPort(n.IP.String(), port))
		}
	}
	return out
}
