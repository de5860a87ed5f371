package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

func someLink(id, hash string, at store.Moment) store.FamilyLink {
	return store.FamilyLink{ID: id, Grading: grading, Household: "h1", Hash: hash, Until: rankwright.MustDay("2026-12-01"), Created: at, By: "p1",
		Withdrawn: 90, WithdrawnBy: "p2", Used: rankwright.MustDay("2026-10-20")}
}

func links(t *testing.T, b Base) {
	fill(t, b)
	old := someLink("l1", "hash1", 10)
	full(t, old)
	live := store.FamilyLink{ID: "l2", Grading: grading, Household: "h1", Hash: "hash2", Created: 20, By: "p1"}
	for _, l := range []store.FamilyLink{live, old} {
		write(t, b, func(tx *store.Tx) error { return tx.AddFamilyLink(l) })
	}
	all := func(tx *store.Tx) ([]store.FamilyLink, error) { return tx.FamilyLinks(grading) }
	same(t, read(t, b, all), []store.FamilyLink{old, live})
	same(t, read(t, b, func(tx *store.Tx) (store.FamilyLink, error) { return tx.FamilyLinkByHash("hash2") }), live)
	same(t, read(t, b, func(tx *store.Tx) (store.FamilyLink, error) { return tx.FamilyLink("l1") }), old)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.FamilyLinkByHash("hash3"); return err })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.FamilyLink("l3"); return err })
	twice := live
	twice.ID = "l9"
	refused(t, b, rankwright.Conflict, "taken", func(tx *store.Tx) error { return tx.AddFamilyLink(twice) })
	nowhere := live
	nowhere.ID, nowhere.Hash, nowhere.Grading = "l8", "hash8", "g404"
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.AddFamilyLink(nowhere) })

	write(t, b, func(tx *store.Tx) error { return tx.UsedFamilyLink("l2", rankwright.MustDay("2026-10-21")) })
	write(t, b, func(tx *store.Tx) error { return tx.WithdrawFamilyLink("l2", 50, "p1") })
	write(t, b, func(tx *store.Tx) error { return tx.WithdrawFamilyLink("l1", 99, "p9") }) // ended before
	live.Used, live.Withdrawn, live.WithdrawnBy = rankwright.MustDay("2026-10-21"), 50, "p1"
	same(t, read(t, b, all), []store.FamilyLink{old, live})
}

func someSignature(student rankwright.StudentID, e rankwright.EntryID) store.Signature {
	return store.Signature{Grading: grading, Student: student, Entry: e, Clearance: "consent", Sheet: 1, Said: "signed", Hash: "abc", Link: "l1", At: 30,
		Name: "Mai Phùng", Body: "I agree that Oona takes part."}
}

func signatures(t *testing.T, b Base) {
	fill(t, b)
	sheet := store.Sheet{Ladder: ladder, Clearance: "consent", Body: "I agree.", By: "p1", At: 5}
	var sheets []store.Sheet
	for _, body := range []string{sheet.Body, ""} {
		write(t, b, func(tx *store.Tx) error {
			s := sheet
			s.Body = body
			s, err := tx.AddSheet(s)
			sheets = append(sheets, s)
			return err
		})
	}
	full(t, sheets[0])
	same(t, read(t, b, func(tx *store.Tx) ([]store.Sheet, error) { return tx.Sheets(ladder) }), sheets)
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.Sheet, error) { return tx.Sheets("adults") })), 0)
	keeps(t, b, `UPDATE sheets SET body = 'other'`, `DELETE FROM sheets`)

	var said []store.Signature
	for _, s := range []store.Signature{someSignature("s1", "e1"), someSignature("s2", "e2"), someSignature("s1", "e1")} {
		write(t, b, func(tx *store.Tx) error {
			if len(said) == 2 {
				s.Said = "withdrawn"
			}
			s, err := tx.AddSignature(s)
			said = append(said, s)
			return err
		})
	}
	full(t, said[0])
	all := func(tx *store.Tx) ([]store.Signature, error) { return tx.Signatures(grading) }
	same(t, read(t, b, all), said)
	same(t, read(t, b, func(tx *store.Tx) ([]store.Signature, error) { return tx.SignaturesOf("s2") }), said[1:2])
	bad := someSignature("s404", "e1")
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.AddSignature(bad); return err })
	keeps(t, b, `UPDATE signatures SET said = 'talk'`, `DELETE FROM signatures`, `UPDATE signature_words SET body = 'other'`)

	// Who is erased leaves the hash of what was signed, and no word of it; an
	// entry that goes leaves all of it.
	write(t, b, func(tx *store.Tx) error { return tx.RemoveEntry("e2") })
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 60) })
	for i := range said {
		if said[i].Student == "s1" {
			said[i].Name, said[i].Body = "", ""
		}
	}
	same(t, read(t, b, all), said)
}

func messages(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		return tx.PutStudents([]roster.Student{{ID: "s1", GivenName: "Oona", Household: "h1"}, {ID: "s2", GivenName: "Teo", Household: "h2"}}, 8)
	})
	ask := store.FamilyMessage{Grading: grading, Household: "h1", Sender: "family", Body: "May her sister watch?", By: "l1", At: 30}
	answer := store.FamilyMessage{Grading: grading, Household: "h1", Sender: "school", Body: "Yes.", By: "p1", At: 31}
	other := store.FamilyMessage{Grading: grading, Household: "h2", Sender: "family", Body: "Where do we park?", By: "l2", At: 32}
	for i, m := range []*store.FamilyMessage{&ask, &answer, &other} {
		write(t, b, func(tx *store.Tx) error { return tx.AddFamilyMessage(*m) })
		m.Number = int64(i + 1)
	}
	full(t, ask)
	all := func(tx *store.Tx) ([]store.FamilyMessage, error) { return tx.FamilyMessages(grading) }
	same(t, read(t, b, all), []store.FamilyMessage{ask, answer, other})
	keeps(t, b, `UPDATE family_messages SET body = 'other'`)

	n := store.FamilyNote{Grading: grading, Household: "h1", Body: "after six", At: 33}
	full(t, n)
	notes := func(tx *store.Tx) ([]store.FamilyNote, error) { return tx.FamilyNotes(grading) }
	for _, body := range []string{"before six", "after six"} {
		n.Body = body
		write(t, b, func(tx *store.Tx) error { return tx.PutFamilyNote(n) })
		same(t, read(t, b, notes), []store.FamilyNote{n})
	}
	gone := store.FamilyNote{Grading: grading, Household: "h2", Body: "x", At: 1}
	write(t, b, func(tx *store.Tx) error { return tx.PutFamilyNote(gone) })
	gone.Body = ""
	write(t, b, func(tx *store.Tx) error { return tx.PutFamilyNote(gone) })
	same(t, read(t, b, notes), []store.FamilyNote{n})

	m := store.MoveAsk{Grading: grading, Household: "h1", Change: "c1", By: "p1", At: 34}
	full(t, m)
	asks := func(tx *store.Tx) ([]store.MoveAsk, error) { return tx.MoveAsks(grading) }
	for _, at := range []store.Moment{34, 35} { // asked twice is asked once
		again := m
		again.At = at
		write(t, b, func(tx *store.Tx) error { return tx.PutMoveAsk(again) })
	}
	same(t, read(t, b, asks), []store.MoveAsk{m})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.PutMoveAsk(store.MoveAsk{Grading: "g404", Household: "h1", Change: "c"})
	})

	write(t, b, func(tx *store.Tx) error { return tx.AddFamilyLink(someLink("l1", "hash1", 10)) })
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 60) }) // the last of the household
	same(t, read(t, b, all), []store.FamilyMessage{other})
	same(t, len(read(t, b, notes))+len(read(t, b, asks)), 0)
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.FamilyLink, error) { return tx.FamilyLinks(grading) })), 0)
}

func shown(t *testing.T, b Base) {
	fill(t, b)
	s := store.ResultShown{Entry: "e1", By: "p1", At: 40}
	full(t, s)
	all := func(tx *store.Tx) ([]store.ResultShown, error) { return tx.ResultsShown(grading) }
	write(t, b, func(tx *store.Tx) error { return tx.ShowResult(s, true) })
	again := s
	again.At = 41 // shown twice is shown since the first time
	write(t, b, func(tx *store.Tx) error { return tx.ShowResult(again, true) })
	same(t, read(t, b, all), []store.ResultShown{s})
	write(t, b, func(tx *store.Tx) error { return tx.ShowResult(s, false) })
	same(t, len(read(t, b, all)), 0)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.ShowResult(store.ResultShown{Entry: "e404"}, true) })
	write(t, b, func(tx *store.Tx) error { return tx.ShowResult(s, true) })
	write(t, b, func(tx *store.Tx) error { return tx.RemoveEntry("e1") })
	same(t, len(read(t, b, all)), 0)
}
