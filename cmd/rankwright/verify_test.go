package main

import (
	"bytes"
	"database/sql"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	_ "modernc.org/sqlite"

	"rankwright/internal/app"
	"rankwright/internal/store"
)

// Somebody who can write to the file changes one thing behind the program's
// back; verify must say what.
func TestVerifyFindsWhatWasChangedBehindItsBack(t *testing.T) {
	for _, c := range []struct {
		name   string
		change string
		code   int
		says   string
	}{
		{"nothing", "", done, `\d+ outcomes of 2 signed gradings worked out again: all as they were signed`},
		{"a signed outcome", `UPDATE decisions SET verdict = CAST(replace(CAST(verdict AS TEXT), '"outcome":"not_yet"', '"outcome":"promoted"') AS BLOB)`,
			answerNo, `\d+ outcomes of 2 signed gradings worked out again: [1-9]\d* not as they were signed:\n  entry e-`},
		{"a mark", `UPDATE marks SET amount = 0 WHERE requirement LIKE '%-BF1'`, answerNo, `not as they were signed`},
		{"a line of the audit", `UPDATE audit SET detail = '{}' WHERE number = 7`, answerNo, `audit`},
		{"a line of the audit taken out", `DELETE FROM audit WHERE number = 7`, answerNo, `audit`},
		{"an outcome without its reasons", `UPDATE decisions SET outcome = 'promoted' WHERE outcome = 'not_yet'`, answerNo, `missing from the rank ledger:\n  entry e-`},
		{"the last line of the rank ledger taken off", `DELETE FROM ledger WHERE number = (SELECT max(number) FROM ledger)`,
			answerNo, `1 promotion is missing from the rank ledger:\n  entry e-`},
		{"a line of the rank ledger", `UPDATE ledger SET rank_name = 'Indigo' WHERE number = 3`, answerNo, `rank ledger`},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := clubFolder(t)
			if c.change != "" {
				tamper(t, filepath.Join(dir, store.FileName), c.change)
			}
			var out, errs bytes.Buffer
			code := run(t.Context(), []string{"verify", "--data", dir}, nil, &out, &errs)
			said := out.String() + errs.String()
			if code != c.code || !regexp.MustCompile(c.says).MatchString(said) {
				t.Errorf("it ended with %d and said\n%s", code, said)
			}
		})
	}
	t.Run("a picture of the guides", func(t *testing.T) {
		dir := clubFolder(t)
		st, a, err := openBase(t.Context(), dir)
		if err != nil {
			t.Fatal(err)
		}
		var pic bytes.Buffer
		if err := jpeg.Encode(&pic, image.NewGray(image.Rect(0, 0, 8, 8)), nil); err != nil {
			t.Fatal(err)
		}
		p, err := a.AddPicture(t.Context(), app.CommandLine(), app.NewPicture{Ladder: "youth", Kind: app.OfSection, About: "KI", Alt: "A kick", Agreed: true}, &pic)
		if err != nil {
			t.Fatal(err)
		}
		st.Close()
		for _, step := range []struct {
			code int
			says string
		}{{done, "1 file of pictures and clips stands in the guides as they were added"}, {answerNo, "1 picture or clip is missing or damaged; [^\n]*\n  ladder youth, section KI: A kick"}} {
			var out bytes.Buffer
			if code := run(t.Context(), []string{"verify", "--data", dir}, nil, &out, &out); code != step.code || !regexp.MustCompile(step.says).MatchString(out.String()) {
				t.Errorf("it ended with %d and said\n%s", code, out.String())
			}
			if err := os.Remove(filepath.Join(dir, "pictures", p.File)); step.code == done && err != nil {
				t.Fatal(err)
			}
		}
		var out bytes.Buffer
		if code := run(t.Context(), []string{"backup", "--data", dir, "-o", filepath.Join(t.TempDir(), "copy.db")}, nil, &out, &out); code != done || !strings.Contains(out.String(), "1 picture or clip is not in it") {
			t.Errorf("it ended with %d and said\n%s", code, out.String())
		}
	})
	t.Run("a page of the file", func(t *testing.T) {
		dir := clubFolder(t)
		file := filepath.Join(dir, store.FileName)
		hurt, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for i := len(hurt) / 2; i < len(hurt)/2+4096; i++ {
			hurt[i] ^= 0x5a
		}
		write(t, file, hurt)
		var out, errs bytes.Buffer
		if code := run(t.Context(), []string{"verify", "--data", dir}, nil, &out, &errs); code != answerNo || !strings.Contains(errs.String(), "damaged") {
			t.Errorf("it ended with %d and said\n%s%s", code, out.String(), errs.String())
		}
	})
}

func tamper(t *testing.T, file, change string) {
	t.Helper()
	db, err := sql.Open("sqlite", file)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query(`SELECT name FROM sqlite_master WHERE type = 'trigger'`)
	if err != nil {
		t.Fatal(err)
	}
	var triggers []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		triggers = append(triggers, name)
	}
	for _, name := range triggers {
		if _, err := db.Exec(`DROP TRIGGER ` + name); err != nil {
			t.Fatal(err)
		}
	}
	r, err := db.Exec(change)
	if err != nil {
		t.Fatal(err)
	}
	if n, err := r.RowsAffected(); err != nil || n == 0 {
		t.Fatalf("nothing was changed: %d, %v", n, err)
	}
}
