package store

import (
	"context"
	"errors"
	"fmt"
	"testing"
)

// What is kept between gathered writes is what the base says, whoever wrote
// it: this program in any way, or another one.
func TestWhatLastsIsNeverOld(t *testing.T) {
	dir := t.TempDir()
	ours, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer ours.Close()
	theirs, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer theirs.Close()
	looked := 0
	var got string
	ask := func(tx *Tx) (err error) {
		got, err = Lasting(tx, "the school", func() (string, error) {
			looked++
			v, _, err := tx.Setting("school")
			return v, err
		})
		return err
	}
	put := func(v string) func(*Tx) error { return func(tx *Tx) error { return tx.SetSetting("school", v) } }
	no := errors.New("no")
	for _, c := range []struct {
		name  string
		write func() error
		want  string
		looks int
	}{
		{"at first", func() error { return nil }, "", 1},
		{"again", func() error { return nil }, "", 0},
		{"after a write", func() error { return ours.Write(context.Background(), put("A")) }, "A", 1},
		{"once more", func() error { return nil }, "A", 0},
		{"after a write that was undone", func() error {
			_ = ours.Write(context.Background(), func(tx *Tx) error { _ = put("B")(tx); return no })
			return nil
		}, "A", 1},
		{"after another program wrote", func() error { return theirs.Write(context.Background(), put("C")) }, "C", 1},
		{"and again", func() error { return nil }, "C", 0},
		{"after it was asked in a write that was undone", func() error {
			_ = ours.Write(context.Background(), func(tx *Tx) error { _ = put("D")(tx); _ = ask(tx); return no })
			return nil
		}, "C", 1},
		{"after a gathered write that was undone", func() error {
			_ = ours.Gather(context.Background(), func(tx *Tx) error { return no })
			return nil
		}, "C", 0},
	} {
		if err := c.write(); err != nil {
			t.Fatal(err)
		}
		before := looked
		if err := ours.Gather(context.Background(), ask); err != nil {
			t.Fatal(err)
		}
		if got != c.want || looked-before != c.looks {
			t.Errorf("%s: %q after %d looks, want %q after %d", c.name, got, looked-before, c.want, c.looks)
		}
	}
}

// A statement that is asked while its rows are read is compiled anew.
func TestAStatementMayBeAskedWhileItIsRead(t *testing.T) {
	s := newBase(t)
	err := s.Write(t.Context(), func(tx *Tx) error {
		for i := range 3 {
			if err := tx.SetSetting(fmt.Sprint("k", i), fmt.Sprint(i)); err != nil {
				return err
			}
		}
		const query = `SELECT value FROM settings WHERE key >= $1 ORDER BY key`
		outer, err := tx.tx.Query(query, "k0")
		if err != nil {
			return err
		}
		defer outer.Close()
		var all string
		for outer.Next() {
			var v string
			if err := outer.Scan(&v); err != nil {
				return err
			}
			inner, err := list(tx, scalar[string], query, "k"+v)
			if err != nil {
				return err
			}
			all += fmt.Sprint(v, inner, " ")
		}
		if all != "0[0 1 2] 1[1 2] 2[2] " {
			t.Errorf("read %q", all)
		}
		return outer.Err()
	})
	if err != nil {
		t.Fatal(err)
	}
}
