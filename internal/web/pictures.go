package web

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/guide"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var pictureRoutes = []Route{
	{Pattern: "GET /syllabus/pictures/{ladder}", Act: app.SeeSyllabus, Do: picturesShow},
	{Pattern: "POST /syllabus/pictures/{ladder}", Act: app.EditSyllabus, Stream: true, Do: picturesAdd},
	{Pattern: "POST /syllabus/pictures/{ladder}/words", Act: app.EditSyllabus, Do: picturesWord},
	{Pattern: "POST /syllabus/pictures/{ladder}/remove", Act: app.EditSyllabus, Do: picturesRemove},
	{Pattern: "GET /syllabus/picture/{picture}", Act: app.SeeSyllabus, Do: pictureFile},
	{Pattern: "GET /syllabus/clip/{picture}", Act: app.SeeSyllabus, Do: pictureFile},
	{Pattern: "GET /family/picture/{picture}", Open: true, Do: familyPaced("pictures", picturePace, familyPicture)},
	{Pattern: "GET /family/clip/{picture}", Open: true, Do: familyPaced("pictures", picturePace, familyPicture)},
}

const (
	picturePixels  = 1400     // the longer side of a picture as it is kept
	pictureArrives = 10 << 20 // the most bytes of a picture as it is sent
	picturePace    = 1500     // files that a family may ask for in a minute
)

type picturesPage struct {
	Frame
	Action  string
	Edit    bool
	Consent look.Notice
	About   look.Field
	Alt     look.Field
	Caption look.Field
	Agreed  look.Field
	File    look.Field
	Groups  []pictureGroup
	None    *look.Empty
}

type pictureGroup struct {
	Name     string
	Gone     bool // what it is about is no longer on the ladder
	Pictures []pictureRow
}

type pictureRow struct {
	guidePicture
	Lost         bool
	AltField     look.Field
	CaptionField look.Field
}

func picturesHref(l rankwright.LadderID) string {
	return "/syllabus/pictures/" + url.PathEscape(string(l))
}

// currentOf is the syllabus of a ladder that is in use, or its draft.
func (q *Query) currentOf(id rankwright.LadderID) (*syllabus.Syllabus, error) {
	all, err := q.App().Current(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		if s.Ladder == id {
			return s, nil
		}
	}
	return nil, rankwright.Faultf(rankwright.NotFound, "no_ladder", "go back to the syllabus and choose one", "there is no ladder %q", id)
}

// abouts lists what a picture can be about, sections first and then rank by
// rank what families are asked.
func abouts(s *syllabus.Syllabus) (out []look.Option) {
	for _, sec := range s.Sections {
		out = append(out, look.Option{Value: app.OfSection + " " + string(sec.ID), Text: "All of " + sec.Name})
	}
	seen := map[rankwright.RequirementID]bool{}
	for i := range s.Ranks {
		k := &s.Ranks[i]
		for j := range k.Requirements {
			if q := &k.Requirements[j]; !q.ForRelease && !seen[q.ID] {
				seen[q.ID] = true
				out = append(out, look.Option{Value: app.OfRequirement + " " + string(q.ID), Text: k.Name + ": " + q.Show})
			}
		}
	}
	return out
}

func (q *Query) pictures() (*picturesPage, error) {
	s, err := q.currentOf(rankwright.LadderID(q.PathValue("ladder")))
	if err != nil {
		return nil, err
	}
	list, err := q.App().Pictures(q.Context(), q.Who, s.Ladder)
	if err != nil {
		return nil, err
	}
	p := &picturesPage{Action: picturesHref(s.Ladder), Edit: q.Who.Role.May(app.EditSyllabus)}
	p.Title, p.Kicker, p.Back = "Pictures and clips", s.Name, &look.Link{Href: "/syllabus", Text: "Syllabus"}
	p.Lead = "They stand in the guides that families of this ladder read and print. They stay when a new version is published."
	p.Styles = []string{look.AssetPath() + "guide.css"}
	p.Consent = look.Notice{Kind: "attention", Title: "Who is in it?",
		Text: "Show instructors rather than children. Whoever can be recognised has to agree to be seen by the families of this ladder, and for a child its guardian.",
		Do:   "Somebody takes that back? Take the picture back here: its file is removed. Where a picture was taken is removed from it before it is kept."}
	p.About = look.Field{Name: "about", Kind: "select", Label: "What it belongs to", Required: true, Options: append([]look.Option{{Text: "Choose"}}, abouts(s)...)}
	p.Alt = look.Field{Name: "alt", Label: "What it shows, in one sentence", Hint: "For those who cannot see it, such as: the front foot points ahead, the back heel is up.", Required: true, MaxLength: 200}
	p.Caption = look.Field{Name: "caption", Label: "Caption", Hint: "Stands under it. No names of children, please.", Optional: true, MaxLength: 200}
	p.Agreed = look.Field{Name: "agreed", Kind: "check", Label: "Everybody who can be recognised has agreed, for a child its guardian; or nobody can be.", Required: true}
	p.File = look.Field{Name: "file", Type: "file", Label: "The picture or clip", Hint: "A JPEG or PNG of at most 10 MB and 25 million pixels, or a short MP4 or WebM clip of at most 24 MB.", Accept: "image/jpeg,image/png,video/mp4,video/webm", Required: true}
	options := abouts(s)
	group := func(kind, about string) *pictureGroup {
		name, gone := about, true
		for _, o := range options {
			if o.Value == kind+" "+about {
				name, gone = o.Text, false
			}
		}
		for i := range p.Groups {
			if p.Groups[i].Name == name {
				return &p.Groups[i]
			}
		}
		p.Groups = append(p.Groups, pictureGroup{Name: name, Gone: gone})
		return &p.Groups[len(p.Groups)-1]
	}
	at := func(x *app.Picture) int {
		return slices.IndexFunc(options, func(o look.Option) bool { return o.Value == x.Kind+" "+x.About })
	}
	slices.SortStableFunc(list, func(a, b app.Picture) int { return at(&a) - at(&b) })
	for i := range list {
		x := &list[i]
		g := group(x.Kind, x.About)
		row := pictureRow{guidePicture: shownPicture(guidePictureOf(x), "/syllabus/", "", ""), Lost: !q.App().PictureIsThere(*x)}
		row.AltField, row.CaptionField = p.Alt, p.Caption
		row.AltField.Name, row.CaptionField.Name = "alt."+x.ID, "caption."+x.ID
		row.AltField.Value, row.CaptionField.Value, row.AltField.Hint = x.Alt, x.Caption, ""
		g.Pictures = append(g.Pictures, row)
	}
	if len(list) == 0 {
		p.None = &look.Empty{Title: "No picture yet", Text: "A picture of a stance or a clip of a fall says more than a sentence."}
	}
	return p, nil
}

func picturesShow(q *Query) (Answer, error) {
	p, err := q.pictures()
	if err != nil {
		return nil, err
	}
	return Page("syllabus-pictures", p), nil
}

// picturesAdd takes in a file as it comes: the fields stand before it in the
// form.
func picturesAdd(q *Query) (Answer, error) {
	// A clip over a slow line takes longer than a page.
	_ = http.NewResponseController(q.w).SetReadDeadline(time.Now().Add(5 * time.Minute))
	form, err := q.takePicture()
	if err == nil {
		q.Flash("good", "It is added, and stands in the guides from now on.")
		return To(picturesHref(rankwright.LadderID(q.PathValue("ladder")))), nil
	}
	// A browser reads the answer only once it has sent everything.
	_, _ = io.Copy(io.Discard, q.Body)
	var large *http.MaxBytesError
	var f *rankwright.Fault
	switch {
	case errors.As(err, &large):
		f = rankwright.Faultf(rankwright.TooLarge, "file_large", "make it shorter or smaller", "the file is too large")
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, multipart.ErrMessageTooLarge):
		f = rankwright.Faultf(rankwright.Invalid, "cut", "send it again", "the file did not arrive whole, and nothing of it was kept")
	case errors.As(err, &f) && f.Kind != rankwright.Internal && f.Kind != rankwright.NotFound && f.Kind != rankwright.Forbidden:
	default:
		return nil, err
	}
	p, err := q.pictures()
	if err != nil {
		return nil, err
	}
	for i, o := range p.About.Options {
		p.About.Options[i].Selected = o.Value == form["about"]
	}
	p.Alt.Value, p.Caption.Value, p.Agreed.Checked = form["alt"], form["caption"], form["agreed"] == "yes"
	say, do := told(f)
	at := &p.File
	for _, x := range []*look.Field{&p.About, &p.Alt, &p.Caption, &p.Agreed} {
		if x.Name == f.Where.Name {
			at = x
		}
	}
	at.Error = strings.TrimSpace(say + " " + do)
	if at != &p.File {
		p.File.Hint += " Choose it once more: a browser does not keep a chosen file."
	}
	p.Errors = look.ErrorsOf(p.About, p.Alt, p.Caption, p.Agreed, p.File)
	return pageAnswer{"syllabus-pictures", p, statusOf(f)}, nil
}

func statusOf(f *rankwright.Fault) int {
	switch f.Kind {
	case rankwright.Unavailable:
		return http.StatusServiceUnavailable
	case rankwright.TooLarge:
		return http.StatusRequestEntityTooLarge
	}
	return http.StatusUnprocessableEntity
}

// takePicture reads the form part by part and adds the picture. What was typed
// comes back also where that failed.
func (q *Query) takePicture() (form map[string]string, err error) {
	form = map[string]string{}
	parts, err := q.MultipartReader()
	if err != nil {
		return form, rankwright.Faultf(rankwright.Invalid, "bad_form", "go back and try again", "the form did not arrive whole")
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return form, noFile()
		}
		if err != nil {
			return form, err
		}
		if part.FormName() == "file" {
			return form, q.addPicture(form, part)
		}
		b, err := io.ReadAll(io.LimitReader(part, 4000))
		if err != nil {
			return form, err
		}
		form[part.FormName()] = strings.ToValidUTF8(string(b), "\ufffd")
	}
}

func noFile() error {
	f := rankwright.Faultf(rankwright.Invalid, "no_file", "choose one first", "no file was chosen")
	f.Where.Name = "file"
	return f
}

func (q *Query) addPicture(form map[string]string, file io.Reader) error {
	kind, about, _ := strings.Cut(form["about"], " ")
	n := app.NewPicture{Ladder: rankwright.LadderID(q.PathValue("ladder")), Kind: kind, About: about, Alt: form["alt"], Caption: form["caption"], Agreed: form["agreed"] == "yes"}
	r := bufio.NewReader(file)
	head, err := r.Peek(12)
	switch {
	case len(head) == 0 && errors.Is(err, io.EOF):
		return noFile()
	case err != nil && !errors.Is(err, io.EOF):
		return err
	}
	if !pictureHead(head) { // what is no clip either is refused with the sentence for clips
		_, err := q.App().AddClip(q.Context(), q.Who, n, r)
		return err
	}
	data, err := io.ReadAll(io.LimitReader(r, pictureArrives+1))
	if err != nil {
		return err
	}
	if len(data) > pictureArrives {
		return rankwright.Faultf(rankwright.TooLarge, "picture_large", "save it smaller", "the picture has more than %d MB", pictureArrives>>20)
	}
	// One at a time is unfolded, however many are sent.
	select {
	case q.srv.cleaning <- struct{}{}:
	case <-q.Context().Done():
		return q.Context().Err()
	}
	clean, err := paper.CleanPhoto(data, picturePixels)
	<-q.srv.cleaning
	if err != nil {
		return err
	}
	_, err = q.App().AddPicture(q.Context(), q.Who, n, bytes.NewReader(clean))
	return err
}

func pictureHead(head []byte) bool {
	return bytes.HasPrefix(head, []byte("\xff\xd8")) || bytes.HasPrefix(head, []byte("\x89PNG"))
}

func picturesWord(q *Query) (Answer, error) {
	id := q.FormValue("picture")
	err := q.App().WordPicture(q.Context(), q.Who, id, q.FormValue("alt."+id), q.FormValue("caption."+id))
	var f *rankwright.Fault
	if errors.As(err, &f) && f.Kind == rankwright.Invalid {
		say, do := told(f)
		q.Flash("stop", say+" "+do)
	} else if err != nil {
		return nil, err
	} else {
		q.Flash("good", "The words are kept.")
	}
	return To(picturesHref(rankwright.LadderID(q.PathValue("ladder")))), nil
}

func picturesRemove(q *Query) (Answer, error) {
	if err := q.App().RemovePicture(q.Context(), q.Who, q.FormValue("picture")); err != nil {
		return nil, err
	}
	q.Flash("good", "It is taken back, and its file is removed. Whoever saved or printed a guide before still has it; browsers forget it within an hour.")
	return To(picturesHref(rankwright.LadderID(q.PathValue("ladder")))), nil
}

// clipPath says whether an address is that of a clip.
func clipPath(path string) bool {
	return strings.HasPrefix(path, "/syllabus/clip/") || strings.HasPrefix(path, "/family/clip/")
}

// keptFile gives out the file of a picture or clip, parts of it too.
type keptFile struct {
	picture app.Picture
	file    *os.File
}

func (k keptFile) send(q *Query) error {
	defer k.file.Close()
	if k.picture.Media != "image/jpeg" { // a clip over a slow line takes longer than a page
		_ = http.NewResponseController(q.w).SetWriteDeadline(time.Now().Add(10 * time.Minute))
	}
	h := q.w.Header()
	h.Set("Content-Type", k.picture.Media)
	h.Set("Content-Disposition", "inline")
	h.Set("Cache-Control", "private, max-age=3600")
	h.Set("ETag", `"`+k.picture.File+`"`)
	http.ServeContent(q.w, q.Request, "", time.Time{}, k.file)
	return nil
}

func pictureFile(q *Query) (Answer, error) {
	p, f, err := q.App().OpenPicture(q.Context(), q.Who, q.PathValue("picture"))
	if err != nil {
		return nil, err
	}
	return keptFile{p, f}, nil
}

// familyPicture gives a family a file of its own ladder's guides. A page may
// have many: they are counted apart from pages.
func familyPicture(f *familyQuery) (Answer, error) {
	p, file, err := f.App().OpenFamilyPicture(f.Context(), f.who, f.PathValue("picture"))
	if err != nil {
		return nil, err
	}
	return keptFile{p, file}, nil
}

func guidePictureOf(x *app.Picture) guide.Picture {
	return guide.Picture{ID: x.ID, Clip: x.Media != "image/jpeg", Type: x.Media, Width: x.Width, Height: x.Height, Alt: x.Alt, Caption: x.Caption}
}

// pictureFinder sorts pictures by what they are about.
func pictureFinder(list []app.Picture) guide.Pictures {
	by := map[string][]guide.Picture{}
	for i := range list {
		key := list[i].Kind + " " + list[i].About
		by[key] = append(by[key], guidePictureOf(&list[i]))
	}
	return func(s rankwright.SectionID, r rankwright.RequirementID) []guide.Picture {
		if r != "" {
			return by[app.OfRequirement+" "+string(r)]
		}
		return by[app.OfSection+" "+string(s)]
	}
}

// pictureBytes reads pictures for paper; one that cannot be had is left out.
func pictureBytes(open func(id string) (app.Picture, *os.File, error)) func(id string) []byte {
	return func(id string) []byte {
		_, f, err := open(id)
		if err != nil {
			return nil
		}
		defer f.Close()
		b, err := io.ReadAll(f)
		if err != nil {
			return nil
		}
		return b
	}
}
