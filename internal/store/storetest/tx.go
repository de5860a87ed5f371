package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"

	"rankwright"
	"rankwright/internal/store"
)

func setting(t *testing.T, b Base, key string) string {
	t.Helper()
	return read(t, b, func(tx *store.Tx) (string, error) { v, _, err := tx.Setting(key); return v, err })
}

func rollback(t *testing.T, b Base) {
	stop := errors.New("stop")
	err := b.Write(context.Background(), func(tx *store.Tx) error {
		if err := tx.SetSetting("k", "v"); err != nil {
			return err
		}
		return stop
	})
	if !errors.Is(err, stop) {
		t.Errorf("got %v, want the function's own error", err)
	}
	same(t, setting(t, b, "k"), "")

	func() {
		defer func() { same(t, recover(), any("oh")) }()
		_ = b.Write(context.Background(), func(tx *store.Tx) error {
			if err := tx.SetSetting("k", "v"); err != nil {
				return err
			}
			panic("oh")
		})
		t.Error("the panic was swallowed")
	}()
	same(t, setting(t, b, "k"), "")
	write(t, b, func(tx *store.Tx) error { return tx.SetSetting("k", "w") }) // nobody holds the lock
	same(t, setting(t, b, "k"), "w")
}

func swallowed(t *testing.T, b Base) {
	fill(t, b)
	refused(t, b, rankwright.NotFound, "not_found", func(tx *store.Tx) error {
		if err := tx.SetSetting("k", "v"); err != nil {
			return err
		}
		return tx.AddClearance(store.ClearanceRecord{Entry: "e404", Clearance: "fee"})
	})
	err := b.Write(context.Background(), func(tx *store.Tx) error {
		_ = tx.AddClearance(store.ClearanceRecord{Entry: "e404", Clearance: "fee"})
		_ = tx.SetSetting("k", "v")
		return nil
	})
	if err == nil {
		t.Error("a transaction with a failed statement was committed")
	}
	same(t, setting(t, b, "k"), "")
}

func readOnly(t *testing.T, b Base) {
	if err := b.Read(context.Background(), func(tx *store.Tx) error { return tx.SetSetting("k", "v") }); err == nil {
		t.Error("a reading wrote")
	}
	same(t, setting(t, b, "k"), "")
}

func snapshot(t *testing.T, b Base) {
	write(t, b, func(tx *store.Tx) error { return tx.SetSetting("k", "old") })
	var first, second string
	if err := b.Read(context.Background(), func(tx *store.Tx) (err error) {
		if first, _, err = tx.Setting("k"); err != nil {
			return err
		}
		write(t, b, func(tx *store.Tx) error { return tx.SetSetting("k", "new") })
		second, _, err = tx.Setting("k")
		return err
	}); err != nil {
		t.Fatal(err)
	}
	same(t, []string{first, second, setting(t, b, "k")}, []string{"old", "old", "new"})
}

func writers(t *testing.T, b Base) {
	fill(t, b)
	const each = 10
	var wg sync.WaitGroup
	for d := range 2 {
		wg.Go(func() {
			for i := range each {
				id := fmt.Sprintf("d%d-%d", d, i)
				err := b.Write(context.Background(), func(tx *store.Tx) error {
					if _, err := tx.AppendAudit(store.AuditLine{Act: id}); err != nil {
						return err
					}
					_, err := tx.AppendMarks([]store.MarkRow{mark(rankwright.MarkID(id), rankwright.DeviceID(fmt.Sprint("d", d)), int64(i+1))})
					return err
				})
				if err != nil {
					t.Errorf("writer %d: %v", d, err)
				}
			}
		})
	}
	wg.Wait()
	for i, m := range marksOf(t, b, "e1") {
		same(t, m.Arrival, int64(i+1))
	}
	same(t, len(marksOf(t, b, "e1")), 2*each)
	same(t, read(t, b, (*store.Tx).VerifyAudit).Lines, 2*each)
}
