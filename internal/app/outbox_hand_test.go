package app_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/internal/wording"
)

func TestAnAddressFromWhichAMessageCameBackIsWrittenToByHandUntilItWorks(t *testing.T) {
	p := newPost(t)
	got := p.send(wording.Link)
	i := slices.IndexFunc(got, func(l app.Letter) bool { return l.To == "mai@example.org" })
	link, _ := secrets(got[i])
	for _, b := range []app.Bounce{{ID: "<nobody@elsewhere>", Permanent: true}, {ID: ""}} {
		known, err := p.App.NoteBounce(p.Ctx(), b)
		p.must(err)
		p.same(known, false)
	}
	known, err := p.App.NoteBounce(p.Ctx(), app.Bounce{ID: "<" + got[i].ID + "@otterlight.example>", Diagnostic: "450 mailbox is full, trying on"})
	p.must(err)
	p.same([]any{known, p.one("mai@example.org").State}, []any{true, app.WasSent})
	for range 2 {
		_, err = p.App.NoteBounce(p.Ctx(), app.Bounce{ID: got[i].ID, Permanent: true, Diagnostic: "550 5.1.1 <mai@example.org> unknown"})
		p.must(err)
	}
	m := p.one("mai@example.org")
	p.same([]string{m.State, m.Answer}, []string{app.CameBack, "550 5.1.1 <mai@example.org> unknown"})
	p.fails("link_ended", p.App.CheckLink(p.Ctx(), link)) // the report may lie in anybody's mailbox
	p.must(p.App.CheckLink(p.Ctx(), p.secret["h5"]))
	// A report that somebody saved, and a person who read one.
	i = slices.IndexFunc(got, func(l app.Letter) bool { return l.To == "ewa@example.org" })
	read, failed, err := p.App.TakeReport(p.Ctx(), p.desk, p.g, []byte(got[i].ID+"\n-"+p.one("jan@example.org").ID+"\nnone-of-ours\n"))
	p.must(err)
	p.same([]int{read, failed}, []int{2, 1})
	p.same([]string{p.one("ewa@example.org").State, p.one("jan@example.org").State}, []string{app.CameBack, app.WasSent})
	p.must(p.App.Decide(p.Ctx(), p.desk, p.g, p.one("bola@example.org").ID, app.ItCameBack))
	p.same(p.one("bola@example.org").State, app.CameBack)
	p.fails("moved_on", p.App.Decide(p.Ctx(), p.desk, p.g, p.one("bola@example.org").ID, app.ItCameBack))
	p.must(p.App.AddressWorks(p.Ctx(), p.desk, p.g, "h1"))
	p.must(p.App.AddressWorks(p.Ctx(), p.desk, p.g, "h4"))

	_, err = p.App.Prepare(p.Ctx(), p.tomek, p.g, app.Preparing{Kind: wording.Link, Only: []rankwright.HouseholdID{"h5"}})
	p.must(err)
	v := p.view()
	p.same(len(v.Drafts), 1)
	p.same([]string{v.Drafts[0].Channel, string(v.Drafts[0].Why)}, []string{"paper", string(app.NotWork)})
	p.must(p.App.AddressWorks(p.Ctx(), p.desk, p.g, "h5"))
	var again []string
	for _, m := range p.prepare(wording.Link).Drafts {
		again = append(again, m.Address)
	}
	p.same(again, []string{"bola@example.org", "ewa@example.org", "mai@example.org"})
}

func TestARehearsalDoesEverythingButTheSending(t *testing.T) {
	p := newPost(t)
	p.dry = true
	p.must(p.App.EditSchool(p.Ctx(), p.Owner, app.School{Name: "Otterlight"})) // no address is needed for it
	p.restart()
	links := p.desk1().List[0].Links
	p.same(len(p.send(wording.Link)), 0)
	p.same(p.states(), map[string]int{app.RunDry: 4, app.ToHand: 4})
	p.same(p.desk1().List[0].Links, links)
	m := p.one("mai@example.org")
	file, err := p.App.MessageFile(p.Ctx(), p.desk, p.g, m.ID)
	p.must(err)
	if !strings.Contains(string(file), "mai@example.org") || strings.Contains(string(file), app.LinkStandIn) || opens.Match(file) {
		t.Errorf("the file:\n%s", file)
	}
	p.same(len(p.prepare(wording.Link).Drafts), 0)
	// In earnest it is still to be sent.
	p.dry = false
	p.must(p.App.EditSchool(p.Ctx(), p.Owner, app.School{Name: "Otterlight", Address: pagesAt}))
	p.restart()
	p.same(len(p.send(wording.Link)), 4)
}

func TestAFamilyWithoutEMailGetsALetterOrATextToPaste(t *testing.T) {
	p := newPost(t)
	p.prepare(wording.Link)
	p.agree()
	n, err := p.App.HandLinks(p.Ctx(), p.desk, p.g, "")
	p.must(err)
	p.same(n, 4)
	var hand []string
	for _, m := range p.view().Messages {
		if m.State == app.ToHand {
			p.must(p.App.CheckLink(p.Ctx(), m.Secret))
			if text := app.Shown(&m.Message, pagesAt+app.LinkPath+m.Secret); !strings.Contains(text, m.Secret) || strings.Contains(text, "{") {
				t.Errorf("the text:\n%s", text)
			}
			hand = append(hand, m.ID)
		}
	}
	p.must(p.App.Handed(p.Ctx(), p.desk, p.g, hand[:1], "paste"))
	p.must(p.App.Handed(p.Ctx(), p.desk, p.g, hand[1:3], "paper"))
	p.fails("moved_on", p.App.Handed(p.Ctx(), p.desk, p.g, hand[:1], "paper"))
	p.fails("channel", p.App.Handed(p.Ctx(), p.desk, p.g, hand[3:], "pigeon"))
	p.same(p.states(), map[string]int{app.InQueue: 4, app.ToHand: 1, app.WasHanded: 3})
	p.must(p.App.CheckLink(p.Ctx(), p.secret["h2"])) // what they had before
	// Without a server all goes by hand.
	p.App = app.New(p.Store, app.Options{Now: func() time.Time { return p.Now }})
	v := p.prepare(wording.NotSigned)
	p.same(len(v.Drafts), 7)
	for _, m := range v.Drafts {
		p.same(m.Channel, "paper")
	}
}

func TestTheSchoolsOwnWordsAreReadBeforeTheyGo(t *testing.T) {
	p := newPost(t)
	free := func(subject, body string, only ...rankwright.HouseholdID) error {
		_, err := p.App.Prepare(p.Ctx(), p.tomek, p.g, app.Preparing{Kind: app.FreeWord, Subject: subject, Body: body, Only: only})
		return err
	}
	p.fails("subject", free("", "x"))
	p.fails("body", free("x", " "))
	p.fails("body", free("x", "Dear {chidren}"))
	p.must(free("Parking", "Dear family of {children},\r\nplease park behind the hall.", "h4"))
	p.agree()
	p.run(time.Minute)
	p.same(to(p.mail.got), []string{"ewa@example.org", "jan@example.org"})
	l := p.mail.got[0]
	if link, stop := secrets(l); !strings.HasPrefix(l.Text, "Dear family of Zofia and Igor,\nplease park behind the hall.\n") || link == "" || stop == "" {
		t.Errorf("%s", l.Text)
	}
	_, stop := secrets(l)
	s, err := p.App.Stop(p.Ctx(), stop, true)
	p.must(err)
	p.same(s.Words, true)
	p.must(free("Parking", "Dear family of {children},\nplease park behind the hall."))
	p.same(len(p.view().Drafts), 6) // not to those who have it
	p.must(free("Once more", "Behind the hall.", "h4"))
	p.same(len(p.view().Drafts), 1)
	p.same(slices.Contains(to(p.send(wording.NotSigned)), p.mail.got[0].To), true) // reminders still come
}

func TestAResultIsNotInTheMessageThatSaysItIsThere(t *testing.T) {
	p := newPost(t)
	p.fails("not_now", func() error {
		_, err := p.App.Prepare(p.Ctx(), p.tomek, p.g, app.Preparing{Kind: wording.ResultReady})
		return err
	}())
	p.must(p.Store.Write(p.Ctx(), func(tx *store.Tx) error {
		if err := tx.ShowResult(store.ResultShown{Entry: p.entry["a3"], By: "x", At: 1}, true); err != nil {
			return err
		}
		return tx.SetGradingState(p.g, string(app.Families), string(app.Closed))
	}))
	got := p.send(wording.ResultReady)
	p.same(to(got), []string{"ewa@example.org", "jan@example.org"})
	for _, never := range []string{"promoted", "not yet", "held", "again", "Reed", "Amber"} {
		if strings.Contains(strings.ToLower(got[0].Text), strings.ToLower(never)) {
			t.Errorf("the message says %q:\n%s", never, got[0].Text)
		}
	}
}

func TestWordsAndAddressesGoWithAnErasedChild(t *testing.T) {
	p := newPost(t)
	p.send(wording.Link)
	p.prepare(wording.NotSigned)
	p.agree() // waits
	got := p.mail.got
	out, err := p.App.ExportStudent(p.Ctx(), p.Owner, "a4")
	p.must(err)
	p.same(len(out.Messages), 4)                       // to both guardians, and two that wait
	p.must(p.App.EraseStudent(p.Ctx(), p.Owner, "a3")) // the brother stays
	p.run(time.Minute)
	for _, m := range p.view().Messages {
		if m.Household == "h4" && (m.Body != "" || m.Address != "" || m.Subject != "" || m.State == app.InQueue) {
			t.Errorf("left of it: %+v", m.Message)
		}
	}
	for _, l := range p.mail.got[len(got):] {
		if strings.Contains(l.Text, "Zofia") {
			t.Errorf("sent all the same: %+v", l)
		}
	}
	p.must(p.Store.Checkpoint(p.Ctx()))
	base, err := os.ReadFile(filepath.Join(p.Dir, "rankwright.db"))
	p.must(err)
	if strings.Contains(string(base), "Zofia and Igor") || strings.Contains(string(base), "ewa@example.org") {
		t.Error("the base still holds it")
	}
}
