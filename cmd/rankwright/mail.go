package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/post"
)

// mailFlags say how messages leave the school.
type mailFlags struct {
	file string
	dry  bool
}

func (f *mailFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.file, "mail", "", "the file that says by which mail server messages are sent")
	c.Flags().BoolVar(&f.dry, "mail-dry", false, "write every message and send none")
}

// options are what the flags mean for the app, and a line that says it.
func (f *mailFlags) options(o *app.Options) (say string, err error) {
	if f.file == "" && !f.dry {
		return "", nil
	}
	s := nowhere()
	if f.file != "" {
		if s, err = post.ReadSettings(f.file); err != nil {
			return "", err
		}
	}
	o.Mail, o.Dry, o.Gap = &mailer{s, post.NewServer(s)}, f.dry, time.Minute/time.Duration(s.PerMinute)
	if f.dry {
		return "Messages are written, and none is sent (--mail-dry).", nil
	}
	return fmt.Sprintf("Messages go through the mail server %s, as %s, at most %d a minute.", s.Host, s.From.Mail, s.PerMinute), nil
}

// nowhere are the settings where there is no mail server: messages can be looked
// at, and their sender cannot be written to.
func nowhere() *post.Settings {
	return &post.Settings{From: post.Address{Mail: "school@example.invalid"}, PerMinute: 600}
}

// mailer hands the app's letters to package post.
type mailer struct {
	settings *post.Settings
	server   *post.Server
}

func (m *mailer) message(l app.Letter) *post.Message {
	from := m.settings.From
	if from.Name == "" {
		from.Name = l.From
	}
	return &post.Message{ID: l.ID + "@" + domain(from.Mail), Date: l.Date, From: from, ReplyTo: m.settings.ReplyTo, To: post.Address{Mail: l.To},
		Subject: l.Subject, Text: l.Text, Lang: l.Lang, OptOut: l.Stop}
}

func domain(mail string) string { return mail[strings.LastIndexByte(mail, '@')+1:] }

func (m *mailer) Check(address string) error {
	_, err := post.CheckAddress(address)
	return err
}

func (m *mailer) EML(l app.Letter) ([]byte, error) { return m.message(l).Bytes() }

func (m *mailer) Send(ctx context.Context, l app.Letter) app.Delivery {
	r := m.server.Send(ctx, m.message(l))
	fate := map[post.Fate]app.Fate{post.Accepted: app.Sent, post.Later: app.Later, post.Refused: app.Refused, post.Unsure: app.Unsure}[r.Fate]
	return app.Delivery{Fate: fate, Answer: r.Say, Down: r.Server}
}

func (m *mailer) Bounces(report []byte) ([]app.Bounce, error) { return readBounce(report) }

// readBounce reads what a mail server reported of letters.
func readBounce(data []byte) ([]app.Bounce, error) {
	r, err := post.ReadReport(data)
	if err != nil {
		return nil, err
	}
	var out []app.Bounce
	for _, x := range r.Recipients {
		if x.Action == "failed" || x.Action == "delayed" {
			out = append(out, app.Bounce{ID: r.ID, Address: x.Address, Permanent: x.Action == "failed", Diagnostic: strings.TrimSpace(x.Status + " " + x.Diagnostic)})
		}
	}
	if len(out) == 0 {
		return nil, rankwright.Faultf(rankwright.Invalid, "good_report", "there is nothing to note", "the mail server's report says that the letter has arrived, or went on")
	}
	return out, nil
}

func mailCommand() *cobra.Command {
	var to string
	c := &cobra.Command{
		Use:   "mail FILE [--to ADDRESS]",
		Short: "Check the mail settings at the mail server",
		Long: `Check the mail settings: FILE is read, the mail server is connected to, and the
user signs in. No letter is sent, unless --to names an address to which a short
one goes.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return used{fmt.Errorf("name the file of the mail settings, and no other")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			s, err := post.ReadSettings(args[0])
			if err != nil {
				return err
			}
			m := &mailer{s, post.NewServer(s)}
			if to != "" {
				if err := m.Check(to); err != nil {
					return err
				}
			}
			if err := m.server.Check(c.Context()); err != nil {
				return err
			}
			out := c.OutOrStdout()
			signed := ""
			if s.User != "" {
				signed = ", and the user may sign in"
			}
			fmt.Fprintf(out, "The mail server %s, port %d, can be reached%s. Letters come from %s, at most %d a minute.\n", s.Host, s.Port, signed, s.From.Mail, s.PerMinute)
			if to == "" {
				fmt.Fprintln(out, "No letter was sent; one goes to an address of yours with --to ADDRESS.")
				return nil
			}
			l := app.Letter{ID: "check-" + strings.ToLower(rand.Text()), To: to, From: "rankwright", Subject: "A letter to check the mail settings", Lang: "en", Date: time.Now(),
				Text: "This letter checks the mail settings. If you can read it, the school's messages can reach you.\n\nLook where it lies: among spam is not good enough. docs/messages.md says what helps.\n"}
			if d := m.Send(c.Context(), l); d.Fate != app.Sent {
				return rankwright.Faultf(rankwright.Unavailable, "not_sent", "check the settings with the mail server's words", "no letter to %s: %s", to, d.Answer)
			}
			fmt.Fprintf(out, "The server has taken a letter to %s. Whether it arrives you see there, in a minute or two.\n", to)
			return nil
		},
	}
	c.Flags().StringVar(&to, "to", "", "send a short letter to this address")
	return c
}
