package web

import (
	"errors"
	"io"
	"net/http"
	"net/url"
	"path"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/award"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
)

var papersRoutes = []Route{
	{Pattern: "GET /papers", Act: app.EditSchool, Do: papersShow},
	{Pattern: "POST /papers", Act: app.EditSchool, Do: papersShow},
	{Pattern: "POST /papers/file", Act: app.EditSchool, Large: true, Do: papersFile},
	{Pattern: "POST /papers/drop", Act: app.EditSchool, Do: papersDrop},
	{Pattern: "GET /papers/preview.svg", Act: app.PrintPapers, Do: papersPreview},
}

// letterPaper says whether a document is for US Letter: as the address says,
// else as the school prints.
func letterPaper(q *Query) bool {
	if p := q.FormValue("paper"); p != "" {
		return strings.EqualFold(p, "letter")
	}
	p, err := q.App().Papers(q.Context())
	return err == nil && p.Letter // a base that cannot be read fails the page itself
}

// paperOf is on which paper a document is printed, with the fonts that the
// school put in for names in other scripts. Without them such a name is
// reported and not printed.
func paperOf(q *Query) paper.Options {
	o := paper.Options{Lang: "en"}
	if letterPaper(q) {
		o.Paper = paper.Letter
	}
	if more, err := q.App().PaperFonts(q.Context()); err == nil && len(more) > 0 {
		o.Fonts, _ = paper.ShippedFonts().With(more...) // each was read when it was put in
	}
	return o
}

// style is how the school's certificates look.
func (q *Query) style() (*award.Style, error) {
	p, err := q.App().Papers(q.Context())
	if err != nil {
		return nil, err
	}
	files, err := q.App().PaperFiles(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	return award.StyleOf(p, files)
}

type papersPage struct {
	Frame
	Before  []look.Field // asked before the designs, and after them
	Designs []papersDesign
	After   []look.Field
	Logo    papersKept
	Hand    papersKept
	Others  []papersKept // signatures of others
	Fonts   []papersKept
	Upload  map[string]look.Field
	Trouble string
}

type papersDesign struct {
	Value, Name, Hint, Preview string
	Selected                   bool
}

// papersKept is a file that is put onto papers, with its picture.
type papersKept struct{ Kind, Owner, Name, Picture string }

// pixels is how many of a picture are kept: 600 to the inch of the largest
// place that it is printed in.
const pixels = 1000

func papersShow(q *Query) (Answer, error) {
	p, err := q.papersPage()
	if err != nil {
		return nil, err
	}
	now, err := q.App().Papers(q.Context())
	if err != nil {
		return nil, err
	}
	if q.Method == http.MethodPost {
		now = app.Papers{Letter: q.FormValue("paper") == "letter", Design: q.FormValue("design"), Upright: q.FormValue("turn") == "upright", Lang: q.FormValue("lang"),
			Second: q.FormValue("second"), Own: q.FormValue("own"), OwnLang: q.FormValue("own_lang"), More: strings.ReplaceAll(q.FormValue("more"), "\r\n", "\n")}
		if _, ok := paper.ParseDesign(now.Design); !ok {
			now.Design = ""
		}
	}
	p.ask(now)
	if q.Method == http.MethodGet {
		return Page("papers", p), nil
	}
	if err := q.App().SetPapers(q.Context(), q.Who, now); err != nil {
		var f *rankwright.Fault
		if !errors.As(err, &f) || f.Kind != rankwright.Invalid {
			return nil, err
		}
		say, do := told(f)
		for _, list := range [][]look.Field{p.Before, p.After} {
			for i := range list {
				if list[i].Name == f.Where.Name {
					list[i].Error = say + " " + do
				}
			}
		}
		p.Errors = look.ErrorsOf(append(p.Before, p.After...)...)
		return Again("papers", p), nil
	}
	q.Flash("good", "From now on papers are printed like this.")
	return To("/papers"), nil
}

func (p *papersPage) ask(now app.Papers) {
	second := []look.Option{{Value: "", Text: "None", Selected: now.Second == ""}}
	second = append(second, languages(now.Second)...)
	second = append(second, look.Option{Value: app.OwnWords, Text: "Our own words", Selected: now.Second == app.OwnWords})
	p.Before = []look.Field{
		{Name: "paper", Label: "Paper of everything that is printed", Kind: "segments", Options: []look.Option{{Value: "a4", Text: "A4", Selected: !now.Letter}, {Value: "letter", Text: "US Letter", Selected: now.Letter}}},
		{Name: "turn", Label: "Certificates are held", Kind: "segments", Options: []look.Option{{Value: "", Text: "On their side", Selected: !now.Upright}, {Value: "upright", Text: "Upright", Selected: now.Upright}}},
	}
	chosen, _ := paper.ParseDesign(now.Design)
	turn := ""
	if now.Upright {
		turn = "&turn=upright"
	}
	for _, d := range paper.Designs() {
		x := papersDesign{Value: d.String(), Selected: d == chosen, Preview: "/papers/preview.svg?design=" + d.String() + turn}
		switch d {
		case paper.Framed:
			x.Name, x.Hint = "Frame", "A double frame, with the belt laid across the card."
		case paper.Plain:
			x.Name, x.Hint = "Plain", "No frame, and a short belt under the rank."
		case paper.Band:
			x.Name, x.Hint = "Band", "The belt down the left side, the words beside it."
		}
		p.Designs = append(p.Designs, x)
	}
	p.After = []look.Field{
		{Name: "lang", Label: "Language of a certificate’s words", Kind: "select", Size: "medium", Options: languages(now.Lang)},
		{Name: "second", Label: "Line in a second language", Hint: "It stands under the words, smaller.", Kind: "select", Size: "medium", Options: second},
		{Name: "own", Label: "The line in our own words", Hint: "In any script that the fonts carry; add a font below for others.", Value: now.Own, Optional: true, MaxLength: 200},
		{Name: "own_lang", Label: "Language of that line", Hint: "Its tag, such as vi, ar or pt-BR, for those who listen to the file.", Value: now.OwnLang, Optional: true, MaxLength: 20, Size: "short"},
		{Name: "more", Label: "Who else signs", Hint: "A line each, such as: Anahera Ropatini, Examiner. The head instructor who signed the grading always has a line.", Kind: "textarea", Rows: 3, Value: now.More, Optional: true, MaxLength: 400},
	}
}

func (q *Query) papersPage() (*papersPage, error) {
	p := &papersPage{}
	p.Title, p.Lead, p.Back = "How papers look", "These choices hold for every certificate and list from now on.", &look.Link{Href: "/", Text: "Today"}
	p.Styles = []string{look.AssetPath() + "papers.css"}
	p.Upload = map[string]look.Field{
		app.LogoFile:      {ID: "logo", Name: "file", Label: "A picture of the logo", Hint: "PNG or JPEG of up to 10 MB. What is clear in a PNG stays clear.", Type: "file", Accept: "image/png,image/jpeg", Required: true},
		app.SignatureFile: {ID: "hand", Name: "file", Label: "A picture of your signature", Hint: "PNG or JPEG. A photograph of dark ink on white paper will do: the paper is taken away.", Type: "file", Accept: "image/png,image/jpeg", Required: true},
		app.FontFile:      {ID: "font", Name: "file", Label: "A font for another script", Hint: "A TrueType file (.ttf) of up to 10 MB that you may use. The fonts here carry Latin with every mark, Vietnamese, Greek and Cyrillic.", Type: "file", Accept: ".ttf,font/ttf", Required: true},
	}
	files, err := q.App().PaperFiles(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	if files.Logo != nil {
		p.Logo = papersKept{app.LogoFile, "", files.Logo.Name, "/papers/preview.svg?of=logo"}
	}
	for name, f := range files.Signatures {
		k := papersKept{app.SignatureFile, f.Owner, name, "/papers/preview.svg?of=" + url.QueryEscape(f.Owner)}
		if f.Owner == q.Who.ID {
			p.Hand = k
		} else {
			p.Others = append(p.Others, k)
		}
	}
	for _, f := range files.Fonts {
		p.Fonts = append(p.Fonts, papersKept{Kind: app.FontFile, Owner: f.Owner, Name: f.Name})
	}
	return p, nil
}

// papersFile takes a logo, a signature or a font.
func papersFile(q *Query) (Answer, error) {
	f := app.PaperFile{Kind: q.FormValue("kind")}
	file, head, err := q.Request.FormFile("file")
	if err == nil {
		defer file.Close()
		f.Name = path.Base(strings.ReplaceAll(head.Filename, `\`, "/"))
		f.Data, err = io.ReadAll(file)
	}
	if err != nil || len(f.Data) == 0 {
		err = rankwright.Faultf(rankwright.Invalid, "no_file", "choose one and send it again", "no file arrived")
	} else {
		err = q.keepPaperFile(f)
	}
	if err == nil {
		q.Flash("good", "It is kept, and stands on papers from now on.")
		return To("/papers"), nil
	}
	kind := rankwright.KindOf(err)
	if kind != rankwright.Invalid && kind != rankwright.TooLarge {
		return nil, err
	}
	p, perr := q.papersPage()
	if perr != nil {
		return nil, perr
	}
	now, perr := q.App().Papers(q.Context())
	if perr != nil {
		return nil, perr
	}
	p.ask(now)
	say, do := told(err)
	field := p.Upload[f.Kind]
	field.Error = say + " " + do
	p.Upload[f.Kind] = field
	p.Errors = look.ErrorsOf(field)
	return Again("papers", p), nil
}

func (q *Query) keepPaperFile(f app.PaperFile) (err error) {
	switch f.Kind {
	case app.FontFile:
		f.Media = "font/ttf"
		if _, err = paper.ShippedFonts().With(f.Data); err != nil {
			return err
		}
	default:
		f.Data, f.Media, err = paper.CleanPicture(f.Data, pixels, f.Kind == app.SignatureFile)
		if err != nil {
			return err
		}
	}
	return q.App().KeepPaperFile(q.Context(), q.Who, f)
}

func papersDrop(q *Query) (Answer, error) {
	if err := q.App().DropPaperFile(q.Context(), q.Who, q.FormValue("kind"), q.FormValue("owner")); err != nil {
		return nil, err
	}
	q.Flash("good", "It is taken out. What was printed before stays as it is.")
	return To("/papers"), nil
}

// papersPreview draws a certificate of nobody in a design, or what is kept of
// a picture.
func papersPreview(q *Query) (Answer, error) {
	if of := q.FormValue("of"); of != "" {
		return q.keptPicture(of)
	}
	style, err := q.style()
	if err != nil {
		return nil, err
	}
	ladders, err := q.App().Current(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	sample := app.Award{Name: "Given name Family name"}
	sample.Line.RankName, sample.Line.Day, sample.Line.Signer = "Rank", q.App().Today(), q.Who.Name
	sample.Line.Certificate, sample.Belt.Hex = itoa(q.App().Today().Year())+"-0000", "#5a6670"
	if len(ladders) > 0 && len(ladders[0].Ranks) > 0 {
		k := &ladders[0].Ranks[len(ladders[0].Ranks)/2]
		sample.Line.RankName, sample.Belt = k.Name, k.Belt
	}
	o := style.Options()
	if d, ok := paper.ParseDesign(q.FormValue("design")); ok {
		o.Design = d
	}
	if q.FormValue("turn") == "upright" {
		o.Turn = paper.Portrait
	}
	svg, err := paper.Preview(style.Certificates(q.School, []app.Award{sample})[0], o)
	if err != nil {
		return nil, err
	}
	return File{Name: "preview.svg", Type: "image/svg+xml", Data: svg, Show: true}, nil
}

func (q *Query) keptPicture(of string) (Answer, error) {
	files, err := q.App().PaperFiles(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	if of == app.LogoFile && files.Logo != nil {
		return File{Name: "logo", Type: files.Logo.Media, Data: files.Logo.Data, Show: true}, nil
	}
	for _, f := range files.Signatures {
		// A signature is shown to those who may put one in, and to nobody else.
		if f.Owner == of && q.Who.Role.May(app.EditSchool) {
			return File{Name: "signature", Type: f.Media, Data: f.Data, Show: true}, nil
		}
	}
	return nil, rankwright.Faultf(rankwright.NotFound, "no_picture", "put one in first", "there is no such picture")
}
