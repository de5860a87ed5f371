package guide

import (
	"slices"

	"rankwright/internal/paper"
	"rankwright/internal/words"
)

// undyed stands for a belt whose syllabus names no colour.
const undyed = "#d9d2c3"

// Paper is the sheet as it is printed. data gives the bytes of a picture, nil
// for one that is not to be had; a clip is told of in a line.
func (x *Sheet) Paper(data func(id string) []byte) paper.Guide {
	out := paper.Guide{Title: x.Title, Lead: x.Lead, Rank: x.RankName, Belt: paper.Belt{Base: x.Belt.Hex, Tip: x.Belt.TipHex}, Must: x.MustWord, Footer: x.Foot}
	if out.Belt.Base == "" {
		out.Belt.Base = undyed
	}
	if c := x.Cautions; c != nil {
		out.Cautions = paper.GuideList{Head: c.Title}
		for _, line := range slices.Concat([]string{c.Local}, c.Lines, []string{c.People}) {
			if line != "" {
				out.Cautions.Lines = append(out.Cautions.Lines, line)
			}
		}
	}
	sections := x.Sections
	if x.Extras != nil {
		sections = append(slices.Clone(sections), *x.Extras)
	}
	for _, s := range sections {
		part := paper.GuidePart{Head: s.Name, Note: s.Note}
		var clips []string
		part.Pictures, clips = x.pictures(s.Pictures, data)
		if len(clips) > 0 {
			part.Lines = clips
		}
		for _, a := range s.Asked {
			y := paper.GuideAsked{Show: a.Show, Must: a.Must, Lines: a.Enough, Notes: a.Notes, PartsHead: a.PartsHead, Parts: a.Parts, Ordered: a.Ordered, Later: a.Later}
			y.Pictures, clips = x.pictures(a.Pictures, data)
			y.Later = append(slices.Clone(y.Later), clips...)
			part.Asked = append(part.Asked, y)
		}
		out.Parts = append(out.Parts, part)
	}
	if len(x.Levels) > 0 {
		part := paper.GuidePart{Head: x.LevelsHead}
		for _, l := range x.Levels {
			part.Lists = append(part.Lists, paper.GuideList{Head: l.Name, Lines: l.Lines})
		}
		out.Parts = append(out.Parts, part)
	}
	for _, l := range []*List{x.Needed, x.Bring} {
		if l != nil {
			out.Parts = append(out.Parts, paper.GuidePart{Head: l.Head, Note: l.Note, Lines: l.Lines})
		}
	}
	if len(x.Pass) > 0 {
		part := paper.GuidePart{Head: x.PassHead}
		for _, r := range x.Pass {
			part.Lists = append(part.Lists, paper.GuideList{Head: r.Head, Lines: r.Lines, After: r.After})
		}
		out.Parts = append(out.Parts, part)
	}
	if n := x.Next; n != nil {
		part := paper.GuidePart{Head: n.Head, Note: n.Note}
		for _, s := range n.Sections {
			list := paper.GuideList{Head: s.Name}
			for _, a := range s.Asked {
				list.Lines = append(list.Lines, a.Show)
			}
			part.Lists = append(part.Lists, list)
		}
		out.Parts = append(out.Parts, part)
	}
	return out
}

// pictures finds what can be printed, and says of clips that there are some.
func (x *Sheet) pictures(list []Picture, data func(string) []byte) (out []paper.GuidePicture, clips []string) {
	for _, p := range list {
		if p.Clip {
			line := x.ClipWord
			if p.Caption != "" {
				line += " (" + p.Caption + ")"
			}
			clips = append(clips, line)
			continue
		}
		if data == nil {
			continue
		}
		if b := data(p.ID); len(b) > 0 {
			out = append(out, paper.GuidePicture{Data: b, Alt: p.Alt, Caption: p.Caption})
		}
	}
	return out, clips
}

// PageOf writes the number of a page.
func PageOf(say *words.Say) func(page, of int) string {
	return func(page, of int) string {
		return say.It("rank.page", words.Set{Name: "Page", Value: page}, words.Set{Name: "Of", Value: of})
	}
}
