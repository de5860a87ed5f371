package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rankwright/internal/app"
	"rankwright/internal/demo"
	"rankwright/internal/store"
	"rankwright/internal/web"
)

const demoAddress = "127.0.0.1:8391"

func demoCommand() *cobra.Command {
	var addr string
	var mirror bool
	c := &cobra.Command{
		Use:   "demo [--addr HOST:PORT] [--test-language]",
		Short: "Look around in an invented club",
		Long: `Look around in an invented club: 74 children, two gradings that are over and
one in ten days. It lies in a temporary folder, which is removed at the end.`,
		RunE: func(c *cobra.Command, _ []string) error {
			return runDemo(c.Context(), c.OutOrStdout(), c.ErrOrStderr(), addr, mirror)
		},
	}
	c.Flags().StringVar(&addr, "addr", "", "the address to listen on ("+demoAddress+", or any free port where that is taken)")
	c.Flags().BoolVar(&mirror, "test-language", false, "offer families a language from right to left that means nothing, for trying pages")
	needs(c)
	return c
}

func runDemo(ctx context.Context, out, errs io.Writer, addr string, mirror bool) (err error) {
	ln, err := demoListener(ctx, addr)
	if err != nil {
		return err
	}
	defer ln.Close() // where nothing has come of it
	dir, err := os.MkdirTemp("", "rankwright-demo-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	st, err := store.Open(ctx, dir)
	if err != nil {
		return err
	}
	defer st.Close()
	clock := demo.NewClock(time.Now)
	solve, closeSolver := pageSolver()
	defer closeSolver()
	a := app.New(st, app.Options{Now: clock.Now, Solver: solve, Mail: &mailer{settings: nowhere()}, Dry: true})
	defer a.EndPlanning()
	club, err := demo.Fill(ctx, a, clock)
	if err != nil {
		if ctx.Err() != nil {
			return nil // stopped before it began
		}
		return err
	}
	// The links in messages, which nobody gets, lead to these pages.
	sc, err := a.School(ctx)
	if err != nil {
		return err
	}
	sc.Address = addresses(ln.Addr(), "http")[0]
	if err := a.EditSchool(ctx, app.CommandLine(), sc); err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(errs, &slog.HandlerOptions{Level: slog.LevelWarn}))
	pages, err := web.New(a, web.Options{Sessions: st.Sessions(time.Now), Log: log, Demo: true, TestLanguage: mirror})
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "An invented club is ready. Its people do not exist, and all is gone when you stop.\n\n  %s\n\nSign in with a name and its password:\n\n", addresses(ln.Addr(), "http")[0])
	w := tabwriter.NewWriter(out, 0, 0, 3, ' ', 0)
	for _, p := range demo.People {
		role := string(p.Role)
		if p.Role == app.Owner {
			role = "head instructor"
		}
		fmt.Fprintf(w, "  %s\t%s\t%s\n", role, p.Name, p.Password)
	}
	w.Flush()
	fmt.Fprintf(out, "\nA family needs no password. The page of one of them:\n\n  %s/f/%s\n", addresses(ln.Addr(), "http")[0], club.Family)
	fmt.Fprintf(out, "\nMessages to families are written, and none is ever sent.\n")
	fmt.Fprintf(out, "\nTwo gradings are over; the next one is on %s. Stop with Ctrl-C.\n", (a.Today() + demo.Notice).Long())
	if !ln.Addr().(*net.TCPAddr).IP.IsLoopback() {
		fmt.Fprintf(out, "Others on the network can open these pages too, and the passwords are no secret: enter nobody real.\n")
	}
	defer sending(ctx, a, log)()
	if err := serveUntilDone(ctx, ln, pages, nil, log, pages.EndStreams); err != nil {
		return err
	}
	fmt.Fprintln(out, "Stopped. The invented club is gone.")
	return nil
}

// demoListener listens where it was told to, or else on the demo's own port
// or, where that is taken, on any.
func demoListener(ctx context.Context, addr string) (net.Listener, error) {
	if addr != "" {
		return listen(ctx, addr)
	}
	if ln, err := listen(ctx, demoAddress); err == nil {
		return ln, nil
	}
	return listen(ctx, "127.0.0.1:0")
}
