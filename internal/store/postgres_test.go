//go:build postgres

package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"sync/atomic"
	"testing"

	"rankwright/internal/store"
	"rankwright/internal/store/storetest"
)

var schemas atomic.Int64

// TestPostgresKeepsTheContract wants the address of an empty database in
// RANKWRIGHT_TEST_POSTGRES, as a URL. Each test has a schema of its own.
func TestPostgresKeepsTheContract(t *testing.T) {
	address, err := url.Parse(os.Getenv("RANKWRIGHT_TEST_POSTGRES"))
	if err != nil || address.Scheme == "" {
		t.Fatalf("RANKWRIGHT_TEST_POSTGRES is not the address of a database: %v", err)
	}
	storetest.Run(t, func(t *testing.T) storetest.Base {
		schema := fmt.Sprintf("t%d_%d", os.Getpid(), schemas.Add(1))
		own := *address
		q := own.Query()
		q.Set("search_path", schema)
		own.RawQuery = q.Encode()
		behind, err := sql.Open("pgx", own.String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { behind.Close() })
		if _, err := behind.Exec("CREATE SCHEMA " + schema); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if _, err := behind.Exec("DROP SCHEMA " + schema + " CASCADE"); err != nil {
				t.Error(err)
			}
		})
		s, err := store.OpenPostgres(context.Background(), own.String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		})
		return storetest.Base{Store: s, Behind: behind, Schedules: 1000,
			DropTrigger: func(trigger, table string) string { return "DROP TRIGGER " + trigger + " ON " + table }}
	})
}
