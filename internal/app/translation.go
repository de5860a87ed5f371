package app

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

// TranslationsView is a published version with what its translations lack.
type TranslationsView struct {
	Version   store.Version
	Syllabus  *syllabus.Syllabus
	Texts     int // how many there are to translate
	Languages []TranslationState
}

// TranslationState is how far a version is translated into a language.
type TranslationState struct {
	Lang words.Lang
	// Latest is the file that was kept last for this version, nil where there
	// is none: then files of other versions serve as far as they fit.
	Latest  *store.Translation
	Done    int // texts that are shown in the language
	Missing syllabus.Missing
}

// Translations says how far a published version is translated into each of the
// languages that families read.
func (a *App) Translations(ctx context.Context, who Actor, version string) (v TranslationsView, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "version", id: version}, func(tx *store.Tx) error {
		if v.Version, v.Syllabus, err = a.publishedVersion(tx, version); err != nil {
			return err
		}
		v.Texts = len(v.Syllabus.Texts())
		for _, lang := range words.Langs() {
			files, list, err := a.translationsOf(tx, v.Version, lang)
			if err != nil {
				return err
			}
			x := TranslationState{Lang: lang, Missing: together(v.Syllabus, list)}
			x.Done = v.Texts - len(x.Missing.Untranslated)
			if len(files) > 0 && files[0].Version == version {
				x.Latest = &files[0]
				of := list[0].Compare(v.Syllabus)
				x.Missing.Stale, x.Missing.Unknown = of.Stale, of.Unknown
			}
			v.Languages = append(v.Languages, x)
		}
		return nil
	})
	return v, err
}

// together says which texts none of the translations has.
func together(s *syllabus.Syllabus, list []*syllabus.Translation) syllabus.Missing {
	full, err := syllabus.ParseTranslation("", s.Untranslated("en", list...))
	if err != nil { // a ladder without a text that could be written
		return syllabus.Missing{Untranslated: s.Texts()}
	}
	return full.Compare(s)
}

// TranslationFile is the file in which a version is translated into a language,
// with what is known already.
func (a *App) TranslationFile(ctx context.Context, who Actor, version string, lang words.Lang) (v store.Version, file []byte, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "version", id: version}, func(tx *store.Tx) error {
		if lang == "" {
			return invalid("lang", "choose one of the list", "no language was chosen")
		}
		if err := offered(lang); err != nil {
			return err
		}
		var s *syllabus.Syllabus
		if v, s, err = a.publishedVersion(tx, version); err != nil {
			return err
		}
		_, list, err := a.translationsOf(tx, v, lang)
		file = s.Untranslated(string(lang), list...)
		return err
	})
	return v, file, err
}

// SaveTranslation keeps a file with the texts of a published version in another
// language. A file with faults is not kept, and what was kept before stays. It
// returns the file's language and what it lacks.
func (a *App) SaveTranslation(ctx context.Context, who Actor, version, text string) (lang words.Lang, remarks []syllabus.Remark, err error) {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	t, parse := syllabus.ParseTranslation("", []byte(text))
	err = a.do(ctx, who, EditSyllabus, on{kind: "version", id: version}, func(tx *store.Tx) (any, error) {
		v, s, err := a.publishedVersion(tx, version)
		switch {
		case err != nil:
			return nil, err
		case parse != nil:
			return nil, parse
		case t.Ladder != v.Ladder:
			return nil, invalid("translation", "take the file of this ladder, or go to the ladder of the file", "the file translates the ladder %q, and this is %q", string(t.Ladder), string(v.Ladder))
		case !words.Offered(words.Lang(t.Lang)):
			return nil, invalid("lang", "translate into one of: "+langList(), "families cannot read pages in the language %q", t.Lang)
		}
		lang, remarks = words.Lang(t.Lang), t.Lint(s)
		kept, err := tx.AddTranslation(store.Translation{Version: version, Lang: t.Lang, Text: text, By: who.ID, At: a.moment()})
		return map[string]any{"what": "translation", "language": t.Lang, "number": kept.Number, "hash": kept.Hash}, err
	})
	return lang, remarks, err
}

func langList() string {
	var out []string
	for _, l := range words.Langs() {
		out = append(out, string(l))
	}
	return strings.Join(out, ", ")
}

// publishedVersion returns a version that is frozen; a draft has no
// translation, since its texts may be others tomorrow.
func (a *App) publishedVersion(tx *store.Tx, id string) (store.Version, *syllabus.Syllabus, error) {
	v, err := tx.Version(id)
	if err != nil {
		return v, nil, err
	}
	if v.Published == 0 {
		return v, nil, rankwright.Faultf(rankwright.Conflict, "draft", "publish it first", "a draft has no translation: its texts may be others tomorrow")
	}
	s, err := a.parse(v)
	return v, s, err
}

// translationsOf returns the translations that serve a version: its own, the
// latest first, then those of the ladder's other versions, as far as their
// texts are the same.
func (a *App) translationsOf(tx *store.Tx, v store.Version, lang words.Lang) ([]store.Translation, []*syllabus.Translation, error) {
	files, err := tx.Translations(v.Ladder, string(lang))
	if err != nil || len(files) == 0 {
		return nil, nil, err
	}
	slices.SortStableFunc(files, func(x, y store.Translation) int { return foreign(x, v) - foreign(y, v) })
	list := make([]*syllabus.Translation, len(files))
	for i, f := range files {
		if list[i], err = a.translation(f); err != nil {
			return nil, nil, fmt.Errorf("the translation %d that was kept: %w", f.Number, err)
		}
	}
	return files, list, nil
}

func foreign(x store.Translation, v store.Version) int {
	if x.Version == v.ID {
		return 0
	}
	return 1
}

// translation reads a kept file, once: it never changes.
func (a *App) translation(f store.Translation) (*syllabus.Translation, error) {
	a.mu.Lock()
	t := a.translated[f.Number]
	a.mu.Unlock()
	if t != nil {
		return t, nil
	}
	t, err := syllabus.ParseTranslation("", []byte(f.Text))
	if err != nil {
		return nil, err
	}
	a.mu.Lock()
	a.translated[f.Number] = t
	a.mu.Unlock()
	return t, nil
}

// in is a grading as those read it who read a language: the texts of its
// syllabus are translated as far as the school has them, and nothing else of
// it is another.
func (a *App) in(tx *store.Tx, g GradingView, lang words.Lang) (GradingView, error) {
	s, err := a.syllabusIn(tx, g.Version, lang)
	if err != nil {
		return g, err
	}
	for m, theme := range g.Syllabus.Themes {
		if theme == g.Theme {
			g.Theme = s.Themes[m]
			break
		}
	}
	g.Syllabus = s
	return g, nil
}

// syllabusIn is a version as those read it who read a language.
func (a *App) syllabusIn(tx *store.Tx, version string, lang words.Lang) (*syllabus.Syllabus, error) {
	v, err := tx.Version(version)
	if err != nil {
		return nil, err
	}
	s, err := a.parse(v)
	if err != nil || lang == "" || v.Published == 0 {
		return s, err
	}
	_, list, err := a.translationsOf(tx, v, lang)
	if err != nil {
		return nil, err
	}
	return s.In(list...), nil
}

// VersionIn returns a version with its texts in a language, as far as the
// school has translated them.
func (a *App) VersionIn(ctx context.Context, who Actor, id string, lang words.Lang) (v store.Version, s *syllabus.Syllabus, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "version", id: id}, func(tx *store.Tx) error {
		if v, err = tx.Version(id); err != nil {
			return err
		}
		s, err = a.syllabusIn(tx, id, lang)
		return err
	})
	return v, s, err
}
