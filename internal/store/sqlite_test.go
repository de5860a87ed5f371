package store_test

import (
	"context"
	"database/sql"
	"testing"

	"rankwright/internal/store"
	"rankwright/internal/store/storetest"
)

func open(t testing.TB, path string) *store.Store {
	t.Helper()
	s, err := store.Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s
}

func TestSQLiteKeepsTheContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Base {
		s := open(t, t.TempDir())
		behind, err := sql.Open("sqlite", "file:"+s.Path()+"?_foreign_keys=1&_busy_timeout=5000")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { behind.Close() })
		return storetest.Base{Store: s, Behind: behind, Schedules: 10_000,
			DropTrigger: func(trigger, _ string) string { return "DROP TRIGGER " + trigger }}
	})
}
