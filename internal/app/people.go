package app

import (
	"context"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/words"
)

// School is what the school says of itself.
type School struct {
	Name  string
	Place string
	// Cautions is the school's own sentence that stands first among the
	// cautions; "" where it has none.
	Cautions string
	// Safety names the first aider and the welfare lead.
	Safety string
	// Notes are the short notes that examiners choose from, a line each.
	Notes string
	// Door is the list at the door, a line each, and Feel the question how a
	// child feels; "" is the usual one.
	Door, Feel string
	// Zone is the zone of the school's clock by its name in the tz database,
	// such as Europe/London; calendar files need it. "" is not said.
	Zone string
	// Address is where families reach the pages, such as
	// https://gradings.example.org; "" is where whoever makes the links does.
	Address string
	// Lang is the language of the school's own words, as a BCP 47 tag; "" is
	// English. Days within them are written in it.
	Lang string
	// Country is where the school is, by ISO 3166-1 alpha-2, and Clock "24",
	// "12" or, as in the country, "": families read dates, times and numbers as
	// they are written there.
	Country, Clock string
}

// Say says sentences in a language, with dates, times and numbers as they are
// written where the school is.
func (sc School) Say(l words.Lang) *words.Say {
	return words.In(l).At(words.Place{Country: sc.Country, Clock: sc.Clock})
}

const (
	keySchool   = "school.name"
	keyPlace    = "school.place"
	keyCautions = "school.cautions"
	keySafety   = "school.safety"
	keyNotes    = "school.notes"
	keyDoor     = "school.door"
	keyFeel     = "school.feel"
	keyZone     = "school.zone"
	keyAddress  = "school.address"
	keyLang     = "school.lang"
	keyCountry  = "school.country"
	keyClock    = "school.clock"
)

// School returns the school's own words; the zero School before it is set up.
func (a *App) School(ctx context.Context) (sc School, err error) {
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		sc, err = schoolOf(tx)
		return err
	})
	return sc, err
}

func schoolOf(tx *store.Tx) (sc School, err error) {
	for key, to := range map[string]*string{keySchool: &sc.Name, keyPlace: &sc.Place, keyCautions: &sc.Cautions, keySafety: &sc.Safety, keyNotes: &sc.Notes, keyDoor: &sc.Door, keyFeel: &sc.Feel, keyZone: &sc.Zone, keyAddress: &sc.Address, keyLang: &sc.Lang, keyCountry: &sc.Country, keyClock: &sc.Clock} {
		v, _, err := tx.Setting(key)
		if err != nil {
			return sc, err
		}
		*to = v
	}
	return sc, nil
}

// EditSchool changes the school's own words.
func (a *App) EditSchool(ctx context.Context, who Actor, sc School) error {
	sc.Name = strings.TrimSpace(sc.Name)
	if sc.Name == "" || utf8.RuneCountInString(sc.Name) > 120 {
		return invalid("school", "write its name in at most 120 characters", "the school has no name that can be used")
	}
	if sc.Zone = strings.TrimSpace(sc.Zone); sc.Zone != "" {
		if z, err := time.LoadLocation(sc.Zone); err != nil || z == time.Local {
			return invalid("zone", "write a name such as Europe/London, or leave it empty", "there is no time zone %q", sc.Zone)
		}
	}
	if sc.Lang = strings.TrimSpace(sc.Lang); sc.Lang != "" && string(words.Pick(sc.Lang, "")) != sc.Lang {
		return invalid("lang", "choose one of the list", "there is no language %q here", sc.Lang)
	}
	if sc.Country = strings.ToUpper(strings.TrimSpace(sc.Country)); sc.Country != "" && !words.KnownCountry(sc.Country) {
		return invalid("country", "write its two letters, such as GB, US or ES, or leave it empty", "there is no country %q", sc.Country)
	}
	if sc.Clock != "" && sc.Clock != "24" && sc.Clock != "12" {
		return invalid("clock", "choose one of the list", "there is no clock %q", sc.Clock)
	}
	if sc.Address = strings.TrimRight(strings.TrimSpace(sc.Address), "/"); sc.Address != "" {
		u, err := url.Parse(sc.Address)
		if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.User != nil || u.Path != "" || u.RawQuery != "" || u.Fragment != "" {
			return invalid("address", "write it such as https://gradings.example.org, or leave it empty", "%q is not the address of a server", sc.Address)
		}
	}
	return a.do(ctx, who, EditSchool, on{kind: "school"}, func(tx *store.Tx) (any, error) {
		return sc, putSchool(tx, sc)
	})
}

func putSchool(tx *store.Tx, sc School) error {
	for _, kv := range [][2]string{{keySchool, sc.Name}, {keyPlace, sc.Place}, {keyCautions, sc.Cautions}, {keySafety, sc.Safety}, {keyNotes, sc.Notes}, {keyDoor, sc.Door}, {keyFeel, sc.Feel}, {keyZone, sc.Zone}, {keyAddress, sc.Address}, {keyLang, sc.Lang}, {keyCountry, sc.Country}, {keyClock, sc.Clock}} {
		if err := tx.SetSetting(kv[0], strings.TrimSpace(kv[1])); err != nil {
			return err
		}
	}
	return nil
}

func invalid(field, do, say string, args ...any) *rankwright.Fault {
	f := rankwright.Faultf(rankwright.Invalid, "bad_"+field, do, say, args...)
	f.Where.Name = field
	return f
}

// Setup makes the one-time secret with which the first person becomes the
// owner. Where there is an owner already, needed is false. Each call makes a
// new secret and ends the one before.
func (a *App) Setup(ctx context.Context) (secret string, needed bool, err error) {
	secret, err = a.secret(20)
	if err != nil {
		return "", false, err
	}
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		people, err := tx.People()
		if err != nil {
			return err
		}
		for _, p := range people {
			if p.Role == string(Owner) && p.Active {
				return nil
			}
		}
		needed = true
		if err := tx.EndTokens("setup"); err != nil {
			return err
		}
		return tx.AddToken(store.Token{Hash: hashOf(secret), Purpose: "setup", Created: a.moment(),
			Expires: a.moment() + store.Moment((7 * 24 * time.Hour).Milliseconds())})
	})
	return secret, needed, err
}

// FinishSetup makes the owner and names the school. The secret works once.
func (a *App) FinishSetup(ctx context.Context, secret string, sc School, name, password string) (Actor, error) {
	name, err := checkName(name)
	if err != nil {
		return Actor{}, err
	}
	if strings.TrimSpace(sc.Name) == "" {
		return Actor{}, invalid("school", "write the name that families know", "the school has no name yet")
	}
	encoded, err := a.encode(password)
	if err != nil {
		return Actor{}, err
	}
	id, err := a.newID("p")
	if err != nil {
		return Actor{}, err
	}
	who := Actor{ID: id, Name: name, Role: Owner, stamp: stampOf(encoded)}
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		t, err := tx.Token(hashOf(secret))
		if err != nil || t.Purpose != "setup" {
			return ended(err)
		}
		if _, err := tx.UseToken(t.Hash, a.moment()); err != nil {
			return err
		}
		if err := tx.PutPerson(store.Person{ID: id, Name: name, Role: string(Owner), PasswordHash: encoded, Active: true, Created: a.moment()}); err != nil {
			return err
		}
		if err := putSchool(tx, sc); err != nil {
			return err
		}
		return a.note(tx, who, EditSchool, on{kind: "school"}, true, map[string]string{"what": "first start"})
	})
	return who, err
}

func ended(err error) error {
	if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
		return err
	}
	return rankwright.Faultf(rankwright.NotFound, "link_ended", "ask for a new one", "this link has ended or was used already")
}

// CheckToken says for whom a one-time link is, without using it up.
func (a *App) CheckToken(ctx context.Context, purpose, secret string) (name string, err error) {
	err = a.st.Read(ctx, func(tx *store.Tx) error {
		t, err := tx.Token(hashOf(secret))
		if err != nil || t.Purpose != purpose || t.Used != 0 || t.Expires < a.moment() {
			return ended(err)
		}
		if t.Person != "" {
			p, err := tx.Person(t.Person)
			if err != nil {
				return err
			}
			name = p.Name
		}
		return nil
	})
	return name, err
}

func checkName(name string) (string, error) {
	name = strings.Join(strings.Fields(name), " ")
	if name == "" || utf8.RuneCountInString(name) > 80 {
		return "", invalid("name", "write a name of at most 80 characters", "that name cannot be used")
	}
	return name, nil
}

// Invite makes a person and the one-time secret of their invitation.
func (a *App) Invite(ctx context.Context, who Actor, name string, role Role, highest rankwright.RankID) (secret string, err error) {
	if name, err = checkName(name); err != nil {
		return "", err
	}
	if role != Instructor && role != Examiner && role != Assistant && role != Owner {
		return "", invalid("role", "choose one of the roles", "there is no role %q", role)
	}
	id, err := a.newID("p")
	if err != nil {
		return "", err
	}
	if secret, err = a.secret(20); err != nil {
		return "", err
	}
	err = a.do(ctx, who, ManagePeople, on{kind: "person", id: id}, func(tx *store.Tx) (any, error) {
		if err := tx.PutPerson(store.Person{ID: id, Name: name, Role: string(role), HighestRank: string(highest), Active: true, Created: a.moment()}); err != nil {
			return nil, err
		}
		return map[string]string{"role": string(role)}, tx.AddToken(store.Token{Hash: hashOf(secret), Purpose: "invitation", Person: id,
			Created: a.moment(), Expires: a.moment() + store.Moment((7 * 24 * time.Hour).Milliseconds())})
	})
	return secret, err
}

// Reinvite makes a new link for somebody who lost theirs or their password.
func (a *App) Reinvite(ctx context.Context, who Actor, id string) (secret string, err error) {
	if secret, err = a.secret(20); err != nil {
		return "", err
	}
	err = a.do(ctx, who, ManagePeople, on{kind: "person", id: id}, func(tx *store.Tx) (any, error) {
		if _, err := tx.Person(id); err != nil {
			return nil, err
		}
		if err := tx.EndTokensOf(id); err != nil { // a lost link is worth nothing from now on
			return nil, err
		}
		return map[string]string{"what": "new link"}, tx.AddToken(store.Token{Hash: hashOf(secret), Purpose: "invitation", Person: id,
			Created: a.moment(), Expires: a.moment() + store.Moment((7 * 24 * time.Hour).Milliseconds())})
	})
	return secret, err
}

// Join sets the password of somebody who was invited. The secret works once.
func (a *App) Join(ctx context.Context, secret, password string) (Actor, error) {
	encoded, err := a.encode(password)
	if err != nil {
		return Actor{}, err
	}
	var who Actor
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		t, err := tx.Token(hashOf(secret))
		if err != nil || t.Purpose != "invitation" {
			return ended(err)
		}
		if _, err := tx.UseToken(t.Hash, a.moment()); err != nil {
			return err
		}
		p, err := tx.Person(t.Person)
		if err != nil {
			return err
		}
		if !p.Active {
			return ended(nil)
		}
		if err := tx.EndTokensOf(p.ID); err != nil {
			return err
		}
		p.PasswordHash = encoded
		who = Actor{ID: p.ID, Name: p.Name, Role: Role(p.Role), stamp: stampOf(encoded)}
		if err := tx.PutPerson(p); err != nil {
			return err
		}
		return a.note(tx, who, ManagePeople, on{kind: "person", id: p.ID}, true, map[string]string{"what": "joined"})
	})
	return who, err
}

// People lists everybody who can sign in, or could.
func (a *App) People(ctx context.Context, who Actor) (people []store.Person, err error) {
	err = a.see(ctx, who, ManagePeople, on{kind: "people"}, func(tx *store.Tx) error {
		people, err = tx.People()
		return err
	})
	return people, err
}

// SetActive lets somebody in again, or keeps them out from now on.
func (a *App) SetActive(ctx context.Context, who Actor, id string, active bool) error {
	if id == who.ID {
		return rankwright.Faultf(rankwright.Conflict, "own_account", "let another head instructor do it", "nobody can shut out themselves")
	}
	return a.do(ctx, who, ManagePeople, on{kind: "person", id: id}, func(tx *store.Tx) (any, error) {
		p, err := tx.Person(id)
		if err != nil {
			return nil, err
		}
		p.Active = active
		if !active {
			if err := tx.EndTokensOf(id); err != nil {
				return nil, err
			}
		}
		return map[string]bool{"active": active}, tx.PutPerson(p)
	})
}

// Recall returns the actor behind a session, if they may still sign in and
// have the password with which the session began.
func (a *App) Recall(ctx context.Context, id, stamp string) (who Actor, ok bool, err error) {
	if id == "" {
		return Actor{}, false, nil
	}
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		p, err := tx.Person(id)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			return nil
		}
		if err != nil {
			return err
		}
		if p.Active && stampOf(p.PasswordHash) == stamp {
			who, ok = Actor{ID: p.ID, Name: p.Name, Role: Role(p.Role), stamp: stamp}, true
		}
		return nil
	})
	return who, ok, err
}

// SignIn checks a name and password. After ten wrong tries of one name it
// answers no for a quarter of an hour, whatever the password.
func (a *App) SignIn(ctx context.Context, name, password string) (Actor, error) {
	wrong := rankwright.Faultf(rankwright.Invalid, "wrong_password", "check both; the head instructor can send a new link", "that name and password do not go together")
	key := strings.ToLower(strings.Join(strings.Fields(name), " "))
	if !a.tries.take(key, a.now()) {
		return Actor{}, rankwright.Faultf(rankwright.Forbidden, "too_many_tries", "wait a quarter of an hour, or ask the head instructor for a new link", "there were too many wrong tries for this name")
	}
	var p store.Person
	err := a.st.Read(ctx, func(tx *store.Tx) (err error) {
		p, err = tx.PersonByName(name)
		return err
	})
	if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
		return Actor{}, err
	}
	// An unknown name takes as long as a wrong password.
	ok, herr := a.matches(ctx, p.PasswordHash, password)
	if herr != nil {
		return Actor{}, herr
	}
	if err != nil || !ok || !p.Active {
		return Actor{}, wrong
	}
	a.tries.clear(key)
	return Actor{ID: p.ID, Name: p.Name, Role: Role(p.Role), stamp: stampOf(p.PasswordHash)}, nil
}

// The cost of a password hash (Biryukov, Dinu, Khovratovich 2016; RFC 9106):
// two passes over 19 MiB, the least that OWASP's storage sheet names.
const (
	argonTime    = 2
	argonMemory  = 19 * 1024
	argonThreads = 1
	argonKey     = 32
	leastLetters = 10
)

func (a *App) encode(password string) (string, error) {
	n := utf8.RuneCountInString(password)
	if n < leastLetters || n > 200 {
		return "", invalid("password", "use three or four words that nobody would guess", "the password has %d characters; it needs %d to 200", n, leastLetters)
	}
	return a.sealed(password)
}

// sealed hashes a password or a PIN with a salt of its own.
func (a *App) sealed(password string) (string, error) {
	salt := make([]byte, 16)
	if _, err := a.rand.Read(salt); err != nil {
		return "", err
	}
	a.hash <- struct{}{}
	defer func() { <-a.hash }()
	key := argon2.IDKey([]byte(password), salt, argonTime, a.hashMemory, argonThreads, argonKey)
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, a.hashMemory, argonTime, argonThreads,
		base64.RawStdEncoding.EncodeToString(salt), base64.RawStdEncoding.EncodeToString(key)), nil
}

var nobody = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

func (a *App) matches(ctx context.Context, encoded, password string) (bool, error) {
	real := encoded != ""
	if !real {
		encoded = nobody
	}
	var version, memory, passes, threads int
	parts := strings.Split(encoded, "$")
	if len(parts) != 6 {
		return false, fmt.Errorf("stored password has an unknown form")
	}
	if _, err := fmt.Sscanf(parts[2]+" "+parts[3], "v=%d m=%d,t=%d,p=%d", &version, &memory, &passes, &threads); err != nil {
		return false, fmt.Errorf("stored password has an unknown form: %w", err)
	}
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return false, err
	}
	want, err := base64.RawStdEncoding.DecodeString(parts[5])
	if err != nil {
		return false, err
	}
	select {
	case a.hash <- struct{}{}:
	case <-ctx.Done():
		return false, ctx.Err()
	}
	defer func() { <-a.hash }()
	key := argon2.IDKey([]byte(password), salt, uint32(passes), uint32(memory), uint8(threads), uint32(len(want)))
	return subtle.ConstantTimeCompare(key, want) == 1 && real, nil
}

// attempts counts tries by name since the last right one.
type attempts struct {
	mu   sync.Mutex
	list map[string][]time.Time
}

func newAttempts() *attempts { return &attempts{list: map[string][]time.Time{}} }

// take counts a try before it is made, so that many at once are as many, and
// says whether it may be made. A right password clears the count.
func (t *attempts) take(key string, now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	recent := t.list[key][:0]
	for _, at := range t.list[key] {
		if now.Sub(at) < 15*time.Minute {
			recent = append(recent, at)
		}
	}
	if len(recent) >= 10 {
		t.list[key] = recent
		return false
	}
	if len(t.list) > 10000 { // a flood of invented names must not fill the memory
		clear(t.list)
	}
	t.list[key] = append(recent, now)
	return true
}

func (t *attempts) clear(key string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.list, key)
}

// Examiners lists the people who could be on a panel, without their secrets.
func (a *App) Examiners(ctx context.Context, who Actor) (out []Person, err error) {
	err = a.see(ctx, who, PlanGrading, on{kind: "people"}, func(tx *store.Tx) error {
		people, err := tx.People()
		for _, p := range people {
			if p.Active && Role(p.Role).May(GiveMarks) {
				p.PasswordHash = ""
				out = append(out, p)
			}
		}
		return err
	})
	return out, err
}

// Relink makes a new one-time link for somebody by name: the way back in for a
// head instructor who lost the password, from the school's own machine.
func (a *App) Relink(ctx context.Context, who Actor, name string) (secret string, err error) {
	people, err := a.People(ctx, who)
	if err != nil {
		return "", err
	}
	var names []string
	for _, p := range people {
		if p.Active && strings.EqualFold(p.Name, strings.Join(strings.Fields(name), " ")) {
			return a.Reinvite(ctx, who, p.ID)
		}
		if p.Active {
			names = append(names, p.Name)
		}
	}
	return "", rankwright.Faultf(rankwright.NotFound, "no_person", "use one of: "+strings.Join(names, ", "), "nobody who may sign in is called %q", name)
}
