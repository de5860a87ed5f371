package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/award"
	"rankwright/internal/files"
	"rankwright/internal/paper"
	"rankwright/internal/words"
)

// certificateLook are the choices of a command line, which go before what the
// school chose on its pages.
type certificateLook struct {
	sheet, design, lang, second, own, ownLang, logo string
	upright                                         bool
	fonts                                           []string
}

func (l *certificateLook) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&l.sheet, "paper", "", "A4 or Letter")
	f.StringVar(&l.design, "design", "", "frame, plain or band")
	f.BoolVar(&l.upright, "upright", false, "held upright")
	f.StringVar(&l.lang, "lang", "", "the language of the words, such as es")
	f.StringVar(&l.second, "second", "", "a second language for the line under them; none for no such line")
	f.StringVar(&l.own, "own", "", "that line in words of your own")
	f.StringVar(&l.ownLang, "own-lang", "", "the language of those words, such as vi")
	f.StringVar(&l.logo, "logo", "", "a PNG or JPEG file")
	f.StringArrayVar(&l.fonts, "font", nil, "a TrueType file for another script; may be given several times")
}

// over puts the choices over those of the school.
func (l *certificateLook) over(c *cobra.Command, p app.Papers, kept app.PaperFiles) (*award.Style, error) {
	if l.sheet != "" {
		o, err := printedOn(l.sheet)
		if err != nil {
			return nil, err
		}
		p.Letter = o.Paper == paper.Letter
	}
	if l.design != "" {
		if _, ok := paper.ParseDesign(l.design); !ok {
			return nil, used{fmt.Errorf("the design is frame, plain or band, not %q", l.design)}
		}
		p.Design = l.design
	}
	if c.Flags().Changed("upright") {
		p.Upright = l.upright
	}
	for _, x := range []struct {
		tag string
		to  *string
	}{{l.lang, &p.Lang}, {l.second, &p.Second}} {
		switch {
		case x.tag == "":
		case x.tag == "none" && x.to == &p.Second:
			p.Second = ""
		case !words.Offered(words.Lang(x.tag)):
			return nil, used{fmt.Errorf("the language is %s, not %q", offered(), x.tag)}
		default:
			*x.to = x.tag
		}
	}
	if l.own != "" {
		p.Second, p.Own, p.OwnLang = app.OwnWords, l.own, l.ownLang
	}
	if l.logo != "" {
		data, err := wholeFile(c, l.logo)
		if err != nil {
			return nil, err
		}
		if data, _, err = paper.CleanPicture(data, 1000, false); err != nil {
			return nil, inFile(err, l.logo)
		}
		kept.Logo = &app.PaperFile{Kind: app.LogoFile, Data: data}
	}
	for _, name := range l.fonts {
		data, err := wholeFile(c, name)
		if err != nil {
			return nil, err
		}
		if _, err := paper.ShippedFonts().With(data); err != nil {
			return nil, inFile(err, name)
		}
		kept.Fonts = append(kept.Fonts, app.PaperFile{Kind: app.FontFile, Name: name, Data: data})
	}
	return award.StyleOf(p, kept)
}

// wholeFile reads a picture or a font; what is larger than either may be is cut
// and refused by its reader.
func wholeFile(c *cobra.Command, path string) ([]byte, error) {
	r, err := opened(c, path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(io.LimitReader(r, 32<<20))
}

// inFile says in which file a fault lies.
func inFile(err error, name string) error {
	var f *rankwright.Fault
	if errors.As(err, &f) {
		f.Where.File = name
	}
	return err
}

// promotionsFrom reads whose certificates they are from a table.
func promotionsFrom(c *cobra.Command, path string) ([]app.Award, error) {
	r, err := opened(c, path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	list, err := files.ReadPromotions(named(path), r)
	var out []app.Award
	for _, p := range list {
		a := app.Award{Name: p.Name}
		a.Line.RankName, a.Line.Day, a.Line.Certificate, a.Line.Label, a.Line.Signer = p.Rank, p.Day, p.Number, p.Label, p.Signer
		a.Belt.Hex, a.Belt.TipHex, a.Grading.Place = p.Belt, p.Tip, p.Place
		out = append(out, a)
	}
	return out, err
}

func printCertificatesCommand() *cobra.Command {
	var dir, grading, entry, table, school, file string
	var look certificateLook
	c := &cobra.Command{
		Use: `certificates --data DIR --grading ID [--entry ID] -o FILE.pdf
  rankwright print certificates --promotions FILE --school NAME -o FILE.pdf
    both with [--paper A4|Letter] [--design frame|plain|band] [--upright] [--lang LANG]
    [--second LANG|none] [--own TEXT [--own-lang LANG]] [--logo FILE] [--font FILE]...`,
		Short: "The certificates of a signed grading",
		Long: `The certificates of a signed grading, one page each, in the order in which they
are read out. Where the rank is given now and something is looked at again, the
certificate comes later: it is printed only when asked for by its entry. They
look as the school chose on its pages; what is said here goes before that.

With --promotions they are those of a table, in its order, and need no base.`,
		RunE: func(c *cobra.Command, _ []string) error {
			fromBase := c.Flags().Changed("data") || c.Flags().Changed("grading")
			switch {
			case table != "" && fromBase:
				return used{errors.New("--promotions goes without --data and --grading")}
			case table != "" && school == "":
				return used{errors.New("--school is needed")}
			case table == "" && dir == "":
				return used{errors.New("--data is needed")}
			case table == "" && grading == "":
				return used{errors.New("--grading is needed")}
			case table == "" && school != "":
				return used{errors.New("--school goes with --promotions: a base knows its school")}
			}
			style, err := look.over(c, app.Papers{}, app.PaperFiles{}) // before the base is opened
			if err != nil {
				return err
			}
			if table != "" {
				list, err := promotionsFrom(c, table)
				if err != nil {
					return err
				}
				return writeCertificates(c, style, app.School{Name: school}, list, file)
			}
			st, a, err := openBase(c.Context(), dir)
			if err != nil {
				return err
			}
			defer st.Close()
			list, err := a.Awards(c.Context(), app.CommandLine(), rankwright.GradingID(grading), rankwright.EntryID(entry))
			if err != nil {
				return gradings(c, a, err)
			}
			var now []app.Award
			for _, x := range list {
				if x.Line.FollowUp == 0 || entry != "" {
					now = append(now, x)
				}
			}
			later := len(list) - len(now)
			if len(now) == 0 {
				return rankwright.Faultf(rankwright.NotFound, "no_awards", "sign the grading first, or look into the rank ledger", "there is no certificate to print")
			}
			sc, err := a.School(c.Context())
			if err != nil {
				return err
			}
			papers, err := a.Papers(c.Context())
			if err != nil {
				return err
			}
			kept, err := a.PaperFiles(c.Context(), app.CommandLine())
			if err != nil {
				return err
			}
			if style, err = look.over(c, papers, kept); err != nil {
				return err
			}
			if err := writeCertificates(c, style, sc, now, file); err != nil {
				return err
			}
			if later > 0 {
				fmt.Fprintf(c.OutOrStdout(), "%s for what is looked at again; print it with --entry when that is done:\n", many(later, "more waits", "more wait"))
				for _, x := range list {
					if x.Line.FollowUp != 0 {
						fmt.Fprintf(c.OutOrStdout(), "  --entry %s  %s, by %s\n", x.Line.Entry, x.Name, x.Line.FollowUp.Long())
					}
				}
			}
			return nil
		},
	}
	dataFlag(c, &dir)
	f := c.Flags()
	f.StringVar(&grading, "grading", "", "the grading's id, as in the address of its page")
	f.StringVar(&entry, "entry", "", "one entry's id: its certificate alone")
	f.StringVar(&table, "promotions", "", "a table of promotions in place of a base")
	f.StringVar(&school, "school", "", "the school's name, with --promotions")
	f.StringVarP(&file, "output", "o", "", "the file to write")
	look.flags(c)
	needs(c, "output")
	return c
}

// writeCertificates prints them into a file, or tells all that is in the way.
func writeCertificates(c *cobra.Command, style *award.Style, sc app.School, list []app.Award, file string) error {
	var b bytes.Buffer
	if err := paper.WriteCertificates(&b, style.Certificates(sc, list), style.Options()); err != nil {
		return err
	}
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		return err
	}
	fmt.Fprintf(c.OutOrStdout(), "%s: %s.\n", file, many(len(list), "certificate", "certificates"))
	return nil
}

// gradings adds to the fault of an unknown grading which ones there are.
func gradings(c *cobra.Command, a *app.App, err error) error {
	if rankwright.KindOf(err) != rankwright.NotFound {
		return err
	}
	list, lerr := a.Gradings(c.Context(), app.CommandLine())
	if lerr != nil {
		return err
	}
	for _, g := range list {
		if app.State(g.State) == app.Closed {
			fmt.Fprintf(c.ErrOrStderr(), "%s  %s, %s\n", g.ID, g.Title, g.Day.Long())
		}
	}
	return rankwright.Faultf(rankwright.NotFound, "no_grading", "use one of the ids of signed gradings", "there is no such grading")
}
