package app

import (
	"context"
	"crypto/rand"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
)

const (
	// codeLasts is how long the code that is shown in the hall works.
	codeLasts = 12 * time.Hour
	// pairingLasts is the day of the grading and a night for marks that come
	// in late.
	pairingLasts = 36 * time.Hour
	// wrongPINs lock a PIN until the desk frees it.
	wrongPINs = 5
	// saidSeen is how long a device may go on reporting before it is written
	// down again that it was seen.
	saidSeen = 30 * time.Second
)

// Code is what a device reads to be paired for a grading. Of the secret only
// the hash is kept in the base; the words live in memory, so that after a
// restart of the program the desk shows a new code.
type Code struct {
	Secret string
	Until  time.Time
}

// codes are the pairing codes in force, by grading.
type codes struct {
	mu sync.Mutex
	of map[rankwright.GradingID]Code
}

// PairView is what the desk sees of a grading's devices.
type PairView struct {
	Code    *Code // nil where none is in force
	PINs    map[string]PINState
	Devices []DeviceView
}

// PINState says how the PIN of an examiner stands.
type PINState struct {
	Set    bool
	Locked bool
}

// DeviceView is a device with whose it is and what is known of it now.
type DeviceView struct {
	store.Device
	Examiner string
	ClockOff int64 // milliseconds by which its clock is ahead; 0 is near enough, or not known
}

func pairPurpose(id rankwright.GradingID) string { return "pairing " + string(id) }

// ShowCode makes a new pairing code for a grading. The one before ends;
// devices that are paired stay so.
func (a *App) ShowCode(ctx context.Context, who Actor, id rankwright.GradingID) (Code, error) {
	secret, err := a.secret(16)
	if err != nil {
		return Code{}, err
	}
	c := Code{Secret: secret, Until: a.now().Add(codeLasts)}
	err = a.do(ctx, who, PairDevices, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		if err := tx.EndTokens(pairPurpose(id)); err != nil {
			return nil, err
		}
		return map[string]string{"what": "new code"}, tx.AddToken(store.Token{Hash: hashOf(secret), Purpose: pairPurpose(id), Created: a.moment(), Expires: store.At(c.Until)})
	})
	if err != nil {
		return Code{}, err
	}
	a.codes.mu.Lock()
	defer a.codes.mu.Unlock()
	a.codes.of[id] = c
	return c, nil
}

// Pairing returns the code, PINs and devices of a grading for the desk.
func (a *App) Pairing(ctx context.Context, who Actor, id rankwright.GradingID) (v PairView, err error) {
	err = a.see(ctx, who, PairDevices, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		pins, err := tx.PINs(id)
		if err != nil {
			return err
		}
		v.PINs = map[string]PINState{}
		for _, p := range pins {
			v.PINs[p.Person] = PINState{Set: true, Locked: p.Tries >= wrongPINs}
		}
		v.Devices, err = a.devices(tx, id)
		return err
	})
	a.codes.mu.Lock()
	defer a.codes.mu.Unlock()
	if c, ok := a.codes.of[id]; ok && a.now().Before(c.Until) {
		v.Code = &c
	}
	return v, err
}

// devices lists the paired devices of a grading, those in use first, with what
// was heard of them since it was last written down.
func (a *App) devices(tx *store.Tx, id rankwright.GradingID) ([]DeviceView, error) {
	list, err := tx.Devices(id)
	if err != nil {
		return nil, err
	}
	var out []DeviceView
	for _, d := range list {
		p, err := tx.Person(d.Person)
		if err != nil {
			return nil, err
		}
		h, ok := a.heard.of(string(d.ID))
		if ok && h.seen > d.Seen {
			d.Seen, d.Unsent = h.seen, h.unsent
		}
		out = append(out, DeviceView{d, p.Name, h.off})
	}
	slices.SortStableFunc(out, func(x, y DeviceView) int {
		switch {
		case (x.Ended == 0) == (y.Ended == 0):
			return 0
		case x.Ended == 0:
			return -1
		}
		return 1
	})
	return out, nil
}

// SetPIN sets the PIN of an examiner of the grading's panel, or draws one
// where pin is "", and returns it: it is kept as a hash and cannot be shown
// again. Wrong tries are forgotten.
func (a *App) SetPIN(ctx context.Context, who Actor, id rankwright.GradingID, person, pin string) (string, error) {
	if pin == "" {
		var err error
		if pin, err = a.drawPIN(); err != nil {
			return "", err
		}
	}
	if err := checkPIN(pin); err != nil {
		return "", err
	}
	hash, err := a.sealed(pin)
	if err != nil {
		return "", err
	}
	return pin, a.do(ctx, who, PairDevices, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		if err := onPanel(tx, id, person); err != nil {
			return nil, err
		}
		return map[string]string{"what": "PIN set", "examiner": person}, tx.PutPIN(store.PIN{Grading: id, Person: person, Hash: hash, At: a.moment()})
	})
}

// FreePIN forgets the wrong tries of an examiner's PIN.
func (a *App) FreePIN(ctx context.Context, who Actor, id rankwright.GradingID, person string) error {
	return a.do(ctx, who, PairDevices, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		p, err := tx.PIN(id, person)
		if err != nil {
			return nil, err
		}
		p.Tries = 0
		return map[string]string{"what": "PIN freed", "examiner": person}, tx.PutPIN(p)
	})
}

func onPanel(tx *store.Tx, id rankwright.GradingID, person string) error {
	panel, err := tx.Examiners(id)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(panel, func(x store.Examiner) bool { return x.Person == person }) {
		return invalid("person", "choose one of the examiners of this grading", "only an examiner of the grading has a PIN")
	}
	return nil
}

func checkPIN(pin string) error {
	if n := len(pin); n < 4 || n > 6 || strings.Trim(pin, "0123456789") != "" {
		return invalid("pin", "use four to six digits", "that is no PIN that can be used")
	}
	same, up, down := true, true, true
	for i := 1; i < len(pin); i++ {
		same, up, down = same && pin[i] == pin[0], up && pin[i] == pin[i-1]+1, down && pin[i] == pin[i-1]-1
	}
	if same || up || down {
		return invalid("pin", "mix the digits", "that PIN is the first that anybody would try")
	}
	return nil
}

func (a *App) drawPIN() (string, error) {
	for {
		n, err := rand.Int(a.rand, big.NewInt(10_000))
		if err != nil {
			return "", err
		}
		if pin := fmt.Sprintf("%04d", n); checkPIN(pin) == nil {
			return pin, nil
		}
	}
}

// Door is what somebody sees who opens a pairing code: which grading it is,
// and the names of its examiners.
type Door struct {
	Grading rankwright.GradingID
	Title   string
	Panel   []ExaminerView
}

// OpenDoor reads a pairing code. It changes nothing.
func (a *App) OpenDoor(ctx context.Context, secret string) (d Door, err error) {
	err = a.st.Read(ctx, func(tx *store.Tx) (err error) {
		d, err = a.door(tx, secret)
		return err
	})
	return d, err
}

func (a *App) door(tx *store.Tx, secret string) (d Door, err error) {
	t, err := tx.Token(hashOf(secret))
	id, ours := strings.CutPrefix(t.Purpose, "pairing ")
	if err != nil || !ours || t.Expires < a.moment() {
		if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
			return d, err
		}
		return d, rankwright.Faultf(rankwright.NotFound, "code_ended", "ask the desk to show the code again", "this code is not the one in force any more")
	}
	v, err := a.grading(tx, rankwright.GradingID(id))
	if err != nil {
		return d, err
	}
	if State(v.State) == Closed {
		return d, rankwright.Faultf(rankwright.NotFound, "code_ended", "nothing is left to mark", "this grading is closed")
	}
	return Door{Grading: v.ID, Title: v.Title, Panel: v.Panel}, nil
}

// Pair pairs a device with an examiner by the code that is shown and the
// examiner's PIN. After five wrong PINs of one examiner the PIN is locked,
// whatever comes next, until the desk frees it.
func (a *App) Pair(ctx context.Context, secret, person, pin, name string) (Actor, error) {
	var p store.PIN
	var d Door
	var who Actor
	wrong := func(code, do, say string) error {
		f := rankwright.Faultf(rankwright.Invalid, code, do, "%s", say)
		f.Where.Name = "pin"
		return f
	}
	var refused error
	// A try is counted before it is looked at, so that many at once are no
	// way round the limit.
	err := a.st.Write(ctx, func(tx *store.Tx) (err error) {
		if d, err = a.door(tx, secret); err != nil {
			return err
		}
		at := slices.IndexFunc(d.Panel, func(x ExaminerView) bool { return x.Person == person })
		if at < 0 {
			return invalid("person", "choose your name", "nobody was chosen")
		}
		who = Actor{ID: person, Name: d.Panel[at].Name, Role: Examiner, Only: d.Grading}
		p, err = tx.PIN(d.Grading, person)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			refused = wrong("no_pin", "ask the desk for one", "there is no PIN for you yet")
			return nil
		}
		if err != nil {
			return err
		}
		if p.Tries >= wrongPINs {
			refused = wrong("pin_locked", "ask the desk to free it or to give you a new one", "there were too many wrong PINs for this name")
			return a.note(tx, who, PairDevices, on{kind: "grading", id: string(d.Grading)}, false, map[string]string{"why": "pin_locked"})
		}
		p.Tries++
		return tx.PutPIN(p)
	})
	if err == nil {
		err = refused
	}
	if err != nil {
		return Actor{}, err
	}
	ok, err := a.matches(ctx, p.Hash, pin)
	if err != nil {
		return Actor{}, err
	}
	err = a.st.Write(ctx, func(tx *store.Tx) error {
		now, err := tx.PIN(d.Grading, person)
		if err != nil {
			return err
		}
		if !ok || now.Hash != p.Hash {
			left := wrongPINs - p.Tries
			say := fmt.Sprintf("that is not the PIN; %d more tries", left)
			switch left {
			case 0:
				say = "that is not the PIN, and it is locked now"
			case 1:
				say = "that is not the PIN; one more try"
			}
			refused = wrong("wrong_pin", "ask the desk if you do not know it", say)
			return a.note(tx, who, PairDevices, on{kind: "grading", id: string(d.Grading)}, false, map[string]any{"why": "wrong_pin", "tries": p.Tries})
		}
		x, err := tx.Person(person)
		if err != nil {
			return err
		}
		if !x.Active {
			refused = wrong("kept_out", "ask the desk", "you are kept out for now")
			return nil
		}
		now.Tries = 0
		if err := tx.PutPIN(now); err != nil {
			return err
		}
		id, err := a.newID("d")
		if err != nil {
			return err
		}
		who.Device = rankwright.DeviceID(id)
		name, err := a.deviceName(tx, d.Grading, name)
		if err != nil {
			return err
		}
		err = tx.PutDevice(store.Device{ID: who.Device, Grading: d.Grading, Person: person, Name: name, Paired: a.moment(), Seen: a.moment(),
			Until: a.moment() + store.Moment(pairingLasts.Milliseconds())})
		if err != nil {
			return err
		}
		return a.note(tx, who, PairDevices, on{kind: "grading", id: string(d.Grading)}, true, map[string]string{"what": "paired", "name": name})
	})
	if err == nil {
		err = refused
	}
	if err != nil {
		return Actor{}, err
	}
	a.tell(d.Grading, News{Kind: "device"})
	return who, nil
}

// deviceName numbers devices of one kind: Android phone, Android phone 2.
func (a *App) deviceName(tx *store.Tx, id rankwright.GradingID, name string) (string, error) {
	if name = strings.Join(strings.Fields(name), " "); name == "" || utf8.RuneCountInString(name) > 40 {
		name = "Device"
	}
	list, err := tx.Devices(id)
	if err != nil {
		return "", err
	}
	n := 1
	for _, d := range list {
		if d.Name == name || strings.HasPrefix(d.Name, name+" ") && strings.Trim(d.Name[len(name)+1:], "0123456789") == "" {
			n++
		}
	}
	if n > 1 {
		name = fmt.Sprintf("%s %d", name, n)
	}
	return name, nil
}

// RecallDevice returns the examiner behind a paired device, if the pairing
// still holds.
func (a *App) RecallDevice(ctx context.Context, id rankwright.DeviceID) (who Actor, ok bool, err error) {
	err = a.st.Peek(ctx, func(tx *store.Tx) error {
		d, err := tx.Device(id)
		if rankwright.KindOf(err) == rankwright.NotFound && err != nil {
			return nil
		}
		if err != nil {
			return err
		}
		p, err := tx.Person(d.Person)
		if err != nil || d.Ended != 0 || d.Until < a.moment() || !p.Active {
			return err
		}
		if onPanel(tx, d.Grading, d.Person) != nil {
			return nil
		}
		who, ok = Actor{ID: p.ID, Name: p.Name, Role: Examiner, Only: d.Grading, Device: d.ID}, true
		return nil
	})
	return who, ok, err
}

// EndDevice throws a device out of its grading. What it has sent stays; what
// it has not sent stays on it, and is sent when it is paired again.
func (a *App) EndDevice(ctx context.Context, who Actor, grading rankwright.GradingID, id rankwright.DeviceID) error {
	return a.do(ctx, who, PairDevices, on{"grading", string(grading), grading}, func(tx *store.Tx) (any, error) {
		d, err := tx.Device(id)
		if err != nil {
			return nil, err
		}
		if d.Grading != grading {
			return nil, rankwright.Faultf(rankwright.NotFound, "not_found", "load the page again", "this device is not one of this grading")
		}
		return map[string]any{"what": "thrown out", "device": id, "unsent": d.Unsent}, a.end(tx, d, who.ID)
	})
}

// LeaveDevice ends the pairing of the device that asks for it.
func (a *App) LeaveDevice(ctx context.Context, who Actor) error {
	if who.Device == "" {
		return nil
	}
	return a.st.Write(ctx, func(tx *store.Tx) error {
		d, err := tx.Device(who.Device)
		if err != nil {
			return err
		}
		if err := a.end(tx, d, who.ID); err != nil {
			return err
		}
		return a.note(tx, who, PairDevices, on{kind: "grading", id: string(d.Grading)}, true, map[string]string{"what": "signed out"})
	})
}

func (a *App) end(tx *store.Tx, d store.Device, by string) error {
	if d.Ended != 0 {
		return nil
	}
	if h, ok := a.heard.of(string(d.ID)); ok && h.seen > d.Seen {
		d.Seen, d.Unsent = h.seen, h.unsent
	}
	d.Ended, d.EndedBy = a.moment(), by
	return tx.PutDevice(d)
}
