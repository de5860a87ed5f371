package app_test

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/examples"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// D-14 of the project's table of faults: two devices mark the same three
// things and each corrects two marks, in every order in which those ten can be
// made; each device on line or off; one examiner on both, or one on each; and
// the corrections of any two of the three things.

// made is a mark with what its device had seen when it was made.
type made struct {
	scoring.Mark
	saw []rankwright.MarkID
}

// meeting is one way in which it can come about.
type meeting struct {
	order   []int // whose turn it is, ten times
	online  [2]bool
	two     bool   // two examiners
	correct [2]int // the first of the corrected things, of each device; the second is the next
}

var things = []rankwright.RequirementID{"RE-SM1", "RE-SM2", "RE-HA1"}

// meetings gives all: 252 orders by 48 circumstances.
func meetings(yield func(meeting)) {
	var order []int
	var walk func(a, b int)
	walk = func(a, b int) {
		if a+b == 0 {
			for n := range 48 {
				correct := [2]int{n / 8 % 3, (n/8%3 + n/24) % 3}
				yield(meeting{slices.Clone(order), [2]bool{n&1 != 0, n&2 != 0}, n&4 != 0, correct})
			}
			return
		}
		for who, left := range []int{a, b} {
			if left > 0 {
				order = append(order, who)
				walk(a-btoi(who == 0), b-btoi(who == 1))
				order = order[:len(order)-1]
			}
		}
	}
	walk(5, 5)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// play lets the devices make their marks. What it gives is in the order of
// making; came is the order in which the server has them, the device named
// first being the first to come back on line.
func (m *meeting) play(name string, entry rankwright.EntryID, people [2]rankwright.ExaminerID) (all []made, came func(first int) []scoring.Mark) {
	levels := [2][]int{{3, 3, 3, 1, 0}, {1, 0, 3, 3, 3}}
	var own [2][]made  // of each device
	var server []made  // while they are made
	var clock [2]int64 // the logical clocks
	var knows [2][]rankwright.MarkID
	for _, who := range m.order {
		if m.online[who] { // it hears of what the server has
			for _, x := range server {
				clock[who] = max(clock[who], x.Clock)
				if !slices.Contains(knows[who], x.ID) {
					knows[who] = append(knows[who], x.ID)
				}
			}
		}
		n := len(own[who])
		thing := n
		if n >= 3 {
			thing = (m.correct[who] + n - 3) % 3
		}
		clock[who]++
		device := rankwright.DeviceID(fmt.Sprintf("%s-%d", name, who))
		x := made{scoring.Mark{ID: rankwright.MarkID(fmt.Sprintf("%s/%d", device, n+1)), Device: device, Seq: int64(n + 1), Clock: clock[who], Entry: entry,
			Requirement: things[thing], Examiner: people[who], Try: 1, Value: scoring.N(levels[who][n]), At: int64(1_000_000 - 400_000*who + n)}, slices.Clone(knows[who])}
		knows[who] = append(knows[who], x.ID)
		own[who] = append(own[who], x)
		all = append(all, x)
		if m.online[who] {
			server = append(server, x)
		}
	}
	return all, func(first int) (out []scoring.Mark) {
		for _, x := range server {
			out = append(out, x.Mark)
		}
		for _, who := range []int{first, 1 - first} {
			if !m.online[who] {
				for _, x := range own[who] {
					out = append(out, x.Mark)
				}
			}
		}
		return out
	}
}

// counting works out what counts by itself: of each examiner and thing the
// mark with the highest logical clock, and of equal ones that of the higher
// device and number, whatever time the devices took it to be.
func counting(all []made) map[rankwright.RequirementID]map[rankwright.ExaminerID]scoring.Mark {
	out := map[rankwright.RequirementID]map[rankwright.ExaminerID]scoring.Mark{}
	for _, x := range all {
		if out[x.Requirement] == nil {
			out[x.Requirement] = map[rankwright.ExaminerID]scoring.Mark{}
		}
		now, ok := out[x.Requirement][x.Examiner]
		if !ok || cmp.Or(cmp.Compare(x.Clock, now.Clock), cmp.Compare(x.Device, now.Device), cmp.Compare(x.Seq, now.Seq)) > 0 {
			out[x.Requirement][x.Examiner] = x.Mark
		}
	}
	return out
}

func TestTwoDevicesOnOneChildLoseNothingInAnyOrder(t *testing.T) {
	text, err := examples.Files.ReadFile("otterlight.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := syllabus.Parse("otterlight.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	j, err := decide.Compile(s, "reed")
	if err != nil {
		t.Fatal(err)
	}
	ix := scoring.NewIndex(j.Rank())
	tried, flagged, causal := 0, 0, 0
	meetings(func(m meeting) {
		if t.Failed() {
			return
		}
		tried++
		people := [2]rankwright.ExaminerID{"ann", "ann"}
		if m.two {
			people[1] = "ben"
		}
		all, came := m.play("pad", "e", people)
		log := came(0)
		card := ix.Fold(log)
		if other := ix.Fold(came(1)); len(log) != 10 || !reflect.DeepEqual(card, other) {
			t.Fatalf("%+v: by who comes back first the card is %+v or %+v", m, card, other)
		}
		want, things := counting(all), 0
		for id, by := range want {
			if len(card.Seen[ix[id]]) != len(by) {
				t.Fatalf("%+v: %s has %+v, want %+v", m, id, card.Seen[ix[id]], by)
			}
			for _, seen := range card.Seen[ix[id]] {
				things++
				if seen.Mark != by[seen.Examiner].ID {
					t.Fatalf("%+v: of %s %s counts for %s, want %s", m, id, seen.Mark, seen.Examiner, by[seen.Examiner].ID)
				}
				// Whoever saw a mark and gave another corrected it: it never
				// loses against what it was made from.
				for _, x := range all {
					if x.Requirement == id && x.Examiner == seen.Examiner && slices.Contains(x.saw, seen.Mark) {
						t.Fatalf("%+v: %s counts, though %s was made by somebody who had seen it", m, seen.Mark, x.ID)
					}
				}
			}
		}
		for _, x := range all {
			causal += len(x.saw)
		}
		if card.Corrected != len(all)-things {
			t.Fatalf("%+v: %d marks are told to be corrected, of ten of which %d count", m, card.Corrected, things)
		}
		if !m.two {
			return
		}
		apart := map[rankwright.RequirementID]bool{}
		v := j.Decide(decide.Case{Entry: "e", Card: card, Lead: "ann", Band: -1})
		for _, l := range v.SecondLook {
			if l.Key == decide.MarksApart {
				apart[l.Requirement] = true
			}
		}
		for id, by := range want {
			a, b := by["ann"].Value.Num, by["ben"].Value.Num
			if far := max(a-b, b-a) >= rankwright.Whole(2); far != apart[id] {
				t.Fatalf("%+v: of %s the marks are %s and %s, and the head instructor is told: %v", m, id, a, b, apart[id])
			}
		}
		flagged += len(apart)
		// The head instructor's own mark is one more, and settles it.
		if len(apart) > 0 {
			for id := range apart {
				log = append(log, scoring.Mark{ID: "last-" + rankwright.MarkID(id), Device: "desk", Seq: int64(len(log)), Clock: 99, Requirement: id, Entry: "e", Examiner: "ben", Value: want[id]["ann"].Value})
			}
			for _, l := range j.Decide(decide.Case{Entry: "e", Card: ix.Fold(log), Lead: "ann", Band: -1}).SecondLook {
				if l.Key == decide.MarksApart {
					t.Fatalf("%+v: %s is told still", m, l.Requirement)
				}
			}
		}
	})
	if tried != 252*48 || flagged < 1000 || causal < 10_000 {
		t.Errorf("%d ways were tried, %d differences told, %d marks seen before another was made", tried, flagged, causal)
	}
}

// The same through the log itself, on the base: every order once, each under
// other circumstances, in both orders of coming back. Whoever asks for what is
// new by the server's number hears of each mark once, whatever the clocks of
// the devices say.
func TestTwoDevicesOnOneChildThroughTheLog(t *testing.T) {
	d := newDay(t)
	people := [2]rankwright.ExaminerID{rankwright.ExaminerID(d.anahera.ID), rankwright.ExaminerID(d.Owner.ID)}
	v, err := d.App.Grading(d.Ctx(), d.Owner, d.g)
	d.must(err)
	k, _ := v.Syllabus.Rank("reed")
	ix := scoring.NewIndex(k)
	n, at := 0, int64(0)
	news := func() (rows []store.MarkRow) {
		t.Helper()
		d.must(d.Store.Read(d.Ctx(), func(tx *store.Tx) (err error) {
			rows, err = tx.MarksSince(d.g, at, 4) // a few at a time
			return err
		}))
		if len(rows) > 0 {
			at = rows[len(rows)-1].Arrival
		}
		return rows
	}
	meetings(func(m meeting) {
		n++
		if t.Failed() || n%48 != n/48%48 || n/48%slower != 0 { // each order once, with another of the 48
			return
		}
		by := people
		if !m.two {
			by[1] = by[0]
		}
		var cards []*scoring.Card
		for first := range 2 {
			name := fmt.Sprintf("d%d-%d", n, first)
			all, came := m.play(name, d.entries["a1"], by)
			var heard []scoring.Mark
			for i, mark := range came(first) {
				who := d.Owner
				if string(mark.Examiner) == d.anahera.ID {
					who = d.anahera
				}
				got, err := d.App.AddMarks(d.Ctx(), who, d.g, []scoring.Mark{mark})
				d.must(err)
				if answered(got[0]) != "stored" {
					t.Fatalf("%+v", got)
				}
				if i%3 == 2 {
					for _, r := range news() {
						heard = append(heard, r.Mark)
					}
				}
			}
			for rows := news(); len(rows) > 0; rows = news() {
				for _, r := range rows {
					heard = append(heard, r.Mark)
				}
			}
			if !slices.Equal(heard, came(first)) {
				t.Fatalf("%+v: heard of %+v, and %+v were sent", m, heard, came(first))
			}
			card := ix.Fold(heard)
			for id, want := range counting(all) {
				for _, seen := range card.Seen[ix[id]] {
					if want[seen.Examiner].ID != seen.Mark {
						t.Fatalf("%+v: %s counts of %s", m, seen.Mark, id)
					}
				}
			}
			for i := range card.Seen { // the names of the devices aside
				for k := range card.Seen[i] {
					card.Seen[i][k].Mark = card.Seen[i][k].Mark[len(name):]
				}
			}
			cards = append(cards, card)
		}
		if !reflect.DeepEqual(cards[0], cards[1]) {
			t.Fatalf("%+v: by who comes back first the card is %+v or %+v", m, cards[0], cards[1])
		}
	})
}
