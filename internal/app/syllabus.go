package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/syllabus"
)

// LadderView is a ladder with its published versions, the latest first, and
// its draft.
type LadderView struct {
	Ladder   rankwright.LadderID
	Name     string
	Latest   *store.Version
	Draft    *store.Version
	Versions []store.Version
}

// Ladders lists every ladder of the school.
func (a *App) Ladders(ctx context.Context, who Actor) (out []LadderView, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "syllabus"}, func(tx *store.Tx) error {
		out, err = ladders(tx)
		return err
	})
	return out, err
}

func ladders(tx *store.Tx) ([]LadderView, error) {
	versions, err := tx.Versions("")
	if err != nil {
		return nil, err
	}
	drafts, err := tx.Drafts()
	if err != nil {
		return nil, err
	}
	by := map[rankwright.LadderID]*LadderView{}
	var order []rankwright.LadderID
	for _, v := range append(versions, drafts...) {
		l := by[v.Ladder]
		if l == nil {
			l = &LadderView{Ladder: v.Ladder, Name: v.Name}
			by[v.Ladder] = l
			order = append(order, v.Ladder)
		}
		if v.Published == 0 {
			l.Draft = &v
			continue
		}
		l.Versions = append(l.Versions, v)
	}
	slices.Sort(order)
	out := make([]LadderView, 0, len(order))
	for _, id := range order {
		l := by[id]
		slices.SortFunc(l.Versions, func(x, y store.Version) int { return y.Number - x.Number })
		if len(l.Versions) > 0 {
			l.Latest = &l.Versions[0]
			l.Name = l.Latest.Name
		}
		out = append(out, *l)
	}
	return out, nil
}

// Current returns the syllabus in use on each ladder: the latest version, or
// the draft where nothing is published yet.
func (a *App) Current(ctx context.Context, who Actor) (out []*syllabus.Syllabus, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "syllabus"}, func(tx *store.Tx) error {
		out, err = a.current(tx)
		return err
	})
	return out, err
}

func (a *App) current(tx *store.Tx) ([]*syllabus.Syllabus, error) {
	views, err := ladders(tx)
	if err != nil {
		return nil, err
	}
	var out []*syllabus.Syllabus
	for _, l := range views {
		v := l.Latest
		if v == nil {
			v = l.Draft
		}
		s, err := a.parse(*v)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// SaveDraft keeps a text as the draft of the ladder that it names. A text
// with faults is not kept: the page that sent it still has it.
func (a *App) SaveDraft(ctx context.Context, who Actor, text string) (store.Version, []syllabus.Remark, error) {
	if f := refuse(who, EditSyllabus, on{kind: "syllabus"}); f != nil {
		return store.Version{}, nil, a.refusal(ctx, who, EditSyllabus, on{kind: "syllabus"}, f)
	}
	text = strings.ReplaceAll(text, "\r\n", "\n")
	s, err := syllabus.Parse("", []byte(text))
	if err != nil {
		return store.Version{}, nil, err
	}
	id, err := a.newID("v")
	if err != nil {
		return store.Version{}, nil, err
	}
	v := store.Version{ID: id, Ladder: s.Ladder, Name: s.Name, Text: text, Hash: hashOf(text), By: who.ID, Saved: a.moment()}
	err = a.do(ctx, who, EditSyllabus, on{kind: "ladder", id: string(s.Ladder)}, func(tx *store.Tx) (any, error) {
		old, err := tx.Draft(s.Ladder)
		switch {
		case err == nil:
			v.ID = old.ID
		case rankwright.KindOf(err) != rankwright.NotFound:
			return nil, err
		}
		if err := tx.PutDraft(v); err != nil {
			return nil, err
		}
		return map[string]string{"what": "draft", "hash": v.Hash}, nil
	})
	return v, syllabus.Lint(s), err
}

// Publish freezes the draft of a ladder as its next version.
func (a *App) Publish(ctx context.Context, who Actor, ladder rankwright.LadderID) (v store.Version, err error) {
	err = a.do(ctx, who, EditSyllabus, on{kind: "ladder", id: string(ladder)}, func(tx *store.Tx) (any, error) {
		d, err := tx.Draft(ladder)
		if err != nil {
			return nil, err
		}
		if _, err := syllabus.Parse("", []byte(d.Text)); err != nil {
			return nil, err
		}
		d.By, d.Published = who.ID, a.moment()
		if v, err = tx.Publish(d); err != nil {
			return nil, err
		}
		return map[string]any{"what": "published", "number": v.Number, "hash": v.Hash}, nil
	})
	return v, err
}

// Version returns a version's text and, read, its syllabus.
func (a *App) Version(ctx context.Context, who Actor, id string) (v store.Version, s *syllabus.Syllabus, err error) {
	err = a.see(ctx, who, SeeSyllabus, on{kind: "version", id: id}, func(tx *store.Tx) error {
		if v, err = tx.Version(id); err != nil {
			return err
		}
		s, err = a.parse(v)
		return err
	})
	return v, s, err
}

// parse reads a version's text, once for each published one.
func (a *App) parse(v store.Version) (*syllabus.Syllabus, error) {
	if v.Published == 0 {
		return syllabus.Parse("", []byte(v.Text))
	}
	a.mu.Lock()
	s := a.parsed[v.ID]
	a.mu.Unlock()
	if s != nil {
		return s, nil
	}
	s, err := syllabus.Parse("", []byte(v.Text))
	if err != nil {
		return nil, err
	}
	a.mu.Lock()
	a.parsed[v.ID] = s
	a.mu.Unlock()
	return s, nil
}

// askedAt is a grading with the version of the syllabus under which it is held.
func (a *App) askedAt(tx *store.Tx, id rankwright.GradingID) (store.Grading, *syllabus.Syllabus, error) {
	g, err := tx.Grading(id)
	if err != nil {
		return store.Grading{}, nil, err
	}
	s, err := a.version(tx, g.Version)
	return g, s, err
}

func (a *App) version(tx *store.Tx, id string) (*syllabus.Syllabus, error) {
	v, err := tx.Version(id)
	if err != nil {
		return nil, err
	}
	return a.parse(v)
}
