package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/roster"
)

func stations(t *testing.T, b Base) {
	fill(t, b)
	all := func(tx *store.Tx) ([]store.Station, error) { return tx.Stations(grading) }
	same(t, len(read(t, b, all)), 0)
	falls := store.Station{Name: "Mats at the wall", Sections: []rankwright.SectionID{"BF", "GU"}, Minutes: 9, Examiners: 2, People: []string{"p1"}, Note: "Crash mat."}
	full(t, falls)
	hands := store.Station{Name: "Hands", Sections: []rankwright.SectionID{"HA"}}
	for _, list := range [][]store.Station{{falls, hands}, {hands, falls}, {hands}, nil} {
		write(t, b, func(tx *store.Tx) error { return tx.PutStations(grading, list) })
		same(t, read(t, b, all), list)
	}
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error { return tx.PutStations("g404", []store.Station{hands}) })
	refused(t, b, rankwright.Invalid, "unfit", func(tx *store.Tx) error { return tx.PutStations(grading, []store.Station{{}}) })
}

func offTheDoor(t *testing.T, b Base) {
	fill(t, b)
	write(t, b, func(tx *store.Tx) error { return tx.PutStudents([]roster.Student{{ID: "s1"}, {ID: "s2"}}, 8) })
	one, two := store.OffTheDoor{Student: "s1", By: "p1", At: 30}, store.OffTheDoor{Student: "s2", By: "k1", At: 31}
	full(t, one)
	all := (*store.Tx).OffTheDoor
	for _, x := range []store.OffTheDoor{two, one, {Student: "s1", By: "p2", At: 40}} { // who said it first stands
		write(t, b, func(tx *store.Tx) error { return tx.SetOffTheDoor(x, true) })
	}
	same(t, read(t, b, all), []store.OffTheDoor{one, two})
	write(t, b, func(tx *store.Tx) error { return tx.SetOffTheDoor(one, false) })
	write(t, b, func(tx *store.Tx) error { return tx.SetOffTheDoor(one, false) })
	same(t, read(t, b, all), []store.OffTheDoor{two})
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.SetOffTheDoor(store.OffTheDoor{Student: "s404"}, true)
	})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s2", 60) })
	same(t, len(read(t, b, all)), 0)
}
