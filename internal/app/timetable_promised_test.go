package app_test

import (
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/timetable"
)

// A sitting that families were told is not lost to them because the others of it
// fall ill, though fewer come than it would open with; and as long as nothing is
// repaired, the timetable says what no longer holds.
func TestASittingThatWasToldTakesPlaceWithThoseWhoAreLeft(t *testing.T) {
	d := newTimes(t)
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least = 1, 3, 2
	_, err := d.App.AddSession(d.Ctx(), d.Owner, d.g, app.SittingsRow{Day: rankwright.MustDay("2026-10-10"), From: 540, Until: 660, Mats: []string{"A"}, Minutes: 40, Like: like})
	d.must(err)
	v := d.plan(false)
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	if said, err := d.look().NoLonger(); err != nil || len(said) > 0 {
		t.Fatalf("what was just told does not hold: %v %v", said, err)
	}
	if !d.look().Today() {
		t.Error("what was just told is of another day")
	}
	in := map[string][]rankwright.EntryID{}
	for _, e := range v.Grading.Entries {
		w := v.Draft.At(e.Entry.ID)
		in[w] = append(in[w], e.Entry.ID)
	}
	left := map[rankwright.EntryID]string{}
	for w, list := range in {
		for _, e := range list[1:] {
			d.must(d.App.SetCannotCome(d.Ctx(), d.desk, e, true))
		}
		left[list[0]] = w
	}
	said, err := d.look().NoLonger()
	if err != nil || len(said) == 0 || strings.Contains(strings.Join(said, " "), "takes place with at least") {
		t.Errorf("said: %v %v", said, err)
	}
	v = d.plan(false)
	for e, w := range left {
		if at := v.Draft.At(e); at != w {
			x, _ := v.Entry(e)
			t.Errorf("%s was told %s and is in %q now", x.Student.GivenName, timetable.Minute(v.Sitting(w).Begins), at)
		}
	}
	d.must(d.App.PublishTimetable(d.Ctx(), d.Owner, d.g))
	if said, err := d.look().NoLonger(); err != nil || len(said) > 0 {
		t.Errorf("after the repair: %v %v", said, err)
	}

	// A sitting that cannot take place is said of the board.
	for _, w := range left {
		d.must(d.App.LoseSitting(d.Ctx(), d.Owner, d.g, w, true))
	}
	if said, err = d.look().NoLonger(); err != nil || !strings.Contains(strings.Join(said, " "), "cannot take place and has 1 child") {
		t.Errorf("said: %v %v", said, err)
	}
}
