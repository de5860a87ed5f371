package web

import (
	"errors"
	"io"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

func translationsHref(version string) string {
	return "/syllabus/version/" + url.PathEscape(version) + "/translations"
}

type translationsPage struct {
	Frame
	Cards []translationCard
	Edit  bool
}

type translationCard struct {
	Lang, Name       string
	State, Kept      string
	Whole            bool
	Edit, File       string
	Missing          []translationLine
	More             int
	Stale            []translationLine
	Unknown          []translationLine
	Own              bool // the school's own language
	MissingN, StaleN int
}

type translationLine struct{ ID, Text, Was, To string }

// shownTexts is how many of the missing texts are listed; the file has all.
const shownTexts = 12

// translations says how far a version is translated, language by language.
func translations(q *Query) (Answer, error) {
	v, err := q.App().Translations(q.Context(), q.Who, q.PathValue("id"))
	if err != nil {
		return nil, err
	}
	p := &translationsPage{Edit: q.Who.Role.May(app.EditSyllabus)}
	p.Title, p.Kicker = "Translations", v.Syllabus.Name+", version "+itoa(v.Version.Number)
	p.Lead = "Your own texts in other languages. Families who read one of them see it; where nothing is translated they see the text of the syllabus."
	p.Back = &look.Link{Href: "/syllabus/version/" + url.PathEscape(v.Version.ID), Text: "The syllabus"}
	own := words.Pick(q.School.Lang, "")
	for _, x := range v.Languages {
		c := translationCard{Lang: string(x.Lang), Name: x.Lang.Name(), Own: x.Lang == own && x.Done == 0, Whole: x.Done == v.Texts, State: itoa(x.Done) + " of " + plural(v.Texts, "text", "texts"),
			Edit: translationsHref(v.Version.ID) + "/" + string(x.Lang), MissingN: len(x.Missing.Untranslated), StaleN: len(x.Missing.Stale)}
		c.File = c.Edit + "/file"
		if x.Latest != nil {
			c.Kept = "Kept on " + x.Latest.At.Time().Local().Format("2 January 2006") + "."
		} else if x.Done > 0 {
			c.Kept = "Taken over from another version, as far as the texts are the same."
		}
		for i, m := range x.Missing.Untranslated {
			if i == shownTexts {
				c.More = len(x.Missing.Untranslated) - shownTexts
				break
			}
			c.Missing = append(c.Missing, translationLine{ID: m.ID, Text: m.Text})
		}
		for _, m := range x.Missing.Stale {
			c.Stale = append(c.Stale, translationLine{ID: m.ID, Text: m.Now, Was: m.From, To: m.To})
		}
		for _, m := range x.Missing.Unknown {
			c.Unknown = append(c.Unknown, translationLine{ID: m.ID, Was: m.From, To: m.To})
		}
		p.Cards = append(p.Cards, c)
	}
	return Page("translations", p), nil
}

type translationEditPage struct {
	Frame
	Action, FileHref string
	Text             string
	Rows             int
	Lang             string // of the texts written
	File             look.Field
	Faults           []syllabusNote
	More             int
}

// translationEdit takes the file of a version in a language, as a text or as a
// file; one with faults comes back with them.
func translationEdit(q *Query) (Answer, error) {
	lang := words.Lang(q.PathValue("lang"))
	v, file, err := q.App().TranslationFile(q.Context(), q.Who, q.PathValue("id"), lang)
	if err != nil {
		return nil, err
	}
	p := &translationEditPage{Action: translationsHref(v.ID) + "/" + string(lang), Text: string(file), Lang: string(lang)}
	p.FileHref = p.Action + "/file"
	p.Title, p.Kicker = "Into "+lang.Name(), v.Name+", version "+itoa(v.Number)
	p.Lead = "Write behind each “to” what the text is called. What stays empty is shown as the syllabus has it."
	p.Back = &look.Link{Href: translationsHref(v.ID), Text: "Translations"}
	p.File = look.Field{Name: "file", Label: "Or put a file back", Hint: "The file that was taken from here, filled in with any editor.", Type: "file", Accept: ".yaml,.yml,.txt,text/plain"}
	if q.Method == http.MethodPost {
		if q.MultipartForm != nil {
			defer q.MultipartForm.RemoveAll()
		}
		p.Text = q.FormValue("text")
		if q.FormValue("from") == "file" {
			f, _, err := q.FormFile("file")
			if err != nil {
				p.Text, p.File.Error = string(file), "No file was chosen. Choose the file first."
				p.Errors = look.ErrorsOf(p.File)
				p.rows()
				return Again("translation", p), nil
			}
			defer f.Close()
			b, err := io.ReadAll(f)
			if err != nil {
				return nil, err
			}
			p.Text = string(b)
		}
		if utf8.ValidString(p.Text) {
			p.Text = strings.ReplaceAll(strings.TrimPrefix(p.Text, "\ufeff"), "\r\n", "\n")
		}
		if t, err := syllabus.ParseTranslation("", []byte(p.Text)); err == nil && t.Lang != string(lang) {
			p.Flash = &look.Notice{Kind: "stop", Title: "Nothing was saved", Text: "The text says language: " + t.Lang + ", and this page is about " + string(lang) + ".", Do: "Write language: " + string(lang) + " again, or go to the page of the other language."}
			p.rows()
			return Again("translation", p), nil
		}
		_, remarks, err := q.App().SaveTranslation(q.Context(), q.Who, v.ID, p.Text)
		var faults rankwright.Faults
		if errors.As(err, &faults) {
			p.faulty(faults)
			return Again("translation", p), nil
		}
		if err != nil {
			return nil, err
		}
		say := "Kept. Families read it from now on."
		if len(remarks) > 0 {
			say += " Below is what is still missing."
		}
		q.Flash("good", say)
		return To(translationsHref(v.ID)), nil
	}
	p.rows()
	return Page("translation", p), nil
}

func (p *translationEditPage) rows() {
	p.Rows = min(36, max(16, strings.Count(p.Text, "\n")+2))
}

func (p *translationEditPage) faulty(faults rankwright.Faults) {
	p.rows()
	for i, f := range faults {
		if i == shownFaults {
			p.More = len(faults) - shownFaults
			break
		}
		p.Faults = append(p.Faults, syllabusNote{Line: f.Where.Line, Text: syllabusLineText(p.Text, f.Where.Line), Say: sentence(f.Say), Do: sentence(f.Do)})
	}
	p.Flash = &look.Notice{Kind: "stop", Title: "Nothing was saved", Text: "The text has " + plural(len(faults), "mistake", "mistakes") + ". What was kept before stays as it was.", Links: []look.Link{{Href: "#faults", Text: "What to mend"}}}
}

// translationFile gives out the file in which a version is translated.
func translationFile(q *Query) (Answer, error) {
	v, file, err := q.App().TranslationFile(q.Context(), q.Who, q.PathValue("id"), words.Lang(q.PathValue("lang")))
	if err != nil {
		return nil, err
	}
	return File{Name: string(v.Ladder) + "." + q.PathValue("lang") + ".yaml", Type: "application/yaml; charset=utf-8", Data: file}, nil
}

// rosterLanguage writes down in which language a student's household is
// written to.
func rosterLanguage(q *Query) (Answer, error) {
	id := rankwright.StudentID(q.PathValue("student"))
	v, err := q.App().Student(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	if err := q.App().SetLanguage(q.Context(), q.Who, app.HouseholdOf(v.Student), words.Lang(q.FormValue("lang"))); err != nil {
		return nil, err
	}
	q.Flash("good", "Written down. It holds for the pages, letters and messages of the whole household.")
	return To(rosterHref(id)), nil
}

// languageField asks in which language a household is written to.
func (q *Query) languageField(h rankwright.HouseholdID) (*look.Field, error) {
	l, err := q.App().Languages(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	f := &look.Field{Name: "lang", Kind: "select", Size: "medium", Label: "Language", Hint: "Of the family’s pages, letters and messages. The family can choose it on its page too.",
		Options: []look.Option{{Text: "not said: " + l.School().Name(), Selected: l.Said(h) == ""}}}
	for _, x := range words.Langs() {
		f.Options = append(f.Options, look.Option{Value: string(x), Text: x.Name(), Selected: l.Said(h) == x})
	}
	return f, nil
}
