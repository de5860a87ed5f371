package web

import (
	"bytes"
	"slices"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/calendar"
)

// familyNotice is what stands in a family's calendar entry: when to be there,
// and a reminder two hours before (common practice, no published source).
var familyNotice = calendar.Notice{Early: 15, Remind: 120}

// timesCalendar gives out the times of one family, by one of its children, or
// of one examiner, as a calendar file. What was taken back is in it, so that a
// calendar that had it takes it out.
func timesCalendar(q *Query) (Answer, error) {
	t, err := q.times()
	if err != nil {
		return nil, err
	}
	f := calendar.File{Name: t.Grading.Title + ", " + q.School.Name, School: q.School.Name}
	if q.School.Zone == "" {
		return nil, rankwright.Faultf(rankwright.Conflict, "no_zone", "let the head instructor name it under People, The school's name and safety words", "a calendar file needs the time zone of the school, and none is written down")
	}
	if f.Zone, err = time.LoadLocation(q.School.Zone); err != nil {
		return nil, err
	}
	if person := q.FormValue("person"); person != "" {
		f.Events = examinerEvents(t, person)
	} else {
		e, family := t.Entry(rankwright.EntryID(q.FormValue("entry")))
		if e == nil {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "go back to the timetable and choose a child", "this student is not entered in this grading")
		}
		f.Events = calendar.Family(familyTold(t, family), familyNotice)
	}
	var b bytes.Buffer
	if err := calendar.Write(&b, f); err != nil {
		return nil, err
	}
	return File{Name: "grading.ics", Type: "text/calendar; charset=utf-8", Data: b.Bytes()}, nil
}

func whereOf(t *app.Timetable, mat string) string {
	if t.Grading.Place == "" {
		return "Mat " + mat
	}
	return t.Grading.Place + ", mat " + mat
}

// familyTold are the times that a family was ever told, child by child.
func familyTold(t *app.Timetable, f *app.Family) (out []calendar.Told) {
	for _, x := range t.Told {
		i := slices.IndexFunc(f.Entries, func(e app.EntryView) bool { return e.Entry.ID == x.Entry })
		if i < 0 {
			continue
		}
		out = append(out, calendar.Told{UID: x.UID, Sequence: x.Sequence, Changed: x.At.Time(), Given: f.Entries[i].Student.GivenName,
			Day: x.Day, Start: x.Begins, Minutes: x.Minutes, Where: whereOf(t, x.Mat), Cancelled: x.Cancelled})
	}
	return out
}

func examinerEvents(t *app.Timetable, person string) (out []calendar.Event) {
	for _, x := range t.Told {
		if x.Person == person {
			out = append(out, calendar.Examining(calendar.Event{UID: x.UID, Sequence: x.Sequence, Changed: x.At.Time(), Day: x.Day, Start: x.Begins,
				Minutes: x.Minutes, Where: whereOf(t, x.Mat), Cancelled: x.Cancelled, Remind: 60}, x.Mat))
		}
	}
	return out
}
