package web

import (
	"bytes"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/calendar"
	"rankwright/internal/words"
)

// familyNotice is what stands in a family's calendar entry: when to be there,
// and a reminder two hours before (common practice, no published source).
func familyNotice(say *words.Say) calendar.Notice {
	return calendar.Notice{Early: 15, Remind: 120, Words: &calendar.Words{
		Summary: func(given []string) string {
			if len(given) == 0 {
				return say.It("calendar.grading")
			}
			return say.It("calendar.grading-of", words.Set{Name: "Names", Value: say.And(given)})
		},
		TakenBack: say.It("calendar.back"),
		Early:     say.It("home.early"),
		Bring: func(things []string) string {
			return say.It("calendar.bring", words.Set{Name: "Things", Value: say.And(things)})
		},
	}}
}

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
		langs, err := q.App().Languages(q.Context(), q.Who)
		if err != nil {
			return nil, err
		}
		say := q.School.Say(langs.Of(told[0].Household))
		f.Events = calendar.Family(calendarTimes(told, t.Grading.Entries, func(mat string) string { return placeAndMat(say, t.Grading.Place, mat) }), familyNotice(say))
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

// placeAndMat is where a child is to come, for its family.
func placeAndMat(say *words.Say, place, mat string) string {
	where := say.It("home.mat", words.Set{Name: "Mat", Value: mat})
	if place != "" {
		where = say.Apart(place) + say.Comma() + where
	}
	return where
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
