package storetest

import (
	"bytes"
	"context"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

func settings(t *testing.T, b Base) {
	get := func(tx *store.Tx) (string, error) {
		v, ok, err := tx.Setting("club")
		if !ok {
			v = "(none)"
		}
		return v, err
	}
	same(t, read(t, b, get), "(none)")
	for _, v := range []string{"Otterlight", ""} {
		write(t, b, func(tx *store.Tx) error { return tx.SetSetting("club", v) })
		same(t, read(t, b, get), v)
	}
}

func people(t *testing.T, b Base) {
	p, q := person("p1", "Ines Calder"), person("p2", "Bram Okafor")
	q.Active = false
	full(t, p)
	write(t, b, func(tx *store.Tx) error {
		if err := tx.PutPerson(q); err != nil {
			return err
		}
		return tx.PutPerson(p)
	})
	same(t, read(t, b, func(tx *store.Tx) (store.Person, error) { return tx.Person("p1") }), p)
	same(t, read(t, b, (*store.Tx).People), []store.Person{p, q})
	p.Role, p.PasswordHash, p.HighestRank, p.Active, p.Name = "assistant", "other", "", false, "Ines Vale"
	write(t, b, func(tx *store.Tx) error { return tx.PutPerson(p) })
	same(t, read(t, b, func(tx *store.Tx) (store.Person, error) { return tx.Person("p1") }), p)
}

func names(t *testing.T, b Base) {
	write(t, b, func(tx *store.Tx) error { return tx.PutPerson(person("p1", "Élodie Straße")) })
	for _, name := range []string{"élodie straße", "ÉLODIE STRASSE", "  E\u0301lodie   Straße "} {
		same(t, read(t, b, func(tx *store.Tx) (store.Person, error) { return tx.PersonByName(name) }).ID, "p1")
	}
	again := person("p2", "éLODIE sTRASSE")
	refused(t, b, rankwright.Conflict, "name_taken", func(tx *store.Tx) error { return tx.PutPerson(again) })
	write(t, b, func(tx *store.Tx) error { return tx.PutPerson(person("p3", "Elodie Straße")) }) // another name
	again.Active = false
	write(t, b, func(tx *store.Tx) error { return tx.PutPerson(again) })
	same(t, read(t, b, func(tx *store.Tx) (store.Person, error) { return tx.PersonByName(again.Name) }).ID, "p1")
}

func tokens(t *testing.T, b Base) {
	k := store.Token{Hash: "h1", Purpose: "invitation", Person: "p1", Created: 10, Expires: 100, Used: 1}
	full(t, k)
	write(t, b, func(tx *store.Tx) error { return tx.AddToken(k) })
	same(t, read(t, b, func(tx *store.Tx) (store.Token, error) { return tx.Token("h1") }), k)

	fresh := store.Token{Hash: "h2", Purpose: "setup", Created: 10, Expires: 100}
	write(t, b, func(tx *store.Tx) error { return tx.AddToken(fresh) })
	use := func(hash string, at store.Moment) func(*store.Tx) error {
		return func(tx *store.Tx) error { _, err := tx.UseToken(hash, at); return err }
	}
	refused(t, b, rankwright.Conflict, "taken", func(tx *store.Tx) error { return tx.AddToken(fresh) })
	refused(t, b, rankwright.Conflict, "token_expired", use("h2", 100))
	refused(t, b, rankwright.NotFound, "not_found", use("h3", 50))
	write(t, b, func(tx *store.Tx) error {
		got, err := tx.UseToken("h2", 99)
		fresh.Used = 99
		same(t, got, fresh)
		return err
	})
	refused(t, b, rankwright.Conflict, "token_used", use("h2", 99))

	write(t, b, func(tx *store.Tx) error {
		if err := tx.AddToken(store.Token{Hash: "late", Purpose: "setup", Expires: 200}); err != nil {
			return err
		}
		n, err := tx.DeleteExpiredTokens(200)
		same(t, n, 2)
		return err
	})
	same(t, read(t, b, func(tx *store.Tx) (store.Token, error) { return tx.Token("late") }).Expires, 200)

	links := func() (left []string) {
		for _, h := range []string{"mine", "mine used", "yours", "setup"} {
			if read(t, b, func(tx *store.Tx) (bool, error) {
				_, err := tx.Token(h)
				if rankwright.KindOf(err) == rankwright.NotFound {
					return false, nil
				}
				return true, err
			}) {
				left = append(left, h)
			}
		}
		return left
	}
	write(t, b, func(tx *store.Tx) error {
		for _, k := range []store.Token{
			{Hash: "mine", Purpose: "invitation", Person: "p1"}, {Hash: "mine used", Purpose: "invitation", Person: "p1", Used: 5},
			{Hash: "yours", Purpose: "invitation", Person: "p2"}, {Hash: "setup", Purpose: "setup"},
		} {
			if err := tx.AddToken(k); err != nil {
				return err
			}
		}
		return tx.EndTokensOf("p1")
	})
	same(t, links(), []string{"mine used", "yours", "setup"})
	write(t, b, func(tx *store.Tx) error { return tx.EndTokens("invitation") })
	same(t, links(), []string{"mine used", "setup"})
}

func sessions(t *testing.T, b Base) {
	now := time.UnixMilli(1_000_000)
	s := b.Sessions(func() time.Time { return now })
	data := []byte{0, 255, 'x'}
	if err := s.Commit("tok", data, now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if err := s.Commit("tok", append(data, 1), now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.Commit("other", nil, now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	find := func(token string, want bool) {
		t.Helper()
		got, found, err := s.Find(token)
		if err != nil || found != want || found && token == "tok" && !bytes.Equal(got, append(data, 1)) {
			t.Errorf("find %q: %v %v %v, want found %v", token, got, found, err, want)
		}
	}
	find("tok", true)
	find("no\x00token\xff", false)
	now = now.Add(time.Minute)
	find("tok", true)
	find("other", false)
	if err := s.DeleteExpired(context.Background()); err != nil {
		t.Fatal(err)
	}
	find("tok", true)
	for range 2 { // ending what has ended is no error
		if err := s.Delete("tok"); err != nil {
			t.Fatal(err)
		}
	}
	find("tok", false)
}

func drafts(t *testing.T, b Base) {
	d := store.Version{ID: "d1", Ladder: ladder, Name: "Spring", Text: "a\n", Hash: store.HashText("a\n"), By: "p1", Saved: 9}
	other := store.Version{ID: "d2", Ladder: "adults", Name: "Spring", Text: "b\n", Hash: store.HashText("b\n"), By: "p1", Saved: 9}
	draft := func(tx *store.Tx) (store.Version, error) { return tx.Draft(ladder) }
	write(t, b, func(tx *store.Tx) error {
		if err := tx.PutDraft(other); err != nil {
			return err
		}
		return tx.PutDraft(d)
	})
	same(t, read(t, b, draft), d)
	for _, id := range []string{"d1", "d3"} {
		d.ID, d.Text, d.Saved = id, d.Text+"more\n", d.Saved+1
		d.Hash = store.HashText(d.Text)
		write(t, b, func(tx *store.Tx) error { return tx.PutDraft(d) })
		same(t, read(t, b, draft), d)
	}
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.Version("d1"); return err })
	same(t, read(t, b, func(tx *store.Tx) (store.Version, error) { return tx.Version("d2") }), other)
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.Version, error) { return tx.Versions("") })), 0)
}

func published(t *testing.T, b Base) {
	// SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.1.
	const hash = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	draft := store.Version{ID: "v1", Ladder: ladder, Name: "Spring", Text: "abc", By: "p1", Saved: 9}
	publish := func(v store.Version) (got store.Version) {
		write(t, b, func(tx *store.Tx) (err error) {
			got, err = tx.Publish(v)
			return err
		})
		return got
	}
	write(t, b, func(tx *store.Tx) error { return tx.PutDraft(draft) })
	refused(t, b, rankwright.Invalid, "no_moment", func(tx *store.Tx) error { _, err := tx.Publish(draft); return err })
	draft.Published = 10
	v1 := publish(draft)
	want := draft
	want.Number, want.Hash = 1, hash
	full(t, want)
	same(t, v1, want)
	same(t, read(t, b, func(tx *store.Tx) (store.Version, error) { return tx.Version("v1") }), want)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := tx.Draft(ladder); return err })

	v2 := publish(store.Version{ID: "v2", Ladder: ladder, Text: "abcd", Published: 11})
	a1 := publish(store.Version{ID: "a1", Ladder: "adults", Text: "abc", Published: 12})
	same(t, []int{v2.Number, a1.Number}, []int{2, 1})
	versions := func(l rankwright.LadderID) []store.Version {
		return read(t, b, func(tx *store.Tx) ([]store.Version, error) { return tx.Versions(l) })
	}
	same(t, versions(ladder), []store.Version{v1, v2})
	same(t, versions(""), []store.Version{a1, v1, v2})

	refused(t, b, rankwright.Conflict, "same_text", func(tx *store.Tx) error {
		_, err := tx.Publish(store.Version{ID: "v3", Ladder: ladder, Text: "abc", Published: 13})
		return err
	})
	refused(t, b, rankwright.Conflict, "published", func(tx *store.Tx) error {
		return tx.PutDraft(store.Version{ID: "v1", Ladder: ladder, Text: "new"})
	})
	keeps(t, b, `UPDATE versions SET body = 'x' WHERE id = 'v1'`, `UPDATE versions SET number = 0 WHERE id = 'v1'`,
		`DELETE FROM versions WHERE id = 'v1'`)
	same(t, versions(ladder), []store.Version{v1, v2})
}

func oona() roster.Student {
	return roster.Student{ID: "s1", GivenName: "Oona", FamilyName: "Brannigan", BirthDate: rankwright.MustDay("2017-02-28"), Household: "h1",
		Ladder: ladder, Rank: "yellow", RankSince: rankwright.MustDay("2026-03-14"), ClassesSinceRank: 41, BeltSize: "220", ShirtSize: "130",
		Notes: "left-handed", Said: "OO-na",
		Guardians: []roster.Guardian{{Name: "Maeve Brannigan", Email: "maeve@example.org", Phone: "+353 1 555 0101"}, {Name: "Al Brannigan"}}}
}

func students(t *testing.T, b Base) {
	s, plain := oona(), roster.Student{ID: "s0", GivenName: "Teo"}
	full(t, s)
	put := func(at store.Moment, ss ...roster.Student) {
		write(t, b, func(tx *store.Tx) error { return tx.PutStudents(ss, at) })
	}
	put(50, s, plain)
	same(t, read(t, b, (*store.Tx).Students), []store.StudentRecord{{Student: plain, Updated: 50}, {Student: s, Updated: 50}})
	s.Guardians, s.BirthDate = s.Guardians[1:], 0
	put(60, s)
	same(t, read(t, b, func(tx *store.Tx) (store.StudentRecord, error) { return tx.Student("s1") }), store.StudentRecord{Student: s, Updated: 60})
	same(t, read(t, b, (*store.Tx).Students)[0], store.StudentRecord{Student: plain, Updated: 50})

	for _, m := range []string{`{"a":1}`, `{"a":2}`} {
		write(t, b, func(tx *store.Tx) error { return tx.PutMapping("fp", m) })
		same(t, read(t, b, func(tx *store.Tx) (string, error) { got, _, err := tx.Mapping("fp"); return got, err }), m)
	}
	same(t, read(t, b, func(tx *store.Tx) (bool, error) { _, ok, err := tx.Mapping("none"); return ok, err }), false)
}

func erased(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error {
		if err := tx.PutStudents([]roster.Student{oona()}, 50); err != nil {
			return err
		}
		if _, err := tx.AppendMarks([]store.MarkRow{mark("m1", "d1", 1)}); err != nil {
			return err
		}
		_, err := tx.AppendLedger([]store.LedgerLine{{Student: "s1", Entry: "e1", Rank: "yellow"}})
		return err
	})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 70) })
	same(t, read(t, b, func(tx *store.Tx) (store.StudentRecord, error) { return tx.Student("s1") }),
		store.StudentRecord{Student: roster.Student{ID: "s1", Ladder: ladder, Rank: "yellow"}, Updated: 70, Erased: 70})
	same(t, len(read(t, b, (*store.Tx).Students)), 1)
	same(t, read(t, b, (*store.Tx).UsedStudentIDs), []rankwright.StudentID{"s1", "s2"})
	same(t, len(read(t, b, func(tx *store.Tx) ([]store.MarkRow, error) { return tx.MarksOf("e1") })), 1)
	same(t, read(t, b, (*store.Tx).VerifyLedger).Lines, 1)
	refused(t, b, rankwright.Conflict, "erased", func(tx *store.Tx) error { return tx.PutStudents([]roster.Student{oona()}, 80) })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.EraseStudent("nobody", 80) })
}
