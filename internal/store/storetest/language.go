package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

func languages(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		return tx.PutStudents([]roster.Student{{ID: "s1", GivenName: "Oona", Household: "h1"}, {ID: "s2", GivenName: "Teo", Household: "h2"}}, 8)
	})
	all := func(tx *store.Tx) ([]store.HouseholdLang, error) { return tx.HouseholdLangs() }
	one := store.HouseholdLang{Household: "h1", Lang: "es", By: "p1", At: 30}
	two := store.HouseholdLang{Household: "h2", Lang: "es", By: "p1", At: 31}
	full(t, one)
	for _, lang := range []string{"en", "es"} { // the last counts
		one.Lang = lang
		write(t, b, func(tx *store.Tx) error { return tx.PutHouseholdLang(one) })
	}
	write(t, b, func(tx *store.Tx) error { return tx.PutHouseholdLang(two) })
	same(t, read(t, b, all), []store.HouseholdLang{one, two})
	said := func(h rankwright.HouseholdID) (out []store.HouseholdLang) {
		return read(t, b, func(tx *store.Tx) ([]store.HouseholdLang, error) {
			l, ok, err := tx.HouseholdLang(h)
			if ok {
				out = append(out, l)
			}
			return out, err
		})
	}
	same(t, said("h2"), []store.HouseholdLang{two})
	two.Lang = ""
	write(t, b, func(tx *store.Tx) error { return tx.PutHouseholdLang(two) })
	same(t, len(said("h2")), 0)
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 60) }) // the last of the household
	same(t, len(read(t, b, all)), 0)
}

func translations(t *testing.T, b Base) {
	fill(t, b)
	id := read(t, b, func(tx *store.Tx) (string, error) {
		v, err := tx.Versions(ladder)
		return v[0].ID, err
	})
	of := func(lang string) []store.Translation {
		return read(t, b, func(tx *store.Tx) ([]store.Translation, error) { return tx.Translations(ladder, lang) })
	}
	same(t, len(of("")), 0)
	var kept []store.Translation
	for i, lang := range []string{"es", "fr", "es"} {
		x := store.Translation{Version: id, Lang: lang, Text: "language: " + lang, By: "p1", At: store.Moment(40 + i)}
		write(t, b, func(tx *store.Tx) (err error) {
			x, err = tx.AddTranslation(x)
			return err
		})
		full(t, x)
		kept = append(kept, x)
	}
	same(t, kept[2].Hash, store.HashText("language: es"))
	same(t, of("es"), []store.Translation{kept[2], kept[0]})
	same(t, of(""), []store.Translation{kept[2], kept[1], kept[0]})
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.Translation, error) { return tx.Translations("adults", "es") })), 0)
	keeps(t, b, `UPDATE translations SET body = 'other'`)
	keeps(t, b, `DELETE FROM translations`)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		_, err := tx.AddTranslation(store.Translation{Version: "v404", Lang: "es", Text: "x", By: "p1", At: 1})
		return err
	})
}
