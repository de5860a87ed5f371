package storetest

import (
	"testing"

	"rankwright/internal/store"
)

func pictures(t *testing.T, b Base) {
	all := func(tx *store.Tx) ([]store.Picture, error) { return tx.Pictures("juniors") }
	one := store.Picture{ID: "pic-1", Ladder: "juniors", Kind: "requirement", About: "kick", File: "aa.jpg", Media: "image/jpeg", Bytes: 9, Width: 4, Height: 3,
		Alt: "A kick from the side", Caption: "The knee first", By: "p1", At: 7, Place: 1}
	two := store.Picture{ID: "pic-2", Ladder: "seniors", Kind: "section", About: "falls", File: "bb.mp4", Media: "video/mp4", Bytes: 900, Width: 1, Height: 1, Alt: "A fall", Caption: "c", By: "p1", At: 8, Place: 2}
	full(t, one)
	write(t, b, func(tx *store.Tx) error {
		for _, p := range []store.Picture{one, two} {
			p.Place = 0
			got, err := tx.AddPicture(p)
			if err != nil {
				return err
			}
			if p.ID == "pic-1" && got != one {
				t.Errorf("kept as %+v", got)
			}
		}
		return nil
	})
	same(t, read(t, b, all), []store.Picture{one})
	same(t, read(t, b, func(tx *store.Tx) ([]store.Picture, error) { return tx.Pictures("") }), []store.Picture{one, two})
	one.Alt, one.Caption = "A kick", ""
	write(t, b, func(tx *store.Tx) error { return tx.WordPicture("pic-1", "A kick", "") })
	same(t, read(t, b, func(tx *store.Tx) (store.Picture, error) { return tx.Picture("pic-1") }), one)
	write(t, b, func(tx *store.Tx) error { return tx.RemovePicture("pic-1") })
	same(t, len(read(t, b, all)), 0)
	for what, do := range map[string]func(tx *store.Tx) error{
		"read":    func(tx *store.Tx) error { _, err := tx.Picture("pic-1"); return err },
		"reword":  func(tx *store.Tx) error { return tx.WordPicture("pic-1", "x", "") },
		"removed": func(tx *store.Tx) error { return tx.RemovePicture("pic-1") },
	} {
		if err := b.Write(t.Context(), do); err == nil {
			t.Errorf("a picture that is gone is %s", what)
		}
	}
}
