package store

import (
	"encoding/json"

	"rankwright"
)

// Station is a place of a grading's round, where some sections are shown.
type Station struct {
	Name      string
	Sections  []rankwright.SectionID
	Minutes   int      // that a squad spends there; 0 is worked out
	Examiners int      // how many are needed there; 0 is not said
	People    []string // who stands there; none is whoever is free
	Note      string
}

// Stations returns the stations of a grading in the order of their places, none
// where nothing was set.
func (t *Tx) Stations(grading rankwright.GradingID) ([]Station, error) {
	return list(t, func(r row) (s Station, err error) {
		var sections, people string
		if err = r.Scan(&s.Name, &sections, &s.Minutes, &s.Examiners, &people, &s.Note); err != nil {
			return s, err
		}
		if err = json.Unmarshal([]byte(sections), &s.Sections); err != nil {
			return s, err
		}
		return s, json.Unmarshal([]byte(people), &s.People)
	}, `SELECT name, sections, minutes, examiners, people, note FROM stations WHERE grading = $1 ORDER BY place`, grading)
}

// PutStations replaces the stations of a grading; none lets them be worked out.
func (t *Tx) PutStations(grading rankwright.GradingID, stations []Station) error {
	if _, err := t.exec(`DELETE FROM stations WHERE grading = $1`, grading); err != nil {
		return err
	}
	for i, s := range stations {
		sections, err := json.Marshal(s.Sections)
		if err != nil {
			return err
		}
		people, err := json.Marshal(s.People)
		if err != nil {
			return err
		}
		_, err = t.exec(`INSERT INTO stations (grading, place, name, sections, minutes, examiners, people, note) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			grading, i+1, s.Name, string(sections), s.Minutes, s.Examiners, string(people), s.Note)
		if err != nil {
			return reword(err, "in_use", missing("grading", grading))
		}
	}
	return nil
}

// OffTheDoor says that a child's name is not to hang on a door.
type OffTheDoor struct {
	Student rankwright.StudentID
	By      string // who said or wrote it down, a person or a family's link
	At      Moment
}

// OffTheDoor returns whose names are not to hang on a door, in order of student.
func (t *Tx) OffTheDoor() ([]OffTheDoor, error) {
	return list(t, func(r row) (o OffTheDoor, err error) {
		err = r.Scan(&o.Student, &o.By, &o.At)
		return o, err
	}, `SELECT student, said_by, at FROM off_the_door ORDER BY student`)
}

// SetOffTheDoor says that a child's name is not to hang on a door, or may.
func (t *Tx) SetOffTheDoor(o OffTheDoor, off bool) error {
	if !off {
		_, err := t.exec(`DELETE FROM off_the_door WHERE student = $1`, o.Student)
		return err
	}
	_, err := t.exec(`INSERT INTO off_the_door (student, said_by, at) VALUES ($1, $2, $3) ON CONFLICT (student) DO NOTHING`, o.Student, o.By, o.At)
	return reword(err, "in_use", missing("student", o.Student))
}
