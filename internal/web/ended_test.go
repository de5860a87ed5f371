package web

import (
	"context"
	"testing"
	"time"

	"github.com/alexedwards/scs/v2/memstore"
)

// A page that is still being made when somebody signs out writes its session
// at its end; it must not sign them in again.
func TestASessionThatWasEndedDoesNotComeBack(t *testing.T) {
	now := time.Date(2026, 10, 1, 9, 0, 0, 0, time.UTC)
	s := newEndedStore(memstore.NewWithCleanupInterval(0), func() time.Time { return now })
	ctx, far := context.Background(), time.Now().Add(time.Hour)
	for _, token := range []string{"a", "b"} {
		if err := s.CommitCtx(ctx, token, []byte("who"), far); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.DeleteCtx(ctx, "a"); err != nil {
		t.Fatal(err)
	}
	if err := s.CommitCtx(ctx, "a", []byte("who"), far); err != nil {
		t.Fatal(err)
	}
	for token, want := range map[string]bool{"a": false, "b": true} {
		if _, found, err := s.FindCtx(ctx, token); found != want || err != nil {
			t.Errorf("%s is found: %v (%v), want %v", token, found, err, want)
		}
	}
	if _, found, _ := s.Store.Find("a"); found {
		t.Error("it was written after it had ended")
	}
	now = now.Add(endedFor + time.Second)
	if err := s.DeleteCtx(ctx, "b"); err != nil || len(s.at) != 1 {
		t.Errorf("%d ended ones are remembered, want the last alone (%v)", len(s.at), err)
	}
}
