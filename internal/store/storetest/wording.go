package storetest

import (
	"testing"

	"rankwright/internal/store"
)

func wordings(t *testing.T, b Base) {
	fill(t, b)
	var kept []store.Wording
	for _, w := range []store.Wording{
		{Kind: "held", Lang: "en", Subject: "{child}", Body: "Nearly there: {missing}", By: "p1", At: 5},
		{Kind: "held", Lang: "es", Subject: "{child}", Body: "Casi: {missing}", By: "p1", At: 6},
		{Kind: "held", Lang: "en", Subject: "For {child}", Body: "This is missing: {missing}", By: "p1", At: 7},
		{Kind: "held", Lang: "es", By: "p1", At: 8},
	} {
		write(t, b, func(tx *store.Tx) error {
			w, err := tx.AddWording(w)
			kept = append(kept, w)
			return err
		})
	}
	full(t, kept[0])
	same(t, read(t, b, (*store.Tx).Wordings), kept[2:])
	keeps(t, b, `UPDATE wordings SET body = 'other'`, `DELETE FROM wordings`)
}
