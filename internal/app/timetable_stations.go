package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/syllabus"
	"rankwright/timetable"
)

// Station is a place of a grading's round as the school sets it.
type Station = store.Station

// The largest that a station may be.
const (
	mostStationName = 40
	mostStationNote = 200
)

// StationRow is a station as the round takes it: set by the school, or worked
// out from a section that stands nowhere.
type StationRow struct {
	Station
	Of  []syllabus.Section
	Set bool
}

// Cautions are those of all its sections, each once.
func (s *StationRow) Cautions() (out []syllabus.Caution) {
	for _, sec := range s.Of {
		for _, c := range sec.Cautions {
			if !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

func (s *StationRow) stop() timetable.StationID { return timetable.StationID(s.Of[0].ID) }

// StationsFor are the stations of those ranks, and each one's share of the time,
// which is 0 where the school set its minutes. Stations at which nothing is
// asked of them are left out, and a section that stands nowhere is a station by
// itself. A share is how much is asked, and one more for a squad to settle.
func (t *Timetable) StationsFor(ranks []rankwright.RankID) (out []StationRow, shares []int) {
	asked := slices.DeleteFunc(slices.Clone(t.Grading.Syllabus.Sections), func(x syllabus.Section) bool { return t.asksAt(x.ID, ranks) == 0 })
	out = placed(t.Stations, asked)
	for _, row := range out {
		share := 1
		for _, sec := range row.Of {
			share += t.asksAt(sec.ID, ranks)
		}
		if row.Minutes > 0 {
			share = 0
		}
		shares = append(shares, share)
	}
	return out, shares
}

// placed puts sections at the stations that the school set, and makes a station
// of each that stands at none, in the order in which they are given. A station
// without any of them is left out.
func placed(set []Station, sections []syllabus.Section) (out []StationRow) {
	left := slices.Clone(sections)
	for _, s := range set {
		row := StationRow{Station: s, Set: true}
		for _, id := range s.Sections {
			if i := slices.IndexFunc(left, func(x syllabus.Section) bool { return x.ID == id }); i >= 0 {
				row.Of, left = append(row.Of, left[i]), slices.Delete(left, i, i+1)
			}
		}
		if len(row.Of) > 0 {
			out = append(out, row)
		}
	}
	for _, sec := range left {
		out = append(out, StationRow{Station: Station{Name: sec.Name, Sections: []rankwright.SectionID{sec.ID}}, Of: []syllabus.Section{sec}})
	}
	return out
}

// sheetStations are the stations of a rank as its sheet has them: with all that
// is marked, in the order in which it is called.
func sheetStations(set []Station, s *syllabus.Syllabus, k *syllabus.Rank) []StationRow {
	var sections []syllabus.Section
	for i := range k.Requirements {
		id := k.Requirements[i].Section
		if slices.ContainsFunc(sections, func(x syllabus.Section) bool { return x.ID == id }) {
			continue
		}
		sec := syllabus.Section{ID: id, Name: string(id)}
		if x := s.Section(id); x != nil {
			sec = *x
		}
		sections = append(sections, sec)
	}
	return placed(set, sections)
}

// circuitOf is the round of squads at some stations, falls before partner work.
func circuitOf(w *Sitting, stations []StationRow, squads []timetable.CircuitSquad) *timetable.Circuit {
	c := &timetable.Circuit{Start: timetable.Minute(w.Begins), Squads: squads, LittleWork: timetable.DefaultLittleWork, LittleBreak: timetable.DefaultLittleBreak}
	var falls []timetable.StationID
	for i := range stations {
		if slices.Contains(stations[i].Cautions(), syllabus.Falls) {
			falls = append(falls, stations[i].stop())
		}
	}
	for i := range stations {
		stop := timetable.Stop{ID: stations[i].stop(), Minutes: stations[i].Minutes}
		if slices.Contains(stations[i].Cautions(), syllabus.Partner) && !slices.Contains(falls, stop.ID) {
			stop.After = falls
		}
		c.Stops = append(c.Stops, stop)
	}
	return c
}

// ranksOf are the ranks that may come to a sitting.
func (t *Timetable) ranksOf(w *Sitting) []rankwright.RankID {
	if len(w.Ranks) > 0 {
		return w.Ranks
	}
	return t.Grading.Ranks
}

// AskedAt is the most that is asked of one of the grading's ranks in a section.
func (t *Timetable) AskedAt(id rankwright.SectionID) int { return t.asksAt(id, t.Grading.Ranks) }

// Unplaced are the sections of which something is asked at the grading, and
// that stand at none of its stations. Where no station is set, none are.
func (t *Timetable) Unplaced() (out []syllabus.Section) {
	if len(t.Stations) == 0 {
		return nil
	}
	for _, sec := range t.Grading.Syllabus.Sections {
		at := slices.ContainsFunc(t.Stations, func(s Station) bool { return slices.Contains(s.Sections, sec.ID) })
		if !at && t.asksAt(sec.ID, t.Grading.Ranks) > 0 {
			out = append(out, sec)
		}
	}
	return out
}

// tooLong says of the stations as they are set why nobody of some rank gets
// round them in a sitting, nil where all do.
func (t *Timetable) tooLong(w *Sitting) error {
	if len(t.Stations) == 0 || w.Lost {
		return nil
	}
	for _, rank := range t.ranksOf(w) {
		stations, shares := t.StationsFor([]rankwright.RankID{rank})
		need := 0
		for i := range stations {
			need += max(stations[i].Minutes, min(1, shares[i]))
		}
		if need > w.Minutes {
			k, _ := t.Grading.Syllabus.Rank(rank)
			return invalid("minutes", "give the stations fewer minutes, or the sitting more; a station without minutes takes what is left",
				"the sitting at %s on mat %s takes %d minutes, and a squad of %s needs %d at its stations", timetable.Minute(w.Begins), w.Mat, w.Minutes, k.Name, need)
		}
	}
	return nil
}

// Crowded says of a sitting, were it full, how many squads it would have and
// how many minutes they would need for their round with everybody asked whom it
// may take; need is 0 where the time is enough or no station is set.
func (t *Timetable) Crowded(w *Sitting) (squads, need int) {
	if len(t.Stations) == 0 || w.Lost {
		return 0, 0
	}
	squads = fullSquads(w)
	stations, shares := t.StationsFor(t.ranksOf(w))
	least, err := timetable.LeastRound(circuitOf(w, stations, make([]timetable.CircuitSquad, squads)), shares, rotateNodes/10)
	if err != nil || least <= w.Minutes {
		return squads, 0
	}
	return squads, least
}

// fullSquads is how many squads a sitting has were it full.
func fullSquads(w *Sitting) int { return (w.Most + w.Squad - 1) / w.Squad }

// Understaffed says how many examiners the stations need at once in the worst
// case, with each squad of a full sitting at one of those that need most, where
// the smallest panel of a sitting has fewer; need is 0 where all have enough.
func (t *Timetable) Understaffed() (squads, need, panel int) {
	panel = -1
	for i := range t.Sittings {
		w := &t.Sittings[i]
		if w.Lost || w.Panel < 1 {
			continue
		}
		squads = max(squads, fullSquads(w))
		if panel < 0 || w.Panel < panel {
			panel = w.Panel
		}
	}
	var most []int
	for _, s := range t.Stations {
		most = append(most, s.Examiners)
	}
	slices.SortFunc(most, func(a, b int) int { return b - a })
	for _, n := range most[:min(squads, len(most))] {
		need += n
	}
	if panel < 0 || need <= panel {
		need = 0
	}
	return squads, need, panel
}

// SetStations sets the stations of a grading; none lets each section be one,
// with minutes by how much is asked. What is planned and told stays as it is.
func (a *App) SetStations(ctx context.Context, who Actor, id rankwright.GradingID, list []Station) error {
	return a.do(ctx, who, PlanTimes, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		t, err := a.timetable(tx, id)
		if err != nil {
			return nil, err
		}
		t.Stations = slices.Clone(list)
		if err := t.checkStations(); err != nil {
			return nil, err
		}
		for i := range t.Sittings {
			if err := t.tooLong(&t.Sittings[i]); err != nil {
				return nil, err
			}
		}
		return map[string]any{"stations": len(list)}, tx.PutStations(id, t.Stations)
	})
}

// checkStations says what the stations lack, and tidies their words.
func (t *Timetable) checkStations() error {
	if len(t.Stations) > timetable.MostStops {
		return invalid("stations", "put some together", "there are %d stations, and a round has at most %d", len(t.Stations), timetable.MostStops)
	}
	at := map[rankwright.SectionID]string{}
	names := map[string]bool{}
	for i := range t.Stations {
		s := &t.Stations[i]
		s.Name, s.Note = strings.Join(strings.Fields(s.Name), " "), strings.Join(strings.Fields(s.Note), " ")
		field := func(name string) string { return StationField(name, i) }
		switch low := strings.ToLower(s.Name); {
		case s.Name == "":
			return invalid(field("name"), "give it one that is read aloud easily, such as Hands", "station %d has no name", i+1)
		case utf8.RuneCountInString(s.Name) > mostStationName:
			return invalid(field("name"), "write 40 letters at most", "the name of station %d is too long", i+1)
		case names[low]:
			return invalid(field("name"), "give each station its own name", "two stations are called %q", s.Name)
		case len(s.Sections) == 0:
			return invalid(field("name"), "put a section there, or take the station out", "nothing is shown at the station %q", s.Name)
		case s.Minutes < 0 || s.Minutes > 240:
			return invalid(field("minutes"), "write 1 to 240, or leave it empty to have it worked out", "a squad cannot be at the station %q for %d minutes", s.Name, s.Minutes)
		case s.Examiners < 0 || s.Examiners > rankwright.MaxMean:
			return invalid(field("examiners"), "write 0 to 10; 0 is not said", "the station %q cannot need %d examiners", s.Name, s.Examiners)
		case utf8.RuneCountInString(s.Note) > mostStationNote:
			return invalid(field("note"), "write 200 letters at most", "the note of the station %q is too long", s.Name)
		default:
			names[low] = true
		}
		for _, id := range s.Sections {
			sec := t.Grading.Syllabus.Section(id)
			if sec == nil {
				return invalid("sections", "load the page again", "the syllabus has no section %q", id)
			}
			if other, there := at[id]; there {
				return invalid("section."+string(id), "leave it at one of them, so that nobody is asked twice", "%s stands at two stations, %q and %q", sec.Name, other, s.Name)
			}
			at[id] = s.Name
		}
		for _, p := range s.People {
			if !slices.ContainsFunc(t.Examiners, func(x ExaminerTimes) bool { return x.Person == p }) {
				return invalid(field("people"), "choose among the grading's examiners", "somebody who is to stand at %q does not examine at this grading", s.Name)
			}
		}
	}
	for _, sec := range t.Unplaced() {
		return invalid("section."+string(sec.ID), "choose the station at which it is shown", "%s stands at no station, so what is asked of it would not be shown", sec.Name)
	}
	return nil
}

// StationField names a field of a station in a form, such as name.02; faults of
// SetStations name it.
func StationField(name string, i int) string {
	return fmt.Sprintf("%s.%02d", name, i)
}

// copyStations takes over another grading's stations, as far as the syllabus
// still has their sections.
func copyStations(tx *store.Tx, from, to rankwright.GradingID, s *syllabus.Syllabus) error {
	there, err := tx.Stations(to)
	if err != nil || len(there) > 0 {
		return err
	}
	list, err := tx.Stations(from)
	if err != nil {
		return err
	}
	for i := range list {
		list[i].Sections = slices.DeleteFunc(list[i].Sections, func(id rankwright.SectionID) bool { return s.Section(id) == nil })
	}
	list = slices.DeleteFunc(list, func(x Station) bool { return len(x.Sections) == 0 })
	return tx.PutStations(to, list)
}
