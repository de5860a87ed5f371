package faults

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"sync"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/internal/post/posttest"
	"rankwright/internal/store"
)

// postKills is how often the program is killed while it sends; make faults sets
// more.
func postKills(t *testing.T) int {
	if v := os.Getenv("RANKWRIGHT_POST_KILLS"); v != "" {
		n, err := strconv.Atoi(v)
		must(t, err)
		return n
	}
	return max(10/slower, 2)
}

// newOutbox sets a school up in whose outbox a message waits for each of so
// many families, and returns the messages' ids.
func newOutbox(t testing.TB, families int) (s *school, ids []string) {
	t.Helper()
	a := apptest.New(t)
	a.Publish("otterlight.yaml")
	csv := "student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank,guardian_name,guardian_email\n"
	var students []rankwright.StudentID
	for i := range families {
		id := fmt.Sprintf("c%03d", i)
		csv += fmt.Sprintf("%s,Candidate,Number%03d,2020-11-30,h%03d,youth,,2026-07-25,15,Guardian Number%03d,%s@family.example\n", id, i, i, i, id)
		students = append(students, rankwright.StudentID(id))
	}
	a.Import(csv)
	g, err := a.App.CreateGrading(a.Ctx(), a.Owner, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-10-10"), Ladder: "youth"})
	must(t, err)
	must(t, a.App.SetPanel(a.Ctx(), a.Owner, g.ID, []string{a.Owner.ID}, a.Owner.ID))
	must(t, a.App.Enter(a.Ctx(), a.Owner, g.ID, students))
	must(t, a.App.Move(a.Ctx(), a.Owner, g.ID, app.OnTheMat))
	must(t, a.App.EditSchool(a.Ctx(), a.Owner, app.School{Name: "Otterlight", Address: "https://gradings.otterlight.example"}))
	office := app.New(a.Store, app.Options{Mail: office{}})
	_, err = office.Prepare(a.Ctx(), a.Owner, g.ID, app.Preparing{Kind: app.FreeWord, Subject: "The car park is closed", Body: "Please come on foot."})
	must(t, err)
	v, err := office.Outbox(a.Ctx(), a.Owner, g.ID)
	must(t, err)
	for _, m := range v.Drafts {
		ids = append(ids, m.ID)
	}
	n, _, err := office.Agree(a.Ctx(), a.Owner, g.ID, v.Drafts[0].Batch, ids)
	must(t, err)
	if n != families {
		t.Fatalf("%d messages wait, for %d families", n, families)
	}
	must(t, a.Store.Close())
	return &school{dir: a.Dir, grading: g.ID}, ids
}

// office is where messages are prepared; it sends none.
type office struct{ app.Sender }

func (office) Check(string) error { return nil }

// inOutbox reads the messages from the base itself.
func inOutbox(t testing.TB, s *school) map[string]string {
	t.Helper()
	st, err := store.Open(t.Context(), s.dir)
	must(t, err)
	defer st.Close()
	out := map[string]string{}
	must(t, st.Read(t.Context(), func(tx *store.Tx) error {
		list, err := tx.Messages(s.grading)
		for _, m := range list {
			out[m.ID] = m.State
		}
		return err
	}))
	return out
}

// postage is what is wrong between what the outbox says and what the mail server
// has.
type postage struct{ twice, lost, hidden, stranger int }

func weigh(ids []string, states map[string]string, arrived map[string]int) (p postage) {
	for _, id := range ids {
		n := arrived[id]
		switch {
		case n > 1:
			p.twice++
		case states[id] == app.WasSent && n == 0:
			p.lost++
		case states[id] != app.WasSent && states[id] != app.MayBeGone && n > 0,
			states[id] != app.WasSent && states[id] != app.MayBeGone && states[id] != app.WasRefused:
			p.hidden++ // it is there and counts as not sent, or nobody would look at it
		}
	}
	for id := range arrived {
		if _, ok := states[id]; !ok {
			p.stranger++
		}
	}
	return p
}

// The control: what a careless sender would leave is seen.
func TestTheScalesSeeALetterSentTwiceLostOrHidden(t *testing.T) {
	ids := []string{"a"}
	for _, c := range []struct {
		name    string
		state   string
		arrived map[string]int
		want    postage
	}{
		{"sent", app.WasSent, map[string]int{"a": 1}, postage{}},
		{"unsure and there", app.MayBeGone, map[string]int{"a": 1}, postage{}},
		{"unsure and not there", app.MayBeGone, nil, postage{}},
		{"refused", app.WasRefused, nil, postage{}},
		{"twice", app.WasSent, map[string]int{"a": 2}, postage{twice: 1}},
		{"lost", app.WasSent, nil, postage{lost: 1}},
		{"there, and counts as refused", app.WasRefused, map[string]int{"a": 1}, postage{hidden: 1}},
		{"still waits", app.InQueue, nil, postage{hidden: 1}},
		{"still being sent", app.BeingSent, nil, postage{hidden: 1}},
		{"gone from the base", "", nil, postage{hidden: 1}},
		{"nobody's", app.WasSent, map[string]int{"a": 1, "b": 1}, postage{stranger: 1}},
	} {
		if got := weigh(ids, map[string]string{"a": c.state}, c.arrived); got != c.want {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

var messageIDs = regexp.MustCompile(`(?m)^Message-ID: <([^@>]+)@`)

// The real program sends, and dies at random moments: before a letter, in its
// middle, when the server has taken it and not said so, and in between. Nobody
// gets a letter twice, and each letter is sent, refused, or shown as unsure.
func TestNoLetterIsSentTwiceWhenTheProgramIsKilled(t *testing.T) {
	kills := postKills(t)
	s, ids := newOutbox(t, 5*kills)
	seed := uint64(time.Now().UnixNano())
	if v := os.Getenv("RANKWRIGHT_SEED"); v != "" {
		var err error
		seed, err = strconv.ParseUint(v, 10, 64)
		must(t, err)
	}
	chance := rand.New(rand.NewPCG(seed, 6))
	var mu sync.Mutex
	var aim struct { // when the program dies
		at     string // "recipient", "taken" or ""
		after  int    // so many letters
		strike func()
	}
	hit := func(at string) {
		mu.Lock()
		defer mu.Unlock()
		if aim.at != at || aim.strike == nil {
			return
		}
		if aim.after--; aim.after < 0 {
			aim.strike()
			aim.strike = nil
		}
	}
	harms := map[string]posttest.Harm{}
	at := posttest.New(t, posttest.Options{
		Harm: func(to string, _ int) posttest.Harm {
			hit("recipient")
			mu.Lock()
			defer mu.Unlock()
			return harms[to]
		},
		Taken: func(string) { hit("taken") },
	})
	cut := 0
	for i := range ids { // some letters meet a server that breaks off, or refuses
		if i%11 == 3 {
			harms[fmt.Sprintf("c%03d@family.example", i)] = []posttest.Harm{posttest.CutAfterTaking, posttest.CutAfterLosing, posttest.RefusedAtRecipient}[chance.IntN(3)]
			cut++
		}
	}
	settings := filepath.Join(t.TempDir(), "mail.json")
	must(t, os.WriteFile(settings, fmt.Appendf(nil, `{"format": 1, "server": %q, "port": %d, "security": "none", "from": "desk@otterlight.example", "per_minute": 6000}`, at.Host, at.Port), 0o600))
	dead := 0
	for i := range kills {
		p := serve(t, s.dir, "--mail", settings)
		struck := make(chan struct{})
		mu.Lock()
		aim.at, aim.after = []string{"taken", "recipient", ""}[min(i, chance.IntN(3))], chance.IntN(5)
		aim.strike = func() { p.kill(); close(struck) }
		at := aim.at
		mu.Unlock()
		wait := 2 * time.Second // nothing may be left to send
		if at == "" {
			wait = time.Duration(chance.Int64N(int64(120 * time.Millisecond)))
		}
		select {
		case <-struck:
		case <-time.After(wait):
			mu.Lock()
			aim.strike = nil
			mu.Unlock()
			p.kill()
		}
		dead++
	}
	p := serve(t, s.dir, "--mail", settings)
	var states map[string]string
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		states = inOutbox(t, s)
		waits := 0
		for _, state := range states {
			if state == app.InQueue || state == app.BeingSent {
				waits++
			}
		}
		if waits == 0 {
			break
		}
	}
	p.stop()
	states = inOutbox(t, s)
	arrived := map[string]int{}
	for _, l := range at.Letters() {
		m := messageIDs.FindSubmatch(l.Data)
		if m == nil {
			t.Fatalf("a letter has no Message-ID:\n%s", l.Data)
		}
		arrived[string(m[1])]++
	}
	count := map[string]int{}
	for _, state := range states {
		count[state]++
	}
	t.Logf("%d kills, %d letters: %v; %d are at the server; RANKWRIGHT_SEED=%d", dead, len(ids), count, len(arrived), seed)
	if got := weigh(ids, states, arrived); got != (postage{}) || len(states) != len(ids) {
		t.Errorf("%+v, %d messages of %d (RANKWRIGHT_SEED=%d)", got, len(states), len(ids), seed)
	}
	if n := count[app.MayBeGone]; n > kills+cut || n == 0 {
		t.Errorf("%d letters are unsure after %d kills and %d broken connections: at most one each, and some (RANKWRIGHT_SEED=%d)", n, kills, cut, seed)
	}
	if count[app.WasSent] < len(ids)/4 {
		t.Errorf("only %d letters of %d went out: the program was hardly at work", count[app.WasSent], len(ids))
	}
	sound(t, s)
}
