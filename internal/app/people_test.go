package app_test

import (
	"strings"
	"sync"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/app/apptest"
	"rankwright/internal/store"
)

// A new link ends the one before: what was lost on the bus opens nothing.
func TestOnlyTheLatestLinkWorks(t *testing.T) {
	s := apptest.New(t)
	first, err := s.App.Invite(s.Ctx(), s.Owner, "Tomek Wielgosek", app.Instructor, "")
	if err != nil {
		t.Fatal(err)
	}
	people, err := s.App.People(s.Ctx(), s.Owner)
	if err != nil {
		t.Fatal(err)
	}
	id := ""
	for _, p := range people {
		if p.Name == "Tomek Wielgosek" {
			id = p.ID
		}
	}
	second, err := s.App.Reinvite(s.Ctx(), s.Owner, id)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.App.Join(s.Ctx(), first, "somebody else entirely"); rankwright.KindOf(err) != rankwright.NotFound {
		t.Errorf("the first link still works: %v", err)
	}
	if _, err := s.App.Join(s.Ctx(), second, apptest.Password); err != nil {
		t.Fatal(err)
	}
	if _, err := s.App.Join(s.Ctx(), second, "somebody else entirely"); err == nil {
		t.Error("a link worked twice")
	}
	third, err := s.App.Reinvite(s.Ctx(), s.Owner, id)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.App.SetActive(s.Ctx(), s.Owner, id, false); err != nil {
		t.Fatal(err)
	}
	if _, err := s.App.Join(s.Ctx(), third, apptest.Password); err == nil {
		t.Error("somebody who is kept out joined by an older link")
	}
}

// Tests hash cheaply (QuickHash); the product must not. The cost is the least
// that OWASP's Password Storage Cheat Sheet names for argon2id: m=19456 (19
// MiB), t=2, p=1.
func TestThePasswordsOfTheProductCostWhatOWASPAsksFor(t *testing.T) {
	s := apptest.New(t)
	s.App = app.New(s.Store, app.Options{})
	id := s.Person("Tomek Wielgosek", app.Examiner, "blue")
	if err := s.Store.Read(s.Ctx(), func(tx *store.Tx) error {
		p, err := tx.Person(id.ID)
		if want := "$argon2id$v=19$m=19456,t=2,p=1$"; !strings.HasPrefix(p.PasswordHash, want) {
			t.Errorf("the hash begins with %.40s, want %s", p.PasswordHash, want)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// Ten wrong tries are ten, also when they come at once; then even the right
// password waits.
func TestTenWrongTriesAreTenAlsoAtOnce(t *testing.T) {
	s := apptest.New(t)
	var mu sync.Mutex
	wrong, stopped := 0, 0
	var wg sync.WaitGroup
	for range 30 {
		wg.Go(func() {
			_, err := s.App.SignIn(s.Ctx(), s.Owner.Name, "a wrong password")
			mu.Lock()
			defer mu.Unlock()
			switch rankwright.KindOf(err) {
			case rankwright.Invalid:
				wrong++
			case rankwright.Forbidden:
				stopped++
			}
		})
	}
	wg.Wait()
	if wrong != 10 || stopped != 20 {
		t.Errorf("%d were tried and %d stopped, want 10 and 20", wrong, stopped)
	}
	if _, err := s.App.SignIn(s.Ctx(), s.Owner.Name, apptest.Password); rankwright.KindOf(err) != rankwright.Forbidden {
		t.Errorf("the right password was let through during the wait: %v", err)
	}
	s.Now = s.Now.Add(16 * 60 * 1e9)
	if _, err := s.App.SignIn(s.Ctx(), s.Owner.Name, apptest.Password); err != nil {
		t.Errorf("a quarter of an hour later: %v", err)
	}
}
