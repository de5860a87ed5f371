package storetest

import (
	"slices"
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

func someMessage(id string, h rankwright.HouseholdID) store.Message {
	return store.Message{ID: id, Grading: grading, Household: h, Batch: "b1", Kind: "link", About: "once", Lang: "en", Channel: "mail", State: "waits",
		Tries: 1, Next: 50, Answer: "451 later, oona@example.org", Link: "l1", Created: 40, By: "p1", Agreed: 41, AgreedBy: "p2", Began: 42, Ended: 43,
		Address: string(h) + "@example.org", Subject: "Grading", Body: "Oona: {link}"}
}

func outbox(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		return tx.PutStudents([]roster.Student{{ID: "s1", GivenName: "Oona", Household: "h1"}, {ID: "s2", GivenName: "Teo"}, {ID: "s3", GivenName: "Ana", Household: "h1"}}, 8)
	})
	one, two, three := someMessage("m1", "h1"), someMessage("m2", "student:s2"), someMessage("m3", "h1")
	two.Next, three.State = 49, "draft"
	full(t, one)
	for _, m := range []store.Message{three, two, one} {
		write(t, b, func(tx *store.Tx) error { return tx.AddMessage(m) })
	}
	all := func(tx *store.Tx) ([]store.Message, error) { return tx.Messages(grading) }
	same(t, read(t, b, all), []store.Message{one, two, three})
	same(t, read(t, b, func(tx *store.Tx) (store.Message, error) { return tx.Message("m2") }), two)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.Message("m9"); return err })
	same(t, read(t, b, func(tx *store.Tx) ([]store.Message, error) { return tx.MessagesIn("waits") }), []store.Message{two, one})
	next := func(tx *store.Tx) (store.Message, error) { m, _, err := tx.NextMessage("waits"); return m, err }
	same(t, read(t, b, next), two)
	bad := someMessage("m8", "h1")
	bad.Grading = "g404"
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.AddMessage(bad) })
	bad.Grading, bad.State = grading, "lost"
	refused(t, b, rankwright.Invalid, "unfit", func(tx *store.Tx) error { return tx.AddMessage(bad) })
	refused(t, b, rankwright.Conflict, "taken", func(tx *store.Tx) error { return tx.AddMessage(one) })

	// It moves from the state in which it is and from no other; its words stay.
	moved := two
	moved.Channel, moved.State, moved.Tries, moved.Next, moved.Answer, moved.Link = "paste", "sending", 2, 60, "x", "l2"
	moved.Agreed, moved.AgreedBy, moved.Began, moved.Ended = 61, "p1", 62, 63
	to := moved
	to.Subject, to.Body, to.Address = "other", "other", "other"
	for _, c := range []struct {
		from string
		want bool
	}{{"draft", false}, {"waits", true}, {"waits", false}} {
		write(t, b, func(tx *store.Tx) error {
			ok, err := tx.MoveMessage(to, c.from)
			if ok != c.want {
				t.Errorf("moved from %s: %v", c.from, ok)
			}
			return err
		})
	}
	same(t, read(t, b, all), []store.Message{one, moved, three})
	keeps(t, b, `UPDATE outbox_words SET body = 'other'`)

	write(t, b, func(tx *store.Tx) error { return tx.AddMessageStop("hash1", "m1") })
	same(t, read(t, b, func(tx *store.Tx) (store.Message, error) { return tx.MessageByStop("hash1") }), one)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.MessageByStop("hash2"); return err })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.AddMessageStop("hash3", "m9") })
	write(t, b, func(tx *store.Tx) error { return tx.AddMessageStop("hash4", "m3") })
	write(t, b, func(tx *store.Tx) error {
		n, err := tx.RemoveMessages(grading, "draft")
		if n != 1 {
			t.Errorf("%d drafts removed", n)
		}
		return err
	})
	same(t, read(t, b, all), []store.Message{one, moved})

	// A child who is erased takes the words with it; the last one whose it was.
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 70) })
	one.Address, one.Subject, one.Body, one.Answer, one.State = "", "", "", "", "dropped"
	same(t, read(t, b, all), []store.Message{one, moved})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s3", 71) })
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s2", 72) })
	one.Household, moved.Household = "", ""
	moved.Address, moved.Subject, moved.Body, moved.Answer = "", "", "", "" // on its way: its state is the worker's
	same(t, read(t, b, all), []store.Message{one, moved})
}

func addresses(t *testing.T, b Base) {
	fill(t, b)
	f := store.AddressFlag{Address: "hash1", Flag: "reminder", At: 40}
	full(t, f)
	list := func(tx *store.Tx) ([]store.AddressFlag, error) { return tx.AddressFlags() }
	want := []store.AddressFlag{{Address: "hash1", Flag: "bounced", At: 41}, f}
	for _, x := range append(slices.Clone(want), store.AddressFlag{Address: "hash1", Flag: "reminder", At: 50}) {
		write(t, b, func(tx *store.Tx) error { return tx.FlagAddress(x, true) })
	}
	same(t, read(t, b, list), want)
	write(t, b, func(tx *store.Tx) error { return tx.FlagAddress(f, false) })
	same(t, read(t, b, list), want[:1])
	refused(t, b, rankwright.Invalid, "unfit", func(tx *store.Tx) error { return tx.FlagAddress(store.AddressFlag{Address: "x", Flag: "y"}, true) })

	write(t, b, func(tx *store.Tx) error {
		return tx.PutStudents([]roster.Student{{ID: "s1", GivenName: "Oona", Household: "h1"}, {ID: "s2", GivenName: "Teo", Household: "h2"}}, 8)
	})
	h := store.ByHand{Household: "h1", By: "p1", At: 42}
	full(t, h)
	hands := func(tx *store.Tx) ([]store.ByHand, error) { return tx.HouseholdsByHand() }
	other := store.ByHand{Household: "h2", By: "p1", At: 43}
	for _, x := range []store.ByHand{other, h, {Household: "h1", By: "p2", At: 50}} {
		write(t, b, func(tx *store.Tx) error { return tx.PutByHand(x, true) })
	}
	same(t, read(t, b, hands), []store.ByHand{h, other})
	write(t, b, func(tx *store.Tx) error { return tx.PutByHand(other, false) })
	same(t, read(t, b, hands), []store.ByHand{h})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 60) })
	same(t, len(read(t, b, hands)), 0)
}
