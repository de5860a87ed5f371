package main

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"rankwright/internal/app"
	"rankwright/internal/demo"
	"rankwright/internal/store"
)

// club is the base of the invented club, made once.
var club = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "rankwright-club-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	st, err := store.Open(context.Background(), dir)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	clock := demo.NewClock(time.Now)
	if _, err := demo.Fill(context.Background(), app.New(st, app.Options{Now: clock.Now}), clock); err != nil {
		return nil, err
	}
	file := filepath.Join(dir, "club.db")
	if err := st.Backup(context.Background(), file); err != nil {
		return nil, err
	}
	return os.ReadFile(file)
})

// clubFolder is a folder with a club of the test's own.
func clubFolder(t *testing.T) string {
	t.Helper()
	data, err := club()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	write(t, filepath.Join(dir, store.FileName), data)
	return dir
}

// clubBase opens such a folder.
func clubBase(t *testing.T) (string, *app.App) {
	t.Helper()
	dir := clubFolder(t)
	st, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	return dir, app.New(st, app.Options{})
}

func write(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}
