package main

import (
	"bytes"
	"encoding/xml"
	"io"
	"os"
	"strings"
	"testing"
)

// The picture that the docs show is drawn from the table beside it.
func TestThePictureOfTheDocsIsOfItsTable(t *testing.T) {
	data, err := os.ReadFile("../../docs/timetable-growth.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := read(data)
	if err != nil {
		t.Fatal(err)
	}
	shown, err := os.ReadFile("../../docs/timetable-growth.svg")
	if err != nil {
		t.Fatal(err)
	}
	if got := draw(rows); !bytes.Equal(got, shown) {
		t.Error("draw it anew: make growth-picture")
	}
	d := xml.NewDecoder(bytes.NewReader(shown))
	for {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

func TestATableThatLacksSomethingIsRefused(t *testing.T) {
	head := "ranks,entries," + strings.Join(columns, ",") + "\n"
	for _, c := range []struct{ name, text, want string }{
		{"no rows", head, "no rows"},
		{"no memory", strings.Replace(head, ",peak_mib", "", 1) + "given,30,1,1,1,1,1,1\n", "no column peak_mib"},
		{"no size", head + "given,x,1,1,1,1,1,1,1\n", "row 2 has no number of entries"},
		{"words for seconds", head + "given,30,1,soon,1,1,1,1,1\n", "row 2 has no number as within_5_percent_s"},
	} {
		if _, err := read([]byte(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}
