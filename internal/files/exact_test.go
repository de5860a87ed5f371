package files_test

import (
	"fmt"
	"strings"
	"testing"

	"rankwright/decide"
	"rankwright/internal/files"
	"rankwright/syllabus"
)

// The mean of up to ten examiners is exact; an eleventh is refused, and not
// rounded away.
func TestAMeanOfElevenExaminersIsRefused(t *testing.T) {
	s, err := syllabus.Parse("s.yaml", []byte("rankwright: syllabus 1\nladder: l\nname: L\nsections: {a: A}\ncombine: {default: mean}\npass: {total: 50%}\nranks:\n  - id: one\n    asks:\n      - {id: bow, section: a, show: Bows, kind: tick, points: 1}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range map[int]bool{10: true, 11: false} {
		es, err := files.ReadEntries("e.csv", strings.NewReader("entry,rank\nx,one\n"), s)
		if err != nil {
			t.Fatal(err)
		}
		marks := "entry,requirement,examiner,value,at\n"
		for i := range n {
			marks += fmt.Sprintf("x,bow,e%d,%d,\n", i, i%2)
		}
		if err := es.ReadMarks("m.csv", strings.NewReader(marks)); err != nil {
			t.Fatal(err)
		}
		_, err = files.Decide(es, s, 1, func(v *decide.Verdict) string { return v.Outcome.String() })
		if (err == nil) != want {
			t.Errorf("%d examiners: %v", n, err)
		}
	}
}
