package store_test

import (
	"fmt"
	"sync/atomic"
	"testing"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/store/storetest"
)

// One mark a write, from twenty writers at once, each kept on the disk before
// the next: alone, and gathered with those that wait.
func BenchmarkOneMarkAWrite(b *testing.B) {
	for _, how := range []string{"alone", "gathered"} {
		b.Run(how, func(b *testing.B) {
			s := open(b, b.TempDir())
			storetest.Fill(b, s)
			write := s.Write
			if how == "gathered" {
				write = s.Gather
			}
			var n atomic.Int64
			b.SetParallelism(10) // times two processors
			b.RunParallel(func(p *testing.PB) {
				for p.Next() {
					i := n.Add(1)
					m := storetest.Mark(rankwright.MarkID(fmt.Sprint("m", i)), rankwright.DeviceID(fmt.Sprint("d", i%20)), i)
					if err := write(b.Context(), func(tx *store.Tx) error {
						_, err := tx.AppendMarks([]store.MarkRow{m})
						return err
					}); err != nil {
						b.Error(err)
					}
				}
			})
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "marks/s")
		})
	}
}
