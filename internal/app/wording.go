package app

import (
	"context"

	"rankwright/internal/store"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

// WordingView is a wording as the school edits it.
type WordingView struct {
	Kind wording.Kind
	Lang words.Lang
	Text wording.Text // the school's own, else the usual one
	Own  bool
	At   store.Moment // when it was written, none for the usual one
	// Left says that the school's own words name something that there is no
	// longer, so that the usual ones are sent until somebody puts them right.
	Left error
}

// Wordings are the words of all letters and messages, the school's own before
// the usual ones.
type Wordings struct {
	own map[wordingKey]store.Wording
}

type wordingKey struct {
	kind wording.Kind
	lang words.Lang
}

// wordings reads what the school wrote.
func (a *App) wordings(tx *store.Tx) (w Wordings, err error) {
	w.own = map[wordingKey]store.Wording{}
	list, err := tx.Wordings()
	for _, x := range list {
		if x.Body != "" {
			w.own[wordingKey{wording.Kind(x.Kind), words.Lang(x.Lang)}] = x
		}
	}
	return w, err
}

// Of is the wording of a kind in a language, ready to be filled in.
func (w Wordings) Of(k wording.Kind, l words.Lang) (*wording.Wording, error) {
	if x, ok := w.own[wordingKey{k, l}]; ok {
		if out, err := wording.Compile(k, l, wording.Text{Subject: x.Subject, Body: x.Body}); err == nil {
			return out, nil
		}
	}
	return wording.Usual(k, l)
}

func (w Wordings) view(k wording.Kind, l words.Lang) WordingView {
	v := WordingView{Kind: k, Lang: l}
	x, ok := w.own[wordingKey{k, l}]
	if !ok {
		v.Text = wording.Default(k, l)
		return v
	}
	v.Text, v.Own, v.At = wording.Text{Subject: x.Subject, Body: x.Body}, true, x.At
	_, v.Left = wording.Compile(k, l, v.Text)
	return v
}

// Wording returns the words of a kind in a language.
func (a *App) Wording(ctx context.Context, who Actor, k wording.Kind, l words.Lang) (v WordingView, err error) {
	err = a.see(ctx, who, EditWordings, on{kind: "wordings"}, func(tx *store.Tx) error {
		if err := wordingThere(k, l); err != nil {
			return err
		}
		w, err := a.wordings(tx)
		v = w.view(k, l)
		return err
	})
	return v, err
}

// EveryWording lists the words of every kind in every language.
func (a *App) EveryWording(ctx context.Context, who Actor) (out []WordingView, err error) {
	err = a.see(ctx, who, EditWordings, on{kind: "wordings"}, func(tx *store.Tx) error {
		w, err := a.wordings(tx)
		for _, k := range wording.Kinds() {
			for _, l := range words.Langs() {
				out = append(out, w.view(k, l))
			}
		}
		return err
	})
	return out, err
}

func wordingThere(k wording.Kind, l words.Lang) error {
	if !words.Offered(l) {
		return invalid("lang", "choose one of the list", "there is no language %q here", l)
	}
	_, err := wording.Usual(k, l)
	return err
}

// LookAtWording fills a text that is not kept yet with what an invented child
// would get. Faults are rankwright.Faults with their places.
func (a *App) LookAtWording(ctx context.Context, who Actor, k wording.Kind, l words.Lang, t wording.Text) (f *wording.Filled, err error) {
	err = a.see(ctx, who, EditWordings, on{kind: "wordings"}, func(*store.Tx) error {
		if err := wordingThere(k, l); err != nil {
			return err
		}
		w, err := wording.Compile(k, l, t)
		if err == nil {
			f, err = w.Fill(wording.Example(k, l))
		}
		return err
	})
	return f, err
}

// WriteWording keeps a text as the school's own for a kind in a language, from
// now on. What was sent or printed before stays as it was.
func (a *App) WriteWording(ctx context.Context, who Actor, k wording.Kind, l words.Lang, t wording.Text) error {
	t = t.Tidy()
	return a.putWording(ctx, who, k, l, t, func() error {
		_, err := wording.Compile(k, l, t)
		return err
	})
}

// ResetWording brings the usual words of a kind back in a language.
func (a *App) ResetWording(ctx context.Context, who Actor, k wording.Kind, l words.Lang) error {
	return a.putWording(ctx, who, k, l, wording.Text{}, func() error { return nil })
}

func (a *App) putWording(ctx context.Context, who Actor, k wording.Kind, l words.Lang, t wording.Text, check func() error) error {
	return a.do(ctx, who, EditWordings, on{kind: "wording", id: string(k) + " " + string(l)}, func(tx *store.Tx) (any, error) {
		if err := wordingThere(k, l); err != nil {
			return nil, err
		}
		if err := check(); err != nil {
			return nil, err
		}
		w, err := a.wordings(tx)
		if err != nil {
			return nil, err
		}
		was := w.own[wordingKey{k, l}]
		if was.Subject == t.Subject && was.Body == t.Body {
			return map[string]string{"what": "as it was"}, nil
		}
		x, err := tx.AddWording(store.Wording{Kind: string(k), Lang: string(l), Subject: t.Subject, Body: t.Body, By: who.ID, At: a.moment()})
		if t.Body == "" {
			return map[string]any{"wording": x.Number, "what": "the usual words again"}, err
		}
		return map[string]any{"wording": x.Number, "hash": hashOf(t.Subject + "\n" + t.Body)}, err
	})
}
