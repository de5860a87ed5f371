package app_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
)

// sent is a mark as a device makes it.
func (d *day) sent(device rankwright.DeviceID, seq int64, q rankwright.RequirementID, v scoring.Value) scoring.Mark {
	return scoring.Mark{ID: rankwright.MarkID(fmt.Sprintf("%s/%d", device, seq)), Device: device, Seq: seq, Clock: seq, Entry: d.entries["a1"],
		Requirement: q, Try: 1, Value: v, At: d.Now.UnixMilli()}
}

// wired are marks as they come off the wire.
func wired(marks []scoring.Mark) (out []scoring.Sent) {
	for _, m := range marks {
		out = append(out, scoring.Sent{Mark: m})
	}
	return out
}

// answered writes an answer in a word.
func answered(st app.Answered) string {
	switch {
	case st.Stored && !st.Double && st.Refuse == "":
		return "stored"
	case st.Double && !st.Stored && st.Refuse == "":
		return "double"
	case st.Refuse != "" && !st.Stored && !st.Double:
		return "refused"
	}
	return fmt.Sprintf("muddled %+v", st)
}

// D-12 of the project's table of faults: in each batch some are bad.
func TestABadMarkNeverBlocksTheRest(t *testing.T) {
	d := newDay(t)
	bad := []struct {
		why    string
		change func(*scoring.Mark)
	}{
		{"not entered in this grading", func(m *scoring.Mark) { m.Entry = "e-nobody" }},
		{"RE-XX9 is not asked for Reed", func(m *scoring.Mark) { m.Requirement = "RE-XX9" }},
		{"9 cannot be the mark of", func(m *scoring.Mark) { m.Value = scoring.N(9) }},
		{"only a vote can be an abstention", func(m *scoring.Mark) { m.Value = scoring.Value{Sort: scoring.Abstain} }},
		{"at most 1 tries", func(m *scoring.Mark) { m.Try = 2 }},
		{"no device or no number", func(m *scoring.Mark) { m.Seq = 0 }},
		{"characters that are no text", func(m *scoring.Mark) { m.Note = "\x00" }},
		{"another mark has this id", func(m *scoring.Mark) { m.ID = "first/1" }},
		{"another mark of this device has this number", func(m *scoring.Mark) { m.Device, m.Seq = "first", 1 }},
	}
	if got, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{d.sent("first", 1, "RE-ET1", scoring.N(1))}); err != nil || answered(got[0]) != "stored" {
		t.Fatal(got, err)
	}
	told := make([]int, len(bad))
	stored := 1
	for n := range 1000 / slower {
		r := rand.New(rand.NewPCG(12, uint64(n)))
		device := rankwright.DeviceID(fmt.Sprint("d", n))
		batch := make([]scoring.Mark, 1+r.IntN(12))
		kind := make([]int, len(batch))
		for i := range batch {
			batch[i] = d.sent(device, int64(i+1), "RE-ET1", scoring.N(r.IntN(2)))
			if kind[i] = r.IntN(2*len(bad)) - len(bad); kind[i] >= 0 {
				bad[kind[i]].change(&batch[i])
			}
		}
		for try, good := range []string{"stored", "double"} {
			got, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, batch)
			if err != nil || len(got) != len(batch) {
				t.Fatalf("batch %d: %d answers for %d marks, %v", n, len(got), len(batch), err)
			}
			for i, st := range got {
				switch {
				case st.ID != batch[i].ID:
					t.Fatalf("batch %d: answer %d is to %s, not to %s", n, i, st.ID, batch[i].ID)
				case kind[i] < 0 && answered(st) != good:
					t.Fatalf("batch %d, try %d: a good mark is %s: %s", n, try, answered(st), st.Refuse)
				case kind[i] >= 0 && (answered(st) != "refused" || !strings.Contains(st.Refuse, bad[kind[i]].why)):
					t.Fatalf("batch %d: %s, want it refused: %s", n, st.Refuse, bad[kind[i]].why)
				case kind[i] >= 0:
					told[kind[i]]++
				case st.Stored:
					stored++
				}
			}
		}
	}
	for i, n := range told {
		if n == 0 {
			t.Errorf("no mark was refused because %s", bad[i].why)
		}
	}
	sh, err := d.App.Sheet(d.Ctx(), d.Owner, d.g, "reed")
	d.must(err)
	card := sh.Cards[d.entries["a1"]]
	if kept := card.Corrected + 1; kept != stored {
		t.Errorf("%d marks are in the log, and %d were answered as stored", kept, stored)
	}
}

// D-15: what a device takes the time to be orders nothing.
func TestAWrongClockChangesNothingButAWarning(t *testing.T) {
	hour := time.Hour.Milliseconds()
	var want string
	for n, skew := range []int64{0, -26 * 365 * 24 * hour, 365 * 24 * hour, -365 * 24 * hour, 7 * 24 * hour, -7 * 24 * hour, 24 * hour, -24 * hour, hour, -hour, 121_000, -121_000, 120_000, -120_000} {
		d := newDay(t)
		now := d.Now.UnixMilli()
		for i, clock := range []struct {
			device rankwright.DeviceID
			skew   int64
		}{{"steady", 0}, {"skewed", skew}} {
			var marks []scoring.Mark
			for k, q := range []rankwright.RequirementID{"RE-ET1", "RE-ET2"} {
				m := d.sent(clock.device, int64(k+1), q, scoring.N(i))
				m.Clock, m.At = int64(10*i+k+1), now+clock.skew
				marks = append(marks, m)
			}
			r, err := d.App.TakeMarks(d.Ctx(), d.anahera, d.g, app.Batch{Marks: wired(marks), Sent: now + clock.skew})
			d.must(err)
			off := clock.skew
			if -120_000 <= off && off <= 120_000 {
				off = 0
			}
			if r.ClockOff != off || answered(r.Answers[0]) != "stored" {
				t.Errorf("a clock %d ms off is told as %d, and the mark is %s", clock.skew, r.ClockOff, answered(r.Answers[0]))
			}
			// Without the device's word, only what is ahead is sure.
			r, err = d.App.TakeMarks(d.Ctx(), d.anahera, d.g, app.Batch{Marks: wired(marks)})
			d.must(err)
			if r.ClockOff != max(0, off) || answered(r.Answers[0]) != "double" {
				t.Errorf("a mark from %d ms off is told as %d", clock.skew, r.ClockOff)
			}
		}
		sh, err := d.App.Sheet(d.Ctx(), d.Owner, d.g, "reed")
		d.must(err)
		got := fmt.Sprintf("%+v, clock %d, %d of %d", *sh.Cards[d.entries["a1"]], sh.Clock, sh.Given, sh.Asked)
		if n == 0 {
			want = got
		}
		if got != want {
			t.Errorf("a device %d ms off gives\n%s\nand a right one\n%s", skew, got, want)
		}
	}
}

// Batches are under way when the head instructor takes the grading off the
// mat. Those that begin after that are refused, each with its line in the
// audit, and no mark comes in after the change.
func TestAChangeOfStateTakesEffectAtOnce(t *testing.T) {
	d := newDay(t)
	var wg sync.WaitGroup
	moved := make(chan struct{})
	begun := make(chan struct{}, 1)
	for w := range 6 {
		wg.Go(func() {
			after := 0
			for seq := int64(1); after < 5; seq++ {
				late := false
				select {
				case <-moved:
					late, after = true, after+1
				default:
				}
				device := rankwright.DeviceID(fmt.Sprint("d", w))
				got, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{d.sent(device, seq, "RE-ET1", scoring.N(1))})
				switch {
				case err == nil && (late || answered(got[0]) != "stored"):
					t.Errorf("late %v: %+v", late, got)
				case err != nil && rankwright.KindOf(err) != rankwright.Conflict:
					t.Error(err)
				}
				select {
				case begun <- struct{}{}:
				default:
				}
			}
		})
	}
	<-begun
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	close(moved)
	wg.Wait()
	lines, err := d.App.Audit(d.Ctx(), d.Owner, 0, 1000)
	d.must(err)
	refused, stored, change := 0, 0, false
	for _, l := range lines { // the latest first
		switch {
		case l.Act == string(app.MoveGrading):
			change = true
		case l.Act == string(app.GiveMarks) && !l.Allowed:
			refused++
		case l.Act == string(app.GiveMarks) && !change:
			t.Errorf("marks came in after the change: %+v", l)
		case l.Act == string(app.GiveMarks):
			stored++
		}
	}
	if refused < 30 || stored == 0 || !change {
		t.Errorf("%d refusals and %d batches in the audit, the change is there: %v", refused, stored, change)
	}
}
