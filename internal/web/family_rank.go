package web

import (
	"net/url"
	"os"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/guide"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

type familyRankPage struct {
	familyFrame
	Guide *guideView
}

func familyRankHref(entry rankwright.EntryID, rank rankwright.RankID) string {
	return "/family/child/" + url.PathEscape(string(entry)) + "/guide/" + url.PathEscape(string(rank))
}

// rankOf is the rank that is asked for, else the one that the child tries for.
func (f *familyQuery) rankOf(c *app.FamilyChild) rankwright.RankID {
	if id := f.PathValue("rank"); id != "" {
		return rankwright.RankID(id)
	}
	return c.Of.ID
}

// guided is the child that an address names, and the pictures of its ladder.
func (f *familyQuery) guided() (*app.FamilyPage, *app.FamilyChild, guide.Pictures, error) {
	v, c, err := f.child()
	if err != nil {
		return nil, nil, nil, err
	}
	list, err := f.App().FamilyPictures(f.Context(), f.who)
	return v, c, pictureFinder(list), err
}

// familyRank is the guide of the child's rank, or of another one of its ladder.
// It is about the rank: it is the same for every child.
func familyRank(f *familyQuery) (Answer, error) {
	v, c, pictures, err := f.guided()
	if err != nil {
		return nil, err
	}
	g, err := guideOf(f.say, v.Syllabus, f.rankOf(c), f.School, pictures, func(r rankwright.RankID) string { return familyRankHref(c.Entry.ID, r) }, "/family/")
	if err != nil {
		return nil, err
	}
	p := &familyRankPage{familyFrame: f.frame(g.Sheet.Title), Guide: g}
	p.Styles = append(p.Styles, look.AssetPath()+"guide.css")
	p.Lead, p.Kicker = g.Sheet.Lead, f.say.Apart(v.Syllabus.Name)
	p.back(f)
	return Page("family-rank", p), nil
}

func familyRankPDF(f *familyQuery) (Answer, error) {
	v, c, pictures, err := f.guided()
	if err != nil {
		return nil, err
	}
	return guidePDF(f.Query, f.say, v.Syllabus, []rankwright.RankID{f.rankOf(c)}, pictures, pictureBytes(func(id string) (app.Picture, *os.File, error) {
		return f.App().OpenFamilyPicture(f.Context(), f.who, id)
	}))
}

// guideLink leads to the guide of a child's rank.
func (f *familyQuery) guideLink(c *app.FamilyChild) look.Link {
	return look.Link{Href: familyRankHref(c.Entry.ID, c.Of.ID), Text: f.say.It("rank.link", words.Set{Name: "Rank", Value: c.Of.Name})}
}
