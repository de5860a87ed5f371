package app

import (
	"context"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/words"
	"rankwright/roster"
)

// Languages says in which language the school writes to a household: the one
// that was said by the family or at the desk, else the school's own.
type Languages struct {
	school words.Lang
	said   map[rankwright.HouseholdID]words.Lang
}

// Of is the language of a household's letters and messages.
func (l Languages) Of(h rankwright.HouseholdID) words.Lang {
	if lang, ok := l.said[h]; ok {
		return lang
	}
	return l.school
}

// Said is the language that was said for a household, "" where none was.
func (l Languages) Said(h rankwright.HouseholdID) words.Lang { return l.said[h] }

// School is the language of the school's own words.
func (l Languages) School() words.Lang { return l.school }

// Languages returns the languages of all households.
func (a *App) Languages(ctx context.Context, who Actor) (l Languages, err error) {
	err = a.see(ctx, who, SeeFamilies, on{kind: "languages"}, func(tx *store.Tx) error {
		l, err = a.languages(tx)
		return err
	})
	return l, err
}

// languages is Languages within a transaction. A language that is offered no
// longer counts as not said.
func (a *App) languages(tx *store.Tx) (Languages, error) {
	l := Languages{said: map[rankwright.HouseholdID]words.Lang{}}
	own, _, err := tx.Setting(keyLang)
	if err != nil {
		return l, err
	}
	l.school = words.Pick(own, "")
	list, err := tx.HouseholdLangs()
	for _, x := range list {
		if words.Offered(words.Lang(x.Lang)) {
			l.said[x.Household] = words.Lang(x.Lang)
		}
	}
	return l, err
}

// HouseholdOf is the household with which a student comes: somebody without
// one is one alone.
func HouseholdOf(s roster.Student) rankwright.HouseholdID {
	return householdOf(&EntryView{Student: s})
}

// SetLanguage is how the desk writes down in which language a household is
// written to; "" takes back what was said.
func (a *App) SetLanguage(ctx context.Context, who Actor, h rankwright.HouseholdID, lang words.Lang) error {
	if err := offered(lang); err != nil {
		return err
	}
	return a.do(ctx, who, EditRoster, on{kind: "household", id: string(h)}, func(tx *store.Tx) (any, error) {
		all, err := tx.Students()
		if err != nil {
			return nil, err
		}
		for i := range all {
			if HouseholdOf(all[i].Student) == h {
				return map[string]string{"language": string(lang)}, tx.PutHouseholdLang(store.HouseholdLang{Household: h, Lang: string(lang), By: who.ID, At: a.moment()})
			}
		}
		return nil, noFamily()
	})
}

// ChooseLanguage is how a family says on its own page in which language it
// reads, which holds for letters and messages too.
func (a *App) ChooseLanguage(ctx context.Context, who Actor, lang words.Lang) error {
	if err := offered(lang); err != nil {
		return err
	}
	return a.do(ctx, who, ChooseLang, on{kind: "family", id: who.ID}, func(tx *store.Tx) (any, error) {
		return map[string]string{"language": string(lang)}, tx.PutHouseholdLang(store.HouseholdLang{Household: who.household, Lang: string(lang), By: who.ID, At: a.moment()})
	})
}

func offered(lang words.Lang) error {
	if lang != "" && !words.Offered(lang) {
		return invalid("lang", "choose one of the list", "there is no language %q here", lang)
	}
	return nil
}

// guardian is the family behind a link, with the language that was said for it.
func guardian(tx *store.Tx, l store.FamilyLink) (Actor, error) {
	who := Actor{ID: l.ID, Name: "a family", Role: Guardian, Only: l.Grading, household: l.Household}
	said, ok, err := tx.HouseholdLang(l.Household)
	if ok && words.Offered(words.Lang(said.Lang)) {
		who.Lang = words.Lang(said.Lang)
	}
	return who, err
}
