package app_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
)

// tablet is a device that numbers its marks across two gradings and may lose
// some of them before they are sent.
type tablet struct {
	log     rankwright.DeviceID
	seq     int64
	unsent  []int64        // still on it, of this grading
	other   []int64        // still on it, of the other grading
	came    map[int64]bool // kept or refused
	here    []int64        // made at this grading
	knownTo int64          // the highest that the server can know of
}

// D-19 of the project's table of faults: whatever is lost, sent late, sent
// twice, refused or made at another grading, the numbers that never came are
// told, and no others; and nobody goes on to the decisions without a reason.
func TestWhatADeviceNeverSentIsKnown(t *testing.T) {
	d := newDay(t)
	before, entry := d.g, d.entries["a1"]
	d.hold("Winter grading", "2026-12-12", "a2")
	now := d.entries["a2"]
	complete, lacking, total, strays := 0, 0, int64(0), 0
	say := func(x *tablet, last int64) {
		said := app.Report{Device: string(x.log), Unsent: len(x.unsent), Seq: &last}
		for _, n := range x.other {
			said.Elsewhere = append(said.Elsewhere, scoring.Span{From: n, To: n})
		}
		_, err := d.App.Report(d.Ctx(), d.anahera, d.g, said)
		d.must(err)
		x.knownTo = max(x.knownTo, last)
	}
	for n := range max(20, 100/slower) {
		r := rand.New(rand.NewPCG(19, uint64(n)))
		var tablets []*tablet
		for i := range 1 + r.IntN(2) {
			tablets = append(tablets, &tablet{log: rankwright.DeviceID(fmt.Sprintf("tablet-%d-%d", n, i)), came: map[int64]bool{}})
		}
		lossless := r.IntN(3) == 0
		for _, x := range tablets {
			send := func(g rankwright.GradingID, e rankwright.EntryID, numbers ...int64) {
				var marks []scoring.Mark
				for _, seq := range numbers {
					m := d.sent(x.log, seq, "RE-ET1", scoring.N(r.IntN(2)))
					m.Entry = e
					if r.IntN(6) == 0 {
						m.Requirement = "RE-NO1" // it will be refused
					}
					marks = append(marks, m)
					x.came[seq] = true
				}
				r.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
				for range 1 + r.IntN(2) { // an answer was lost, and all is sent again
					_, err := d.App.AddMarks(d.Ctx(), d.anahera, g, marks)
					d.must(err)
				}
			}
			for range r.IntN(3) * r.IntN(5) { // at another grading, where it lost some for good
				x.seq++
				_, err := d.App.Report(d.Ctx(), d.anahera, before, app.Report{Device: string(x.log), Unsent: 1, Seq: &x.seq})
				d.must(err)
				if r.IntN(4) > 0 {
					send(before, entry, x.seq)
				}
			}
			for step := range 2 + r.IntN(5) {
				if step == 0 && r.IntN(4) > 0 || step > 0 && r.IntN(3) > 0 { // the first word may come late
					last := int64(0)
					if len(x.here) > 0 {
						last = x.here[len(x.here)-1]
					}
					say(x, last)
				}
				if r.IntN(3) == 0 { // somebody marks at the other grading in between
					for range 1 + r.IntN(3) {
						x.seq++
						x.other = append(x.other, x.seq)
					}
				}
				for range r.IntN(6) {
					x.seq++
					x.unsent, x.here = append(x.unsent, x.seq), append(x.here, x.seq)
				}
				if !lossless && r.IntN(4) == 0 && len(x.unsent) > 0 { // its storage was cleared
					if len(x.other) > 0 { // of the other grading this one knows what it was told
						say(x, x.here[len(x.here)-1])
						strays += len(x.other)
					}
					x.unsent, x.other = nil, nil
				}
				if k := len(x.other); k > 0 && r.IntN(3) == 0 {
					send(before, entry, x.other...)
					x.other = nil
				}
				if k := r.IntN(len(x.unsent) + 1); k > 0 {
					send(d.g, now, x.unsent[:k]...)
					x.knownTo = max(x.knownTo, x.unsent[k-1])
					x.unsent = x.unsent[k:]
				}
			}
			if lossless && len(x.unsent) > 0 {
				send(d.g, now, x.unsent...)
				x.knownTo, x.unsent = max(x.knownTo, x.seq), nil
			}
		}
		for _, x := range tablets { // what is still on it of the other grading is told to this one
			if len(x.other) > 0 && len(x.here) > 0 {
				say(x, x.here[len(x.here)-1])
			}
		}
		list, err := d.App.Missing(d.Ctx(), d.Owner, d.g)
		d.must(err)
		short := false
		for _, x := range tablets {
			var want, told []int64
			for _, seq := range x.here {
				if !x.came[seq] && seq <= x.knownTo {
					want = append(want, seq)
				}
			}
			for _, m := range list {
				if m.Log == x.log {
					for _, s := range m.Spans {
						for seq := s.From; seq <= s.To; seq++ {
							told = append(told, seq)
						}
					}
					if m.Accepted || m.Count() != int64(len(told)) || m.Examiner != "Anahera Ropatini" {
						t.Fatalf("case %d: %+v", n, m)
					}
				}
			}
			if !slices.Equal(told, want) {
				t.Fatalf("case %d: of %s %v are told, and %v never came (of %v)", n, x.log, told, want, x.here)
			}
			short = short || len(want) > 0
			total += int64(len(want))
		}
		err = d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding)
		if short != (err != nil) || err != nil && !strings.Contains(err.Error(), "marks that were made have not come: numbers ") {
			t.Fatalf("case %d: something is missing: %v; going on is answered with %v", n, short, err)
		}
		if short {
			lacking++
			d.must(d.App.MoveAccepting(d.Ctx(), d.Owner, d.g, app.Deciding, "the tablet fell into the tea"))
		} else {
			complete++
		}
		d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	}
	if complete < 5 || lacking < 5 || total < 30 || strays < 3 {
		t.Errorf("%d cases were complete and %d were not, with %d numbers missing in all and %d lost at the other grading: that tries too little", complete, lacking, total, strays)
	}
}

func TestOnlyTheHeadInstructorAcceptsThatMarksAreMissing(t *testing.T) {
	d := newDay(t)
	iva := d.Person("Iva Instructor", app.Instructor, "")
	send := func(seqs ...int64) {
		t.Helper()
		for _, seq := range seqs {
			got, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{d.sent("log", seq, "RE-ET1", scoring.N(1))})
			d.must(err)
			if answered(got[0]) != "stored" {
				t.Fatal(got)
			}
		}
	}
	report := func(unsent int, seq int64) {
		t.Helper()
		_, err := d.App.Report(d.Ctx(), d.anahera, d.g, app.Report{Device: "log", Unsent: unsent, Seq: &seq})
		d.must(err)
	}
	missing := func() app.Missing {
		t.Helper()
		list, err := d.App.Missing(d.Ctx(), d.Owner, d.g)
		d.must(err)
		if len(list) != 1 {
			t.Fatalf("%+v", list)
		}
		return list[0]
	}
	report(0, 0)
	send(1, 2, 5)
	report(4, 7)
	if m := missing(); m.Numbers() != "3–4, 6–7" || m.Holds != app.OnDevice || m.Unsent != 4 {
		t.Errorf("%+v", m)
	}
	report(2, 7) // it does not have four any more
	if m := missing(); m.Holds != app.Nowhere {
		t.Errorf("%+v", m)
	}
	d.Now = d.Now.Add(3 * time.Minute)
	if m := missing(); m.Holds != app.Unheard {
		t.Errorf("%+v", m)
	}
	refused := func(err error, says string) {
		t.Helper()
		if rankwright.KindOf(err) != rankwright.Conflict || !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
	refused(d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding), "numbers 3–4, 6–7 of A device that is signed in with a password (Anahera Ropatini); let the devices send, or write why")
	refused(d.App.MoveAccepting(d.Ctx(), d.Owner, d.g, app.Deciding, " \n"), "write why")
	refused(d.App.MoveAccepting(d.Ctx(), iva, d.g, app.Deciding, "it is lost"), "ask the head instructor")
	d.must(d.App.MoveAccepting(d.Ctx(), d.Owner, d.g, app.Deciding, "Marked anew from\nthe paper."))
	lines, err := d.App.Audit(d.Ctx(), d.Owner, 0, 1)
	d.must(err)
	if l := lines[0]; !l.Allowed || !strings.Contains(l.Detail, `"reason":"Marked anew from the paper."`) || !strings.Contains(l.Detail, `"numbers":[[3,4],[6,7]]`) {
		t.Errorf("the audit has %+v", l)
	}
	// What was accepted is listed still, and asked no more, also by others;
	// that one of them came makes no difference.
	if m := missing(); !m.Accepted {
		t.Errorf("%+v", m)
	}
	send(3)
	d.must(d.App.Move(d.Ctx(), iva, d.g, app.OnTheMat))
	d.must(d.App.Move(d.Ctx(), iva, d.g, app.Deciding))
	// What is missing since then is asked for again, when it comes to signing.
	report(0, 9)
	err = d.App.Sign(d.Ctx(), d.Owner, d.g, "")
	refused(err, "numbers 4, 6–9 of")
	err = d.App.SignAccepting(d.Ctx(), d.Owner, d.g, "", "it is lost")
	if err == nil || !strings.Contains(err.Error(), "marks are missing for") {
		t.Errorf("%v, want it to go on to the next question", err)
	}
	if m := missing(); m.Accepted {
		t.Error("an acceptance was kept though nothing was signed")
	}
}

// A word that differs from the last one in the numbers of other gradings alone is
// kept too: when that device is lost, they are not missing here.
func TestNumbersOfAnotherGradingAreNewsByThemselves(t *testing.T) {
	d := newDay(t)
	none := int64(0)
	for _, said := range []app.Report{{Device: "log", Seq: &none}, {Device: "log", Seq: &none, Elsewhere: []scoring.Span{{From: 1, To: 3}}}} {
		_, err := d.App.Report(d.Ctx(), d.anahera, d.g, said)
		d.must(err)
	}
	_, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{d.sent("log", 5, "RE-ET1", scoring.N(1))})
	d.must(err)
	list, err := d.App.Missing(d.Ctx(), d.Owner, d.g)
	d.must(err)
	if len(list) != 1 || list[0].Numbers() != "4" {
		t.Errorf("%+v", list)
	}
}

// A page of before gives no numbers: what it says that it has not sent counts.
func TestAPageOfBeforeIsTakenAtItsWord(t *testing.T) {
	d := newDay(t)
	code, err := d.App.ShowCode(d.Ctx(), d.Owner, d.g)
	d.must(err)
	_, err = d.App.SetPIN(d.Ctx(), d.Owner, d.g, d.anahera.ID, "4821")
	d.must(err)
	who, err := d.App.Pair(d.Ctx(), code.Secret, d.anahera.ID, "4821", "iPad")
	d.must(err)
	say := func(unsent int) {
		_, err := d.App.Report(d.Ctx(), who, d.g, app.Report{Unsent: unsent})
		d.must(err)
	}
	say(3)
	d.must(d.App.EndDevice(d.Ctx(), d.Owner, d.g, who.Device))
	list, err := d.App.Missing(d.Ctx(), d.Owner, d.g)
	d.must(err)
	if len(list) != 1 || list[0].Count() != 3 || list[0].Holds != app.ThrownOut || list[0].Whose() != "iPad (Anahera Ropatini)" {
		t.Fatalf("%+v", list)
	}
	if err := d.App.Move(d.Ctx(), d.Owner, d.g, app.Deciding); err == nil || !strings.Contains(err.Error(), "3 marks of iPad") {
		t.Error(err)
	}
	d.must(d.App.MoveAccepting(d.Ctx(), d.Owner, d.g, app.Deciding, "its owner has gone home"))
	// Gaps in the numbers of marks are told whatever a device says.
	for _, seq := range []int64{4, 6} {
		_, err := d.App.AddMarks(d.Ctx(), d.anahera, d.g, []scoring.Mark{d.sent("silent", seq, "RE-ET1", scoring.N(1))})
		d.must(err)
	}
	list, err = d.App.Missing(d.Ctx(), d.Owner, d.g)
	d.must(err)
	if len(list) != 2 || list[0].Numbers() != "5" || list[0].Holds != app.Unheard || !list[1].Accepted {
		t.Errorf("%+v", list)
	}
}

// D-12: a refused mark stays before the eyes of its examiner and of the head
// instructor until it is kept after all or somebody has seen to it.
func TestARefusedMarkStaysInSight(t *testing.T) {
	d := newDay(t)
	high := d.Person("Perpetua Okwuosah", app.Examiner, "")
	send := func(who app.Actor, m scoring.Mark, want string) {
		t.Helper()
		got, err := d.App.AddMarks(d.Ctx(), who, d.g, []scoring.Mark{m})
		d.must(err)
		if answered(got[0]) != want {
			t.Fatalf("%+v, want it %s", got[0], want)
		}
	}
	see := func(who app.Actor) (out []string) {
		t.Helper()
		_, list, err := d.App.Refused(d.Ctx(), who, d.g)
		d.must(err)
		for _, r := range list {
			out = append(out, fmt.Sprintf("%d %s: %s %s = %s by %s", r.No, r.Why, r.Child, r.Shows, r.Value, r.Examiner))
		}
		return out
	}
	send(d.anahera, d.sent("log", 1, "RE-ET1", scoring.N(7)), "refused")
	foreign := d.sent("log2", 1, "RE-ET1", scoring.N(1))
	send(high, foreign, "refused") // she is not on the panel yet
	want := []string{
		"1 7 cannot be the mark of “Bows at the mat edge coming in and going out”; write 1 for shown, 0 for not shown, or x for not seen: Ayotomi Fasanwe Bows at the mat edge coming in and going out = 7 by Anahera Ropatini",
		"2 only somebody on the panel of this grading gives marks: Ayotomi Fasanwe Bows at the mat edge coming in and going out = 1 by Perpetua Okwuosah",
	}
	if got := see(d.Owner); !slices.Equal(got, want) {
		t.Fatalf("the head instructor sees\n%s", strings.Join(got, "\n"))
	}
	if got := see(d.anahera); !slices.Equal(got, want[:1]) {
		t.Errorf("an examiner sees %v", got)
	}
	if got := see(high); !slices.Equal(got, want[1:]) {
		t.Errorf("another sees %v", got)
	}
	if list, err := d.App.Missing(d.Ctx(), d.Owner, d.g); err != nil || len(list) > 0 {
		t.Errorf("a refused number counts as one that never came: %+v, %v", list, err)
	}
	if err := d.App.SeeTo(d.Ctx(), d.anahera, d.g, 2); rankwright.KindOf(err) != rankwright.NotFound {
		t.Errorf("an examiner sees to another's: %v", err)
	}
	d.must(d.App.SeeTo(d.Ctx(), d.anahera, d.g, 1))
	if got := see(d.Owner); !slices.Equal(got, want[1:]) {
		t.Errorf("after it was seen to: %v", got)
	}
	if err := d.App.SeeTo(d.Ctx(), d.Owner, d.g, 1); rankwright.KindOf(err) != rankwright.NotFound {
		t.Errorf("seen to twice: %v", err)
	}
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.Timetabled))
	d.must(d.App.SetPanel(d.Ctx(), d.Owner, d.g, []string{d.Owner.ID, d.anahera.ID, high.ID}, d.Owner.ID))
	d.must(d.App.Move(d.Ctx(), d.Owner, d.g, app.OnTheMat))
	send(high, foreign, "stored")
	if got := see(d.Owner); len(got) > 0 {
		t.Errorf("it was kept after all, and is listed still: %v", got)
	}
}
