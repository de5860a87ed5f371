package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
)

func pins(t *testing.T, b Base) {
	fill(t, b)
	p := store.PIN{Grading: grading, Person: "p1", Hash: "$argon2id$…", Tries: 2, At: 9}
	full(t, p)
	get := func(tx *store.Tx) (store.PIN, error) { return tx.PIN(grading, "p1") }
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := get(tx); return err })
	write(t, b, func(tx *store.Tx) error { return tx.PutPIN(p) })
	same(t, read(t, b, get), p)
	p.Hash, p.Tries, p.At = "$argon2id$other", 0, 10
	write(t, b, func(tx *store.Tx) error { return tx.PutPIN(p) })
	same(t, read(t, b, func(tx *store.Tx) ([]store.PIN, error) { return tx.PINs(grading) }), []store.PIN{p})
}

func paired(t *testing.T, b Base) {
	fill(t, b)
	d := store.Device{ID: "d-1", Grading: grading, Person: "p1", Name: "Tablet", Paired: 20, Until: 90, Seen: 21, Unsent: 3, Ended: 40, EndedBy: "p1"}
	full(t, d)
	get := func(tx *store.Tx) (store.Device, error) { return tx.Device("d-1") }
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { _, err := get(tx); return err })
	write(t, b, func(tx *store.Tx) error { return tx.PutDevice(d) })
	same(t, read(t, b, get), d)
	write(t, b, func(tx *store.Tx) error { return tx.SawDevice("d-1", 50, 0) })
	same(t, read(t, b, get), d) // it has ended
	early := store.Device{ID: "d-2", Grading: grading, Person: "p1", Name: "Phone", Paired: 10, Until: 90}
	write(t, b, func(tx *store.Tx) error { return tx.PutDevice(early) })
	write(t, b, func(tx *store.Tx) error { return tx.SawDevice("d-2", 50, 7) })
	early.Seen, early.Unsent = 50, 7
	same(t, read(t, b, func(tx *store.Tx) ([]store.Device, error) { return tx.Devices(grading) }), []store.Device{early, d})
}

func arrivals(t *testing.T, b Base) {
	fill(t, b)
	a, k := store.Arrival{Entry: "e1", At: 30, Late: true, By: "p1"}, store.DoorTick{Entry: "e1", Line: "Hands are clean", At: 31, By: "p1"}
	full(t, a)
	full(t, k)
	write(t, b, func(tx *store.Tx) error { return tx.PutArrival(a) })
	write(t, b, func(tx *store.Tx) error { return tx.SetDoorTick(k, true) })
	again := k
	again.At = 99 // ticked twice is ticked once
	write(t, b, func(tx *store.Tx) error { return tx.SetDoorTick(again, true) })
	came := func(tx *store.Tx) ([]store.Arrival, error) { return tx.Arrivals(grading) }
	ticks := func(tx *store.Tx) ([]store.DoorTick, error) { return tx.DoorTicks(grading) }
	same(t, read(t, b, came), []store.Arrival{a})
	same(t, read(t, b, ticks), []store.DoorTick{k})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.PutArrival(store.Arrival{Entry: "e404", At: 1}) })
	write(t, b, func(tx *store.Tx) error { return tx.SetDoorTick(k, false) })
	same(t, len(read(t, b, ticks)), 0)
	write(t, b, func(tx *store.Tx) error { return tx.SetDoorTick(k, true) })
	write(t, b, func(tx *store.Tx) error { return tx.RemoveEntry("e1") }) // takes both along
	same(t, len(read(t, b, ticks))+len(read(t, b, came)), 0)
}
