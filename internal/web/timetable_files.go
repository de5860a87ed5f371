package web

import (
	"bytes"
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
		told := toldWith(t, rankwright.EntryID(q.FormValue("entry")))
		if told == nil {
			return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "go back to the timetable and choose a child", "this student is not entered in this grading, and was told no time")
		}
		f.Events = calendar.Family(calendarTimes(told, t.Grading.Entries, func(mat string) string { return whereOf(t, mat) }), familyNotice)
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

// toldWith are the times that the family of an entry was ever told, also where
// the entry is gone; nil where there are none.
func toldWith(t *app.Timetable, id rankwright.EntryID) []app.PublishedTime {
	if e, f := t.Entry(id); e != nil {
		return t.FamilyTold(f.ID)
	}
	for _, x := range t.TakenBack() {
		if x.Entry == id {
			return t.FamilyTold(x.Household)
		}
	}
	return nil
}

// calendarTimes are told times for a calendar. Of a child who is no longer
// entered there is no name.
func calendarTimes(told []app.PublishedTime, entries []app.EntryView, where func(mat string) string) (out []calendar.Told) {
	for _, x := range told {
		c := calendar.Told{UID: x.UID, Sequence: x.Sequence, Changed: x.At.Time(), Day: x.Day, Start: x.Begins, Minutes: x.Minutes, Where: where(x.Mat), Cancelled: x.Cancelled}
		for i := range entries {
			if entries[i].Entry.ID == x.Entry {
				c.Given = entries[i].Student.GivenName
			}
		}
		out = append(out, c)
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
