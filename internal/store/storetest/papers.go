package storetest

import (
	"testing"

	"rankwright"
	"rankwright/internal/store"
)

func paperFiles(t *testing.T, b Base) {
	of := func(kind string) []store.PaperFile {
		return read(t, b, func(tx *store.Tx) ([]store.PaperFile, error) { return tx.PaperFiles(kind) })
	}
	put := func(f store.PaperFile) store.PaperFile {
		write(t, b, func(tx *store.Tx) (err error) {
			f, err = tx.PutPaperFile(f)
			return err
		})
		return f
	}
	same(t, len(of("")), 0)
	put(store.PaperFile{Kind: "logo", Name: "old.png", Media: "image/png", Data: []byte{1, 0, 2}, At: 3})
	logo := put(store.PaperFile{Kind: "logo", Name: "otter.png", Media: "image/png", Data: []byte{0, 255, 7}, At: 4})
	ines := put(store.PaperFile{Kind: "signature", Owner: "p1", Name: "ines.png", Media: "image/png", Data: []byte("b"), At: 5})
	full(t, ines)
	same(t, of(""), []store.PaperFile{logo, ines})
	same(t, of("logo"), []store.PaperFile{logo})
	for range 2 {
		write(t, b, func(tx *store.Tx) error { return tx.DropPaperFile("logo", "") })
	}
	same(t, of(""), []store.PaperFile{ines})
}

func stock(t *testing.T, b Base) {
	all := func() []store.StockLine { return read(t, b, (*store.Tx).Stock) }
	put := func(l store.StockLine) {
		write(t, b, func(tx *store.Tx) error { return tx.PutStock(l) })
	}
	amber := store.StockLine{Kind: "belt", Item: "amber", Size: "220", Shelf: 3, Coming: 2}
	full(t, amber)
	put(store.StockLine{Kind: "shirt", Size: "M", Coming: 1})
	put(store.StockLine{Kind: "belt", Item: "amber", Size: "220", Shelf: 9})
	put(amber)
	same(t, all(), []store.StockLine{amber, {Kind: "shirt", Size: "M", Coming: 1}})
	put(store.StockLine{Kind: "shirt", Size: "M"})
	same(t, all(), []store.StockLine{amber})
	refused(t, b, rankwright.Invalid, "unfit", func(tx *store.Tx) error {
		return tx.PutStock(store.StockLine{Kind: "belt", Item: "amber", Size: "220", Shelf: -1, Coming: 2})
	})
	same(t, all(), []store.StockLine{amber})
}

func handedOut(t *testing.T, b Base) {
	fill(t, b)
	one := store.HandedOut{Entry: "e1", Kind: "belt", Item: "amber", Size: "220", Taken: true, By: "p1", At: 9}
	two := store.HandedOut{Entry: "e1", Kind: "shirt", Size: "M", By: "p1", At: 10}
	full(t, one)
	for _, h := range []store.HandedOut{two, one} {
		write(t, b, func(tx *store.Tx) error { return tx.AddHandedOut(h) })
	}
	refused(t, b, rankwright.Conflict, "handed_out", func(tx *store.Tx) error { return tx.AddHandedOut(one) })
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		return tx.AddHandedOut(store.HandedOut{Entry: "e404", Kind: "belt"})
	})
	of := func(g rankwright.GradingID) []store.HandedOut {
		return read(t, b, func(tx *store.Tx) ([]store.HandedOut, error) { return tx.HandedOuts(g) })
	}
	same(t, of(""), []store.HandedOut{one, two})
	same(t, of(grading), []store.HandedOut{one, two})
	same(t, len(of("g404")), 0)
	same(t, read(t, b, func(tx *store.Tx) ([]store.HandedOut, error) { return tx.HandedOutOf("e1") }), []store.HandedOut{one, two})
	for i := range 2 {
		was := false
		write(t, b, func(tx *store.Tx) (err error) {
			was, err = tx.DropHandedOut("e1", "shirt")
			return err
		})
		same(t, was, i == 0)
	}
	same(t, of(""), []store.HandedOut{one})
	write(t, b, func(tx *store.Tx) error { return tx.EraseStudent("s1", 60) })
	same(t, len(of("")), 0)
}
