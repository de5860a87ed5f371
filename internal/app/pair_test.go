package app_test

import (
	"strings"
	"sync"
	"testing"

	"rankwright/internal/app"
)

// Forty tries at once are five tries: each is counted before it is looked at.
func TestManyTriesAtOnceAreNoWayRoundTheLimit(t *testing.T) {
	d := newDay(t)
	code, err := d.App.ShowCode(d.Ctx(), d.Owner, d.g)
	d.must(err)
	_, err = d.App.SetPIN(d.Ctx(), d.Owner, d.g, d.anahera.ID, "4821")
	d.must(err)
	var wg sync.WaitGroup
	for range 40 {
		wg.Go(func() {
			if _, err := d.App.Pair(d.Ctx(), code.Secret, d.anahera.ID, "9999", "Tablet"); err == nil {
				t.Error("a wrong PIN pairs a device")
			}
		})
	}
	wg.Wait()
	lines, err := d.App.Audit(d.Ctx(), d.Owner, 0, 200)
	d.must(err)
	looked, locked := 0, 0
	for _, l := range lines {
		switch {
		case l.Act != string(app.PairDevices) || l.Allowed:
		case strings.Contains(l.Detail, "wrong_pin"):
			looked++
		case strings.Contains(l.Detail, "pin_locked"):
			locked++
		}
	}
	if looked != 5 || locked != 35 {
		t.Errorf("%d PINs were looked at and %d found the lock, want 5 and 35", looked, locked)
	}
	if _, err := d.App.Pair(d.Ctx(), code.Secret, d.anahera.ID, "4821", "Tablet"); err == nil {
		t.Error("the right PIN opens a lock")
	}
}

func TestASecondDeviceOfAKindIsNumbered(t *testing.T) {
	d := newDay(t)
	code, err := d.App.ShowCode(d.Ctx(), d.Owner, d.g)
	d.must(err)
	_, err = d.App.SetPIN(d.Ctx(), d.Owner, d.g, d.anahera.ID, "4821")
	d.must(err)
	for _, name := range []string{"iPad", "iPhone", "iPad", "", strings.Repeat("x", 41), "iPad"} {
		_, err := d.App.Pair(d.Ctx(), code.Secret, d.anahera.ID, "4821", name)
		d.must(err)
	}
	v, err := d.App.Pairing(d.Ctx(), d.Owner, d.g)
	d.must(err)
	count := map[string]bool{}
	for _, x := range v.Devices {
		count[x.Name] = true
	}
	for _, want := range []string{"iPad", "iPad 2", "iPad 3", "iPhone", "Device", "Device 2"} {
		if !count[want] {
			t.Errorf("no device is called %q: %v", want, count)
		}
	}
}

// An examiner who leaves the panel leaves the mat.
func TestAPairingEndsWithThePanel(t *testing.T) {
	d := newDay(t)
	code, err := d.App.ShowCode(d.Ctx(), d.Owner, d.g)
	d.must(err)
	_, err = d.App.SetPIN(d.Ctx(), d.Owner, d.g, d.anahera.ID, "4821")
	d.must(err)
	who, err := d.App.Pair(d.Ctx(), code.Secret, d.anahera.ID, "4821", "iPad")
	d.must(err)
	if _, ok, err := d.App.RecallDevice(d.Ctx(), who.Device); err != nil || !ok {
		t.Fatalf("paired, and not known: %v", err)
	}
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, d.g, []string{d.Owner.ID}, d.Owner.ID))
	if _, ok, _ := d.App.RecallDevice(d.Ctx(), who.Device); ok {
		t.Error("off the panel, and still on the mat")
	}
}
