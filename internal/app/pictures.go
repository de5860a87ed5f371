package app

import (
	"context"
	"image"
	_ "image/jpeg" // the one kind of picture that is kept
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/clip"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

// Picture is a picture or a short clip that the school added to a section or a
// requirement of a ladder. Families see it in the guides of that ladder.
type Picture = store.Picture

// What a picture can be about.
const (
	OfSection     = "section"
	OfRequirement = "requirement"
)

// Limits on what is added.
const (
	MaxClipBytes    = 24 << 20
	maxPictureBytes = 4 << 20 // after it was made small
	picturesAtOne   = 6
	picturesInAll   = 120
	maxPictureWords = 200
)

// NewPicture is what is said of a picture as it is added.
type NewPicture struct {
	Ladder rankwright.LadderID
	Kind   string // OfSection, OfRequirement
	About  string
	Alt    string // what it shows, for those who cannot see it
	// Caption stands under it; "" for none.
	Caption string
	// Agreed says that everybody who can be recognised has agreed to be shown,
	// for a child its guardian, or that nobody can be.
	Agreed bool
}

// Pictures returns what was added to a ladder, in the order in which it was.
func (a *App) Pictures(ctx context.Context, who Actor, ladder rankwright.LadderID) (out []Picture, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "ladder", id: string(ladder)}, func(tx *store.Tx) error {
		out, err = tx.Pictures(ladder)
		return err
	})
	return out, err
}

// FamilyPictures returns what was added to the ladder of a family's grading.
func (a *App) FamilyPictures(ctx context.Context, who Actor) (out []Picture, err error) {
	err = a.see(ctx, who, SeeOwn, on{kind: "family", id: who.ID}, func(tx *store.Tx) error {
		ladder, err := ladderOf(tx, who)
		if err != nil || ladder == "" {
			return err
		}
		out, err = tx.Pictures(ladder)
		return err
	})
	return out, err
}

// ladderOf is the ladder of a family's grading, "" before it is open to
// families.
func ladderOf(tx *store.Tx, who Actor) (rankwright.LadderID, error) {
	g, err := tx.Grading(who.Only)
	if err != nil || State(g.State) == Planning {
		return "", err
	}
	v, err := tx.Version(g.Version)
	return v.Ladder, err
}

// OpenPicture opens the file of a picture.
func (a *App) OpenPicture(ctx context.Context, who Actor, id string) (p Picture, f *os.File, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "picture", id: id}, func(tx *store.Tx) error {
		p, err = tx.Picture(id)
		return err
	})
	if err == nil {
		f, err = a.st.OpenFile(p.File)
	}
	return p, f, err
}

// OpenFamilyPicture opens the file of a picture for a family. Of another ladder
// than that of the family's grading it is not even said that it is there.
func (a *App) OpenFamilyPicture(ctx context.Context, who Actor, id string) (p Picture, f *os.File, err error) {
	err = a.see(ctx, who, SeeOwn, on{kind: "family", id: who.ID}, func(tx *store.Tx) error {
		ladder, err := ladderOf(tx, who)
		if err != nil {
			return err
		}
		if p, err = tx.Picture(id); err == nil && p.Ladder != ladder {
			err = noPicture()
		}
		return err
	})
	if err == nil {
		f, err = a.st.OpenFile(p.File)
	}
	return p, f, err
}

func noPicture() error {
	return rankwright.Faultf(rankwright.NotFound, "no_picture", "go back to the guide", "there is no such picture")
}

// AddPicture keeps a JPEG that was made small and written anew by us.
func (a *App) AddPicture(ctx context.Context, who Actor, n NewPicture, r io.Reader) (Picture, error) {
	return a.addFile(ctx, who, n, r, maxPictureBytes, func(p *Picture, f *os.File, size int64) (string, error) {
		c, kind, err := image.DecodeConfig(io.NewSectionReader(f, 0, size))
		if err != nil || kind != "jpeg" {
			return "", rankwright.Faultf(rankwright.Invalid, "no_picture", "choose a JPEG or PNG file", "this is no picture")
		}
		p.Media, p.Width, p.Height = "image/jpeg", c.Width, c.Height
		return ".jpg", nil
	})
}

// AddClip keeps a short clip as it came, but for what was written beside the
// picture in it.
func (a *App) AddClip(ctx context.Context, who Actor, n NewPicture, r io.Reader) (Picture, error) {
	return a.addFile(ctx, who, n, r, MaxClipBytes, func(p *Picture, f *os.File, size int64) (string, error) {
		k, err := clip.Look(f, size)
		p.Media = k.Media
		return k.Ending, err
	})
}

func (a *App) addFile(ctx context.Context, who Actor, n NewPicture, r io.Reader, most int64, look func(p *Picture, f *os.File, size int64) (string, error)) (p Picture, err error) {
	// Before a long upload is taken in: may they, and is what they said whole?
	subject := on{kind: "ladder", id: string(n.Ladder)}
	if f := refuse(who, EditSyllabus, subject); f != nil {
		return p, a.refusal(ctx, who, EditSyllabus, subject, f)
	}
	n.Alt, n.Caption = strings.TrimSpace(n.Alt), strings.TrimSpace(n.Caption)
	if err := pictureWords(n.Alt, n.Caption); err != nil {
		return p, err
	}
	if !n.Agreed {
		return p, invalid("agreed", "ask everybody who is shown, for a child its guardian, or choose another picture", "nothing is added before those who are shown have agreed")
	}
	if err := a.st.Read(ctx, func(tx *store.Tx) error { return a.mayAdd(tx, n) }); err != nil {
		return p, err
	}
	p = Picture{Ladder: n.Ladder, Kind: n.Kind, About: n.About, Alt: n.Alt, Caption: n.Caption, By: who.ID, At: a.moment()}
	if p.ID, err = a.newID("pic"); err != nil {
		return p, err
	}
	file, err := a.st.Stage(r, most, func(f *os.File, size int64) (string, error) { return look(&p, f, size) })
	if err != nil {
		return p, err
	}
	defer file.Drop()
	p.File, p.Bytes = file.File, file.Bytes
	err = a.do(ctx, who, EditSyllabus, subject, func(tx *store.Tx) (any, error) {
		if err := a.mayAdd(tx, n); err != nil {
			return nil, err
		}
		if err := tx.Settle(file); err != nil {
			return nil, err
		}
		if p, err = tx.AddPicture(p); err != nil {
			return nil, err
		}
		return map[string]any{"what": "picture added", "picture": p.ID, n.Kind: n.About, "media": p.Media, "agreed": true}, nil
	})
	return p, err
}

func pictureWords(alt, caption string) error {
	switch {
	case alt == "":
		return invalid("alt", "write one sentence, such as: the front foot points ahead, the back heel is up", "nobody who cannot see it would know what it shows")
	case utf8.RuneCountInString(alt) > maxPictureWords || strings.ContainsAny(alt, "\r\n"):
		return invalid("alt", "write one sentence of at most 200 characters", "what it shows is longer than one sentence")
	case utf8.RuneCountInString(caption) > maxPictureWords || strings.ContainsAny(caption, "\r\n"):
		return invalid("caption", "write at most 200 characters on one line", "the caption is too long")
	}
	return nil
}

// mayAdd says whether there is room for another picture where it is to stand.
func (a *App) mayAdd(tx *store.Tx, n NewPicture) error {
	found, err := a.onLadder(tx, n.Ladder, n.Kind, n.About)
	if err != nil {
		return err
	}
	if !found {
		return invalid("about", "choose a section or a requirement of the list", "there is no %s %q on this ladder", n.Kind, n.About)
	}
	all, err := tx.Pictures(n.Ladder)
	if err != nil {
		return err
	}
	here := 0
	for _, p := range all {
		if p.Kind == n.Kind && p.About == n.About {
			here++
		}
	}
	switch {
	case here >= picturesAtOne:
		return invalid("about", "take one back first", "there are %d pictures and clips at this place, and there is room for %d", here, picturesAtOne)
	case len(all) >= picturesInAll:
		return invalid("about", "take some back first", "the ladder has %d pictures and clips, and there is room for %d", len(all), picturesInAll)
	}
	return nil
}

// onLadder says whether the latest version of a ladder, or its draft, has that
// section or requirement.
func (a *App) onLadder(tx *store.Tx, ladder rankwright.LadderID, kind, about string) (bool, error) {
	views, err := ladders(tx)
	if err != nil {
		return false, err
	}
	for _, l := range views {
		if l.Ladder != ladder {
			continue
		}
		for _, v := range []*store.Version{l.Latest, l.Draft} {
			if v == nil {
				continue
			}
			s, err := a.parse(*v)
			if err != nil {
				return false, err
			}
			if hasPart(s, kind, about) {
				return true, nil
			}
		}
	}
	return false, nil
}

func hasPart(s *syllabus.Syllabus, kind, about string) bool {
	switch kind {
	case OfSection:
		return s.Section(rankwright.SectionID(about)) != nil
	case OfRequirement:
		for i := range s.Ranks {
			if q := s.Ranks[i].Requirement(rankwright.RequirementID(about)); q != nil {
				return !q.ForRelease // which families do not see
			}
		}
	}
	return false
}

// WordPicture gives a picture other words.
func (a *App) WordPicture(ctx context.Context, who Actor, id, alt, caption string) error {
	alt, caption = strings.TrimSpace(alt), strings.TrimSpace(caption)
	return a.do(ctx, who, EditSyllabus, on{kind: "picture", id: id}, func(tx *store.Tx) (any, error) {
		if err := pictureWords(alt, caption); err != nil {
			return nil, err
		}
		return map[string]string{"what": "picture worded"}, tx.WordPicture(id, alt, caption)
	})
}

// RemovePicture takes a picture back. Its file is gone from the disk when this
// returns, unless another picture shows the same file.
func (a *App) RemovePicture(ctx context.Context, who Actor, id string) error {
	var p Picture
	err := a.do(ctx, who, EditSyllabus, on{kind: "picture", id: id}, func(tx *store.Tx) (_ any, err error) {
		if p, err = tx.Picture(id); err != nil {
			return nil, err
		}
		return map[string]string{"what": "picture taken back", "ladder": string(p.Ladder), p.Kind: p.About}, tx.RemovePicture(id)
	})
	if err != nil {
		return err
	}
	return a.st.RemoveUnused(ctx, p.File)
}

// PictureIsThere says whether the file of a picture is on the disk.
func (a *App) PictureIsThere(p Picture) bool {
	f, err := a.st.OpenFile(p.File)
	if err == nil {
		f.Close()
	}
	return err == nil
}

// Lost are the pictures and clips whose file is missing or damaged; whole
// counts the others.
func (a *App) Lost(ctx context.Context, who Actor) (whole int, lost []Picture, err error) {
	if f := refuse(who, SeeSyllabus, on{kind: "pictures"}); f != nil {
		return 0, nil, a.refusal(ctx, who, SeeSyllabus, on{kind: "pictures"}, f)
	}
	return a.st.Lost(ctx)
}
