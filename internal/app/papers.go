package app

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/language"

	"rankwright/internal/store"
	"rankwright/internal/words"
)

// Papers is how the school prints.
type Papers struct {
	// Letter says that the paper is US Letter; else it is A4.
	Letter bool
	// Design is the word of a certificate's layout; "" is the first one.
	Design string
	// Upright says that certificates stand upright.
	Upright bool
	// Lang is the language of a certificate's words; "" is English.
	Lang string
	// Second is the language of the line under them; "" is none, and OwnWords
	// the school's own line.
	Second string
	// Own is that line, in any script; OwnLang its language as a BCP 47 tag.
	Own, OwnLang string
	// More are further lines to sign on, one to a line, such as
	// "Anahera Ropatini, Examiner".
	More string
}

// OwnWords is Papers.Second for the school's own line.
const OwnWords = "own"

// Signer is a further line to sign on.
type Signer struct{ Name, Role string }

// maxSigners is how many may sign beside the head instructor.
const maxSigners = 3

// Signers reads the further lines to sign on.
func (p Papers) Signers() (out []Signer) {
	for line := range strings.SplitSeq(p.More, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			name, role, _ := strings.Cut(line, ",")
			out = append(out, Signer{strings.TrimSpace(name), strings.TrimSpace(role)})
		}
	}
	return out
}

const keyPapers = "papers"

// Papers returns how the school prints.
func (a *App) Papers(ctx context.Context) (p Papers, err error) {
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		p, err = papersOf(tx)
		return err
	})
	return p, err
}

func papersOf(tx *store.Tx) (p Papers, err error) {
	text, ok, err := tx.Setting(keyPapers)
	if err != nil || !ok {
		return p, err
	}
	return p, json.Unmarshal([]byte(text), &p)
}

// SetPapers says how the school prints from now on.
func (a *App) SetPapers(ctx context.Context, who Actor, p Papers) error {
	for _, lang := range []struct{ field, tag string }{{"lang", p.Lang}, {"second", p.Second}} {
		if lang.tag != "" && lang.tag != OwnWords && string(words.Pick(lang.tag, "")) != lang.tag {
			return invalid(lang.field, "choose one of the list", "there is no language %q here", lang.tag)
		}
	}
	p.Own, p.OwnLang = strings.TrimSpace(p.Own), strings.TrimSpace(p.OwnLang)
	if p.Second == OwnWords && p.Own == "" {
		return invalid("own", "write the line, or choose another second language", "the line in your own words is empty")
	}
	if utf8.RuneCountInString(p.Own) > 200 {
		return invalid("own", "write at most 200 characters", "the second line is too long")
	}
	if p.OwnLang != "" {
		if _, err := language.Parse(p.OwnLang); err != nil {
			return invalid("own_lang", "write a tag such as vi, ar or pt-BR, or leave it empty", "%q is not the tag of a language", p.OwnLang)
		}
	}
	if n := len(p.Signers()); n > maxSigners {
		return invalid("more", "keep the ones that matter most", "%d more are to sign, and there is room for %d", n, maxSigners)
	}
	return a.do(ctx, who, EditSchool, on{kind: "papers"}, func(tx *store.Tx) (any, error) {
		text, err := json.Marshal(p)
		if err != nil {
			return nil, err
		}
		return p, tx.SetSetting(keyPapers, string(text))
	})
}

// Kinds of files that are put onto papers.
const (
	LogoFile      = "logo"
	SignatureFile = "signature"
	FontFile      = "font"
)

// PaperFile is a file that is put onto papers.
type PaperFile = store.PaperFile

// PaperFiles are the files that are put onto papers.
type PaperFiles struct {
	Logo *PaperFile
	// Signatures are by the name of the head instructor who signs.
	Signatures map[string]PaperFile
	Fonts      []PaperFile
}

// PaperFiles returns the files that are put onto papers.
func (a *App) PaperFiles(ctx context.Context, who Actor) (out PaperFiles, err error) {
	err = a.see(ctx, who, PrintPapers, on{kind: "papers"}, func(tx *store.Tx) error {
		list, err := tx.PaperFiles("")
		if err != nil {
			return err
		}
		people, err := tx.People()
		if err != nil {
			return err
		}
		out.Signatures = map[string]PaperFile{}
		for _, f := range list {
			switch f.Kind {
			case LogoFile:
				out.Logo = &f
			case FontFile:
				out.Fonts = append(out.Fonts, f)
			case SignatureFile:
				if at := slices.IndexFunc(people, func(p store.Person) bool { return p.ID == f.Owner }); at >= 0 {
					out.Signatures[people[at].Name] = f
				}
			}
		}
		return nil
	})
	return out, err
}

// PaperFonts returns the fonts that the school put in, for whatever is printed
// and whoever prints it.
func (a *App) PaperFonts(ctx context.Context) (out [][]byte, err error) {
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		list, err := tx.PaperFiles(FontFile)
		for _, f := range list {
			out = append(out, f.Data)
		}
		return err
	})
	return out, err
}

// Most bytes that are kept of a picture, as it was made ready, and of a font.
const (
	maxPicture = 2 << 20
	maxFont    = 11 << 20
	maxFonts   = 6
)

// KeepPaperFile keeps a logo, the actor's own signature, or a font. Pictures
// are made ready before, and fonts read.
func (a *App) KeepPaperFile(ctx context.Context, who Actor, f PaperFile) error {
	limit := maxPicture
	f.Owner, f.At = "", a.moment()
	switch f.Kind {
	case LogoFile:
	case SignatureFile:
		f.Owner = who.ID // nobody puts in another's
	case FontFile:
		limit = maxFont
	default:
		return invalid("kind", "choose a logo, a signature or a font", "nothing of the kind %q is put onto papers", f.Kind)
	}
	if len(f.Data) == 0 || len(f.Data) > limit {
		return invalid(f.Kind, "choose a smaller file", "the file has %d kB, and at most %d kB are kept", len(f.Data)>>10, limit>>10)
	}
	if utf8.RuneCountInString(f.Name) > 120 {
		f.Name = string([]rune(f.Name)[:120])
	}
	return a.do(ctx, who, EditSchool, on{kind: "papers"}, func(tx *store.Tx) (any, error) {
		if f.Kind == FontFile {
			have, err := tx.PaperFiles(FontFile)
			if err != nil {
				return nil, err
			}
			f.Owner = hashOf(string(f.Data))[:12]
			if len(have) >= maxFonts && !slices.ContainsFunc(have, func(x PaperFile) bool { return x.Owner == f.Owner }) {
				return nil, invalid(f.Kind, "take one out first", "there are %d fonts already", len(have))
			}
		}
		f, err := tx.PutPaperFile(f)
		return map[string]string{"what": f.Kind, "file": f.Name, "hash": f.Hash}, err
	})
}

// DropPaperFile takes a file out again. A head instructor takes out any
// signature: a name may have to go from the papers when its owner cannot.
func (a *App) DropPaperFile(ctx context.Context, who Actor, kind, owner string) error {
	return a.do(ctx, who, EditSchool, on{kind: "papers"}, func(tx *store.Tx) (any, error) {
		return map[string]string{"what": kind, "taken": "out"}, tx.DropPaperFile(kind, owner)
	})
}
