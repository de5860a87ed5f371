package files_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/internal/files"
	"rankwright/syllabus"
)

// BenchmarkDecideTenThousandEntries reads entries.csv and marks.csv from
// memory (10,000 entries for the club's highest rank, 35 requirements each),
// judges them and writes their JSON.
func BenchmarkDecideTenThousandEntries(b *testing.B) {
	data, err := os.ReadFile("../../examples/otterlight.yaml")
	if err != nil {
		b.Fatal(err)
	}
	s, err := syllabus.Parse("otterlight.yaml", data)
	if err != nil {
		b.Fatal(err)
	}
	k := &s.Ranks[len(s.Ranks)-1]
	const n = 10_000
	entries, marks := bytes.NewBufferString("entry,rank,age_on_day\n"), bytes.NewBufferString("entry,requirement,examiner,value,at\n")
	for i := range n {
		fmt.Fprintf(entries, "s%05d,%s,%d\n", i, k.ID, 8+i%7)
		for j := range k.Requirements {
			q := &k.Requirements[j]
			v := q.Expected(-1)
			if (i+j)%11 == 0 {
				v = 0
			}
			fmt.Fprintf(marks, "s%05d,%s,e%d,%s,2026-10-10T10:%02d:00Z\n", i, q.ID, j%3, v, j)
		}
	}
	b.Logf("%d requirements, %d bytes of marks", n*len(k.Requirements), marks.Len())
	b.SetBytes(int64(entries.Len() + marks.Len()))
	b.ReportAllocs()
	for b.Loop() {
		es, err := files.ReadEntries("entries.csv", bytes.NewReader(entries.Bytes()), s)
		if err == nil {
			err = es.ReadMarks("marks.csv", bytes.NewReader(marks.Bytes()))
		}
		if err != nil {
			b.Fatal(err)
		}
		docs, err := files.Decide(es, s, rankwright.MustDay("2026-10-10"), func(v *decide.Verdict) []byte {
			doc, err := json.Marshal(v.Document())
			if err != nil {
				b.Error(err)
			}
			return doc
		})
		if err != nil || len(docs) != n {
			b.Fatal(len(docs), err)
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/1e6, "MB-from-system")
}
