package web

import (
	"bytes"
	"net/url"
	"os"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/guide"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

// guideView is the guide of a rank as a page shows it.
type guideView struct {
	Sheet      *guide.Sheet
	Belt       look.Belt
	Caution    *look.Caution
	PDFs       []look.Link
	Others     []guideOther
	OthersWord string
	NextHref   string
	NextWord   string
	Open       bool // what comes next is unfolded
	files      string
}

type guideOther struct {
	Href string
	Belt look.Belt
}

// guideSection and guidePicture are what parts of the page need to know of the
// whole.
type guideSection struct {
	Section guide.Section
	Must    string
	view    *guideView
}

type guidePicture struct {
	guide.Picture
	Src, ClipWord, NoClip string
}

// Of joins a section with the view that it stands in.
func (v *guideView) Of(x any) guideSection {
	if p, ok := x.(*guide.Section); ok {
		return guideSection{*p, v.Sheet.MustWord, v}
	}
	return guideSection{x.(guide.Section), v.Sheet.MustWord, v}
}

// View joins a picture with its address.
func (s guideSection) View(p guide.Picture) guidePicture {
	return shownPicture(p, s.view.files, s.view.Sheet.ClipWord, s.view.Sheet.NoClip)
}

func shownPicture(p guide.Picture, files, clip, noClip string) guidePicture {
	kind := "picture/"
	if p.Clip {
		kind = "clip/"
	}
	return guidePicture{p, files + kind + url.PathEscape(p.ID), clip, noClip}
}

// Shown is the picture itself, for a part of a page that stands in another.
func (p guidePicture) Shown() guidePicture { return p }

// guideSchool is what the school adds to each guide.
func guideSchool(sc app.School) guide.School {
	return guide.School{Name: sc.Name, Bring: sc.DoorLines(), Cautions: sc.Cautions, People: sc.Safety}
}

func noRank(id string) error {
	return rankwright.Faultf(rankwright.NotFound, "no_rank", "go back and choose one of the ladder's ranks", "there is no rank %q on this ladder", id)
}

// guideOf makes the view of a rank's guide: href gives the address of another
// rank's, and pictures and clips lie under files.
func guideOf(say *words.Say, s *syllabus.Syllabus, rank rankwright.RankID, sc app.School, pictures guide.Pictures, href func(rankwright.RankID) string, files string) (*guideView, error) {
	x := guide.New(say, s, rank, guideSchool(sc), pictures)
	if x == nil {
		return nil, noRank(string(rank))
	}
	k, _ := s.Rank(rank)
	v := &guideView{Sheet: x, Belt: belt(k), OthersWord: say.It("rank.others"), files: files}
	v.Belt.Large = true
	if c := x.Cautions; c != nil {
		v.Caution = &look.Caution{Title: c.Title, Local: c.Local, Lines: c.Lines, People: c.People}
	}
	for _, p := range []struct {
		key  words.Key
		more string
	}{{"rank.print-a4", "?paper=a4"}, {"rank.print-letter", "?paper=letter"}} {
		v.PDFs = append(v.PDFs, look.Link{Href: href(rank) + "/pdf" + p.more, Text: say.It(p.key)})
	}
	for i := range s.Ranks {
		if o := &s.Ranks[i]; o.ID != rank {
			v.Others = append(v.Others, guideOther{href(o.ID), belt(o)})
		}
	}
	if x.Next != nil {
		next, _ := s.Rank(x.Next.Rank)
		v.NextHref, v.NextWord = href(x.Next.Rank), say.It("rank.link", words.Set{Name: "Rank", Value: next.Name})
	}
	return v, nil
}

// guidePDF prints the guides of some ranks, of all where none is named.
func guidePDF(q *Query, say *words.Say, s *syllabus.Syllabus, ranks []rankwright.RankID, pictures guide.Pictures, data func(string) []byte) (Answer, error) {
	name, title := string(s.Ladder)+"-guides.pdf", s.Name
	if len(ranks) == 1 {
		name = "guide-" + string(ranks[0]) + ".pdf"
	} else if len(ranks) == 0 {
		for i := range s.Ranks {
			ranks = append(ranks, s.Ranks[i].ID)
		}
	}
	var list []paper.Guide
	for _, id := range ranks {
		x := guide.New(say, s, id, guideSchool(q.School), pictures)
		if x == nil {
			return nil, noRank(string(id))
		}
		if len(ranks) == 1 {
			title = x.Title
		}
		list = append(list, x.Paper(data))
	}
	o := paperOf(q)
	o.Lang, o.PageOf = string(say.Lang()), guide.PageOf(say)
	var b bytes.Buffer
	if err := paper.WriteGuides(&b, title, list, o); err != nil {
		return nil, err
	}
	return File{Name: name, Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

type syllabusGuidePage struct {
	Frame
	Guide     *guideView
	GuideLang string
	Langs     []familyLang
	All, Add  string
}

func syllabusGuideHref(version string, rank rankwright.RankID) string {
	return "/syllabus/version/" + url.PathEscape(version) + "/guide/" + url.PathEscape(string(rank))
}

// guideSay is the language in which the school looks at a guide.
func guideSay(q *Query) *words.Say {
	return q.School.Say(words.Pick(q.FormValue("lang"), q.School.Lang))
}

// syllabusGuide shows the guide of a rank of a version to the school.
func syllabusGuide(q *Query) (Answer, error) {
	say := guideSay(q)
	v, s, err := q.App().VersionIn(q.Context(), q.Who, q.PathValue("id"), say.Lang())
	if err != nil {
		return nil, err
	}
	with := "?lang=" + string(say.Lang())
	list, err := q.App().Pictures(q.Context(), q.Who, v.Ladder)
	if err != nil {
		return nil, err
	}
	g, err := guideOf(say, s, rankwright.RankID(q.PathValue("rank")), q.School, pictureFinder(list), func(r rankwright.RankID) string { return syllabusGuideHref(v.ID, r) }, "/syllabus/")
	if err != nil {
		return nil, err
	}
	g.within(with)
	p := &syllabusGuidePage{Guide: g, GuideLang: string(say.Lang()), All: "/syllabus/version/" + url.PathEscape(v.ID) + "/guides" + with, Add: picturesHref(v.Ladder)}
	p.Title, p.Lead, p.Kicker = g.Sheet.Title, g.Sheet.Lead, s.Name
	p.Styles = []string{look.AssetPath() + "family.css", look.AssetPath() + "guide.css"}
	p.Back = &look.Link{Href: "/syllabus/version/" + url.PathEscape(v.ID), Text: syllabusVersion(&v).Text}
	for _, l := range words.Langs() {
		p.Langs = append(p.Langs, familyLang{string(l), l.Name(), "?lang=" + string(l), l == say.Lang()})
	}
	return Page("syllabus-guide", p), nil
}

// within adds what is asked for to each link of the view.
func (v *guideView) within(with string) {
	add := func(href string) string {
		if strings.Contains(href, "?") {
			return href + "&" + strings.TrimPrefix(with, "?")
		}
		return href + with
	}
	for i := range v.PDFs {
		v.PDFs[i].Href = add(v.PDFs[i].Href)
	}
	for i := range v.Others {
		v.Others[i].Href = add(v.Others[i].Href)
	}
	if v.NextHref != "" {
		v.NextHref = add(v.NextHref)
	}
}

// syllabusGuidePDF prints the guide of one rank, or of all of the ladder.
func syllabusGuidePDF(q *Query) (Answer, error) {
	say := guideSay(q)
	v, s, err := q.App().VersionIn(q.Context(), q.Who, q.PathValue("id"), say.Lang())
	if err != nil {
		return nil, err
	}
	list, err := q.App().Pictures(q.Context(), q.Who, v.Ladder)
	if err != nil {
		return nil, err
	}
	var ranks []rankwright.RankID
	if id := q.PathValue("rank"); id != "" {
		ranks = []rankwright.RankID{rankwright.RankID(id)}
	}
	return guidePDF(q, say, s, ranks, pictureFinder(list), pictureBytes(func(id string) (app.Picture, *os.File, error) {
		return q.App().OpenPicture(q.Context(), q.Who, id)
	}))
}
