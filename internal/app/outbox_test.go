package app_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/internal/wording"
)

const contacts = `student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank,guardian_name,guardian_email
a1,Ayotomi,Fasanwe,2021-02-14,h1,youth,,2026-07-25,15,Bola Fasanwe,bola@example.org
a3,Zofia,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27,Ewa Krajewik,ewa@example.org
a4,Igor,Krajewik,2016-02-29,h4,youth,Amber,2026-05-30,33,Jan Krajewik,jan@example.org
a5,Linh-Đan,Phùng,2019-10-10,h5,youth,Reed,2026-07-04,24,Mai Phùng,mai@example.org
a6,Kwabena,Darkofi,2016-07-21,h6,youth,Amber,2026-06-13,30,Esi Darkofi,esi@unwritable.example
`

// server is a mail server that does what the test says.
type server struct {
	got    []app.Letter
	answer func(app.Letter) app.Delivery // nil takes everything
}

func (s *server) Check(address string) error {
	if strings.Contains(address, "unwritable") {
		return fmt.Errorf("%q cannot be written to", address)
	}
	return nil
}

func (s *server) Send(_ context.Context, l app.Letter) app.Delivery {
	d := app.Delivery{Fate: app.Sent, Answer: "250 ok"}
	if s.answer != nil {
		d = s.answer(l)
	}
	if d.Fate == app.Sent {
		s.got = append(s.got, l)
	}
	return d
}

// Bounces reads the test's own form: an id a line, with a - before those that
// are only late.
func (s *server) Bounces(report []byte) (out []app.Bounce, err error) {
	for line := range strings.Lines(string(report)) {
		id, late := strings.CutPrefix(strings.TrimSpace(line), "-")
		out = append(out, app.Bounce{ID: id, Permanent: !late, Diagnostic: "550 unknown"})
	}
	return out, nil
}

func (s *server) EML(l app.Letter) ([]byte, error) {
	return []byte("To: " + l.To + "\r\nSubject: " + l.Subject + "\r\n\r\n" + l.Text), nil
}

// post is a grading open to families, at a school with a mail server.
type post struct {
	*families
	mail *server
	dry  bool
}

const pagesAt = "https://gradings.example.org"

func newPost(t *testing.T) *post {
	t.Helper()
	p := &post{families: newFamilies(t), mail: &server{}}
	p.Import(contacts)
	p.must(p.App.EditSchool(p.Ctx(), p.Owner, app.School{Name: "Otterlight", Address: pagesAt}))
	p.restart()
	return p
}

// restart ends the program and starts it again on the same base.
func (p *post) restart() {
	p.App = app.New(p.Store, app.Options{Now: func() time.Time { return p.Now }, Mail: p.mail, Dry: p.dry, QuickHash: true})
}

func (p *post) prepare(kind wording.Kind) app.OutboxView {
	p.t.Helper()
	_, err := p.App.Prepare(p.Ctx(), p.tomek, p.g, app.Preparing{Kind: kind})
	p.must(err)
	return p.view()
}

func (p *post) view() app.OutboxView {
	p.t.Helper()
	v, err := p.App.Outbox(p.Ctx(), p.desk, p.g)
	p.must(err)
	return v
}

// agree says yes to all drafts.
func (p *post) agree() (gone, late int) {
	p.t.Helper()
	v := p.view()
	var take []string
	batch := ""
	for _, m := range v.Drafts {
		take, batch = append(take, m.ID), m.Batch
	}
	gone, late, err := p.App.Agree(p.Ctx(), p.tomek, p.g, batch, take)
	p.must(err)
	return gone, late
}

// run lets the outbox work for a while.
func (p *post) run(d time.Duration) {
	p.t.Helper()
	for end := p.Now.Add(d); p.Now.Before(end); {
		rest, err := p.App.StepPost(p.Ctx())
		p.must(err)
		p.Now = p.Now.Add(max(rest, time.Millisecond))
	}
}

func (p *post) send(kind wording.Kind) []app.Letter {
	p.t.Helper()
	p.prepare(kind)
	p.agree()
	p.mail.got = nil
	p.run(time.Minute)
	return p.mail.got
}

func to(letters []app.Letter) (out []string) {
	for _, l := range letters {
		out = append(out, l.To)
	}
	slices.Sort(out)
	return out
}

// states counts messages by kind and state.
func (p *post) states() map[string]int {
	p.t.Helper()
	out := map[string]int{}
	for _, m := range p.view().Messages {
		out[m.State]++
	}
	return out
}

func (p *post) one(address string) app.MessageView {
	p.t.Helper()
	for _, m := range p.view().Messages {
		if m.Address == address {
			return m
		}
	}
	p.t.Fatalf("no message to %s", address)
	return app.MessageView{}
}

func (p *post) same(got, want any) {
	p.t.Helper()
	if fmt.Sprint(got) != fmt.Sprint(want) {
		p.t.Errorf("got %v, want %v", got, want)
	}
}

var opens = regexp.MustCompile(regexp.QuoteMeta(pagesAt) + `/(f|stop)/([0-9a-z]+)`)

// secrets are what stands in the addresses of a letter: of the family's page,
// and of the end of reminders.
func secrets(l app.Letter) (link, stop string) {
	for _, m := range opens.FindAllStringSubmatch(l.Text, -1) {
		if m[1] == "f" {
			link = m[2]
		} else {
			stop = m[2]
		}
	}
	return link, stop
}

func TestTheLinkIsPreparedLookedAtAndSentOnce(t *testing.T) {
	p := newPost(t)
	p.must(p.App.SetByHand(p.Ctx(), p.desk, p.g, "h5", true))
	p.must(p.App.SetLanguage(p.Ctx(), p.Owner, "h1", "es"))
	v := p.prepare(wording.Link)
	why := map[string]app.WhyNot{}
	for _, m := range v.Drafts {
		why[m.Family+" "+m.Address] = m.Why
	}
	p.same(why, map[string]app.WhyNot{"Fasanwe bola@example.org": "", "Krajewik ewa@example.org": "", "Krajewik jan@example.org": "", "Phùng ": app.WantsHand,
		"Darkofi ": app.BadForm, "Quispaya ": app.NoAddress, "Ishikure ": app.NoAddress, "Barakzoy ": app.NoAddress})
	p.run(time.Minute)
	if len(p.mail.got) != 0 {
		t.Fatal("a draft left without a person's yes")
	}

	gone, late := p.agree()
	p.same([]int{gone, late}, []int{8, 0})
	p.run(time.Minute)
	p.same(to(p.mail.got), []string{"bola@example.org", "ewa@example.org", "jan@example.org"})
	p.same(p.states(), map[string]int{app.WasSent: 3, app.ToHand: 5})
	opened := map[string]bool{}
	for _, l := range p.mail.got {
		link, stop := secrets(l)
		p.must(p.App.CheckLink(p.Ctx(), link))
		if stop != "" || l.Stop != "" {
			t.Errorf("%s could end what the family must know", l.To)
		}
		opened[link] = true
		if want := map[bool]string{true: "Zofia", false: "Ayotomi"}[strings.Contains(l.To, "wa@") || strings.Contains(l.To, "jan")]; !strings.Contains(l.Text, want) || strings.Contains(l.Subject, want) {
			t.Errorf("%s: %s\n%s", l.To, l.Subject, l.Text)
		}
		for _, never := range []string{"Krajewik", "Fasanwe", "{", "link.invalid"} {
			if strings.Contains(l.Subject+l.Text, never) {
				t.Errorf("%s reads %q:\n%s", l.To, never, l.Text)
			}
		}
		if spanish := strings.Contains(l.Text, "página"); spanish != (l.To == "bola@example.org") || spanish != (l.Lang == "es") {
			t.Errorf("%s is written to in %s", l.To, l.Lang)
		}
	}
	if len(opened) != 3 {
		t.Errorf("%d links for three letters", len(opened))
	}

	// The links that the families had still work; the new ones are kept nowhere.
	p.must(p.App.CheckLink(p.Ctx(), p.secret["h4"]))
	for _, m := range p.view().Messages {
		if m.State == app.WasSent && (!strings.Contains(m.Body, app.LinkStandIn) || opens.MatchString(m.Body)) {
			t.Errorf("kept: %s", m.Body)
		}
	}
	p.must(p.Store.Checkpoint(p.Ctx()))
	base, err := os.ReadFile(filepath.Join(p.Dir, "rankwright.db"))
	p.must(err)
	for link := range opened {
		if strings.Contains(string(base), link) {
			t.Error("the base holds what opens a page")
		}
	}
	lines, err := p.App.Audit(p.Ctx(), p.Owner, 0, 100)
	p.must(err)
	for _, l := range lines {
		if strings.Contains(l.Detail, "@") || strings.Contains(l.Detail, "Zofia") {
			t.Errorf("the audit holds %s", l.Detail)
		}
	}

	// Asked once: nobody has to get it again, and all are told why.
	v = p.prepare(wording.Link)
	p.same(len(v.Drafts), 0)
	// Withdrawing ends all of a family's links.
	p.must(p.App.WithdrawLinks(p.Ctx(), p.desk, p.g, "h4"))
	n := 0
	for link := range opened {
		if p.App.CheckLink(p.Ctx(), link) != nil {
			n++
		}
	}
	p.same(n, 2)
	p.fails("link_ended", p.App.CheckLink(p.Ctx(), p.secret["h4"]))
}

func TestARemindersReaderEndsThemWithAClickAndStillHearsWhatMatters(t *testing.T) {
	p := newPost(t)
	got := p.send(wording.NotSigned)
	p.same(to(got), []string{"bola@example.org", "ewa@example.org", "jan@example.org", "mai@example.org"})
	i := slices.IndexFunc(got, func(l app.Letter) bool { return l.To == "ewa@example.org" })
	_, stop := secrets(got[i])
	if got[i].Stop != pagesAt+"/stop/"+stop || stop == "" {
		t.Fatalf("the header names %q, the text %q", got[i].Stop, stop)
	}
	if !strings.Contains(got[i].Text, "Igor: Consent") && !strings.Contains(got[i].Text, "Igor") {
		t.Errorf("what is open is not named:\n%s", got[i].Text)
	}
	s, err := p.App.CheckStop(p.Ctx(), stop)
	p.must(err)
	p.same(s, app.Stopping{Lang: "en"})
	for range 2 { // a program may send it twice
		_, err = p.App.Stop(p.Ctx(), stop, true)
		p.must(err)
	}
	s, err = p.App.CheckStop(p.Ctx(), stop)
	p.must(err)
	p.same(s.Stopped, true)
	_, err = p.App.Stop(p.Ctx(), "made-up", true)
	p.fails("link_ended", err)

	// Not again before three days, then not to her, and to no one who signed.
	p.same(len(p.prepare(wording.NotSigned).Drafts), 0)
	p.At("2026-10-05")
	p.same(to(p.send(wording.NotSigned)), []string{"bola@example.org", "jan@example.org", "mai@example.org"})
	// What she must know reaches her.
	p.same(slices.Contains(to(p.send(wording.Link)), "ewa@example.org"), true)
	_, err = p.App.Stop(p.Ctx(), stop, false)
	p.must(err)
	p.At("2026-10-09")
	p.same(slices.Contains(to(p.send(wording.NotSigned)), "ewa@example.org"), true)
}

func TestWhoAnsweredAfterTheReminderWasPreparedIsNotReminded(t *testing.T) {
	p := newPost(t)
	s := p.row("2026-10-10", 600, 720, false, "A")
	p.prepare(wording.NotAnswered)
	p.must(p.App.SetAnswer(p.Ctx(), p.desk, p.g, "h1", s.ID, "yes"))
	gone, late := p.agree()
	p.same([]int{gone, late}, []int{7, 1})
	p.must(p.App.SetAnswer(p.Ctx(), p.desk, p.g, "h5", s.ID, "yes")) // after the yes, before it went
	p.run(time.Minute)
	p.same(to(p.mail.got), []string{"ewa@example.org", "jan@example.org"})
	m := p.one("mai@example.org")
	p.same([]string{m.State, m.Answer}, []string{app.Dropped, string(app.NotDue)})
}

func TestFamiliesHearTheirTimeThenItsChangeAndTheDayBefore(t *testing.T) {
	p := newPost(t)
	p.row("2026-10-10", 600, 840, false, "A", "B")
	p.plan(false)
	p.must(p.App.PublishTimetable(p.Ctx(), p.Owner, p.g))
	got := p.send(wording.YourTime)
	p.same(len(got), 4)
	i := slices.IndexFunc(got, func(l app.Letter) bool { return l.To == "ewa@example.org" })
	for _, want := range []string{"Zofia: Saturday 10 October 2026, ", "Igor: Saturday 10 October 2026, ", "mat "} {
		if !strings.Contains(got[i].Text, want) {
			t.Errorf("%q is missing:\n%s", want, got[i].Text)
		}
	}
	p.same(len(p.prepare(wording.YourTime).Drafts), 0)
	p.same(len(p.prepare(wording.TimeChanged).Drafts), 0)

	// A told time moves by an hour behind the app's back.
	old := p.look().ToldOf(p.entry["a1"])
	now := *old
	now.Begins, now.Sequence = now.Begins+60, now.Sequence+1
	p.must(p.Store.Write(p.Ctx(), func(tx *store.Tx) error { return tx.PutPublishedTime(now) }))
	got = p.send(wording.TimeChanged)
	p.same(to(got), []string{"bola@example.org"})
	clock := func(x int) string { return fmt.Sprintf("%02d:%02d", x/60, x%60) }
	if !strings.Contains(got[0].Text, clock(old.Begins)) || !strings.Contains(got[0].Text, clock(now.Begins)) {
		t.Errorf("before and after are not both there:\n%s", got[0].Text)
	}
	if got := p.prepare(wording.TimeChanged).Drafts; len(got) != 0 {
		t.Errorf("told again: %v", got)
	}

	p.same(len(p.prepare(wording.Tomorrow).Drafts), 0)
	p.At("2026-10-09")
	p.mail.answer = func(l app.Letter) app.Delivery {
		if l.To == "bola@example.org" {
			return app.Delivery{Fate: app.Later, Answer: "451 later"}
		}
		return app.Delivery{Fate: app.Sent}
	}
	p.same(len(p.send(wording.Tomorrow)), 3)
	p.same(len(p.prepare(wording.Tomorrow).Drafts), 0)
	// What has waited past its day is not sent any more.
	p.At("2026-10-10")
	p.mail.answer = nil
	p.run(13 * time.Hour)
	p.same(p.one("bola@example.org").State, app.Dropped)
}

func TestALetterThatIsRefusedForNowIsTriedMoreAndMoreSeldomAndGivenUp(t *testing.T) {
	p := newPost(t)
	p.mail.answer = func(l app.Letter) app.Delivery {
		switch l.To {
		case "ewa@example.org":
			return app.Delivery{Fate: app.Later, Answer: "451 greylisted,\r\n come back"}
		case "jan@example.org":
			return app.Delivery{Fate: app.Refused, Answer: "550 no such person"}
		}
		return app.Delivery{Fate: app.Sent}
	}
	p.prepare(wording.Link)
	p.agree()
	var at []time.Time
	answer := p.mail.answer
	p.mail.answer = func(l app.Letter) app.Delivery {
		if l.To == "ewa@example.org" {
			at = append(at, p.Now)
		}
		return answer(l)
	}
	p.run(72 * time.Hour)
	var gaps []string
	for i := 1; i < len(at); i++ {
		gaps = append(gaps, at[i].Sub(at[i-1]).Round(time.Minute).String())
	}
	p.same(gaps, []string{"1m0s", "5m0s", "15m0s", "1h0m0s", "4h0m0s", "12h0m0s", "12h0m0s", "12h0m0s", "12h0m0s"})
	m := p.one("ewa@example.org")
	p.same([]string{m.State, m.Answer}, []string{app.WasRefused, "451 greylisted, come back"})
	p.same(p.one("jan@example.org").State, app.WasRefused)
	c, err := p.App.MessageCalls(p.Ctx(), p.Owner, p.g)
	p.must(err)
	p.same([]int{c.Failed, c.Unsure, c.Hand}, []int{2, 0, 4})
	// No link of a letter that nobody took is left.
	for _, x := range p.desk1().List {
		if x.ID == "h4" && x.Links != 1 {
			t.Errorf("%d links of the family work", x.Links)
		}
	}
	// A person lets it be tried again.
	p.mail.answer = nil
	p.must(p.App.Decide(p.Ctx(), p.tomek, p.g, m.ID, app.SendAgain))
	p.run(time.Minute)
	p.same(p.one("ewa@example.org").State, app.WasSent)
	p.fails("moved_on", p.App.Decide(p.Ctx(), p.tomek, p.g, m.ID, app.SendAgain))
}

func TestAServerThatTakesNothingIsLeftAloneForAWhile(t *testing.T) {
	p := newPost(t)
	tries := 0
	p.mail.answer = func(app.Letter) app.Delivery {
		tries++
		return app.Delivery{Fate: app.Later, Down: true, Answer: "connection refused"}
	}
	p.prepare(wording.Link)
	p.agree()
	p.run(3 * time.Hour)
	if tries < 5 || tries > 12 {
		t.Errorf("four letters were tried %d times in three hours", tries)
	}
	p.mail.answer = nil
	p.run(time.Hour)
	p.same(len(p.mail.got), 4)
}

func TestALetterThatMayBeGoneIsNeverSentAgainByItself(t *testing.T) {
	p := newPost(t)
	p.mail.answer = func(app.Letter) app.Delivery { panic("the power fails") }
	p.prepare(wording.Link)
	p.agree()
	func() {
		defer func() { _ = recover() }()
		p.run(time.Minute)
	}()
	p.same(p.states()[app.BeingSent], 1)
	p.mail.answer = nil
	p.restart()
	p.run(time.Hour)
	p.same(len(p.mail.got), 3)
	p.same(p.states(), map[string]int{app.WasSent: 3, app.MayBeGone: 1, app.ToHand: 4})
	c, err := p.App.MessageCalls(p.Ctx(), p.Owner, p.g)
	p.must(err)
	p.same(c.Unsure, 1)
	p.same(len(p.prepare(wording.Link).Drafts), 0) // as long as nobody says

	var unsure app.MessageView
	for _, m := range p.view().Messages {
		if m.State == app.MayBeGone {
			unsure = m
		}
	}
	p.fails("not_allowed", p.App.Decide(p.Ctx(), p.desk, p.g, unsure.ID, app.SendAgain))
	p.fails("not_found", p.App.Decide(p.Ctx(), p.tomek, p.g, "message-x", app.SendAgain))
	p.must(p.App.Decide(p.Ctx(), p.tomek, p.g, unsure.ID, app.SendAgain))
	p.run(time.Minute)
	if l := p.mail.got[3]; l.ID != unsure.ID || l.To != unsure.Address {
		t.Errorf("the second has another name: %+v", l)
	}

	// The other answer: it is taken as gone.
	p.mail.answer = func(app.Letter) app.Delivery { return app.Delivery{Fate: app.Unsure, Answer: "the line broke"} }
	p.send(wording.NotSigned)
	m := p.one("bola@example.org")
	p.same([]string{m.Kind, m.State}, []string{"not-signed", app.MayBeGone})
	p.must(p.App.Decide(p.Ctx(), p.tomek, p.g, m.ID, app.TakeAsGone))
	p.same(p.one("bola@example.org").State, app.WasSent)
}

func TestOnlyThoseWhoMaySendMessages(t *testing.T) {
	p := newPost(t)
	anyone := app.Actor{}
	guardian := p.open("h4")
	_, err := p.App.Prepare(p.Ctx(), p.desk, p.g, app.Preparing{Kind: wording.Link})
	p.fails("not_allowed", err)
	for _, who := range []app.Actor{anyone, guardian} {
		code := map[bool]string{true: "sign_in", false: "not_allowed"}[who.ID == ""]
		_, err := p.App.Outbox(p.Ctx(), who, p.g)
		p.fails(code, err)
		_, err = p.App.HandLinks(p.Ctx(), who, p.g, "")
		p.fails(code, err)
		_, err = p.App.MessageFile(p.Ctx(), who, p.g, "x")
		p.fails(code, err)
		p.fails(code, p.App.SetByHand(p.Ctx(), who, p.g, "h1", true))
	}
	p.must(p.App.EditSchool(p.Ctx(), p.Owner, app.School{Name: "Otterlight"}))
	_, err = p.App.Prepare(p.Ctx(), p.Owner, p.g, app.Preparing{Kind: wording.Link})
	p.fails("no_address", err)
}

func TestTheOutboxStopsWhenTheProgramDoes(t *testing.T) {
	p := newPost(t)
	p.prepare(wording.Link)
	p.agree()
	ctx, cancel := context.WithCancel(p.Ctx())
	p.mail.answer = func(app.Letter) app.Delivery {
		cancel()
		return app.Delivery{Fate: app.Sent}
	}
	p.App.RunPost(ctx, slog.New(slog.NewTextHandler(io.Discard, nil)))
	p.same(p.states(), map[string]int{app.WasSent: 1, app.InQueue: 3, app.ToHand: 4}) // what came of it is known
}
