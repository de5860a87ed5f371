package store

import (
	"rankwright"
	"rankwright/roster"
)

const studentColumns = `id, given_name, family_name, birth_date, household, ladder, rank, rank_since,
	classes, belt_size, shirt_size, notes, said, updated, erased`

func readStudent(r row) (s StudentRecord, err error) {
	err = r.Scan(&s.ID, &s.GivenName, &s.FamilyName, dayColumn{&s.BirthDate}, &s.Household, &s.Ladder, &s.Rank, dayColumn{&s.RankSince},
		&s.ClassesSinceRank, &s.BeltSize, &s.ShirtSize, &s.Notes, &s.Said, &s.Updated, &s.Erased)
	return s, err
}

type guardianRow struct {
	student rankwright.StudentID
	roster.Guardian
}

func readGuardian(r row) (g guardianRow, err error) {
	err = r.Scan(&g.student, &g.Name, &g.Email, &g.Phone)
	return g, err
}

// Students returns everybody on the roster in order of id, without those who
// were erased.
func (t *Tx) Students() ([]StudentRecord, error) {
	students, err := list(t, readStudent, `SELECT `+studentColumns+` FROM students WHERE erased = 0 ORDER BY id`)
	if err != nil {
		return nil, err
	}
	guardians, err := list(t, readGuardian, `SELECT student, name, email, phone FROM guardians ORDER BY student, place`)
	if err != nil {
		return nil, err
	}
	of := make(map[rankwright.StudentID][]roster.Guardian)
	for _, g := range guardians {
		of[g.student] = append(of[g.student], g.Guardian)
	}
	for i := range students {
		students[i].Guardians = of[students[i].ID]
	}
	return students, nil
}

// Student returns a student by id; of one who was erased only the id, the
// rank and the moment of erasing are left.
func (t *Tx) Student(id rankwright.StudentID) (StudentRecord, error) {
	s, err := one(t, missing("student", id), readStudent, `SELECT `+studentColumns+` FROM students WHERE id = $1`, id)
	if err != nil {
		return s, err
	}
	guardians, err := list(t, readGuardian, `SELECT student, name, email, phone FROM guardians WHERE student = $1 ORDER BY place`, id)
	for _, g := range guardians {
		s.Guardians = append(s.Guardians, g.Guardian)
	}
	return s, err
}

// PutStudents writes students, new or changed, with their guardians. Others
// stay as they are. A student who was erased is not brought back.
func (t *Tx) PutStudents(students []roster.Student, at Moment) error {
	for _, s := range students {
		n, err := t.exec(`INSERT INTO students (`+studentColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, 0)
			ON CONFLICT (id) DO UPDATE SET given_name = excluded.given_name, family_name = excluded.family_name,
				birth_date = excluded.birth_date, household = excluded.household, ladder = excluded.ladder, rank = excluded.rank,
				rank_since = excluded.rank_since, classes = excluded.classes, belt_size = excluded.belt_size,
				shirt_size = excluded.shirt_size, notes = excluded.notes, said = excluded.said, updated = excluded.updated
			WHERE students.erased = 0`,
			s.ID, s.GivenName, s.FamilyName, s.BirthDate, s.Household, s.Ladder, s.Rank, s.RankSince,
			s.ClassesSinceRank, s.BeltSize, s.ShirtSize, s.Notes, s.Said, at)
		if err != nil {
			return err
		}
		if n == 0 {
			return rankwright.Faultf(rankwright.Conflict, "erased", "take the line out, or give a child who came back a new id",
				"the student %q was erased and is not brought back", string(s.ID))
		}
		if _, err := t.exec(`DELETE FROM guardians WHERE student = $1`, s.ID); err != nil {
			return err
		}
		for i, g := range s.Guardians {
			if _, err := t.exec(`INSERT INTO guardians (student, place, name, email, phone) VALUES ($1, $2, $3, $4, $5)`,
				s.ID, i, g.Name, g.Email, g.Phone); err != nil {
				return err
			}
		}
	}
	return nil
}

// EraseStudent removes name, birth date, household, contacts, sizes and notes
// of a student for good. The id stays with rank, marks and ledger, so an id
// must not be a name. The words
// signed for the student go too; their hashes stay. So do the words and addresses
// of messages to the household. With the last student of a household go what the household answered, asked and wrote, its links, and whose
// it is. It does not reach the notes on marks, the reasons that
// people typed elsewhere, or copies of the base. Call Checkpoint after the
// commit: until then the log still holds what was erased.
func (t *Tx) EraseStudent(id rankwright.StudentID, at Moment) error {
	if err := t.forgetMessages(id); err != nil {
		return err
	}
	n, err := t.exec(`UPDATE students SET given_name = '', family_name = '', birth_date = '', household = '', rank_since = '',
		classes = 0, belt_size = '', shirt_size = '', notes = '', said = '', updated = $2, erased = $2 WHERE id = $1`, id, at)
	if err != nil {
		return err
	}
	if n == 0 {
		return missing("student", id)
	}
	if _, err = t.exec(`DELETE FROM guardians WHERE student = $1`, id); err != nil {
		return err
	}
	if err = t.forgetSigned(id); err != nil {
		return err
	}
	if err = t.SetOffTheDoor(OffTheDoor{Student: id}, false); err != nil {
		return err
	}
	if _, err = t.exec(`DELETE FROM handed_out WHERE entry IN (SELECT id FROM entries WHERE student = $1)`, id); err != nil {
		return err
	}
	return t.forgetHouseholds()
}

// Mapping returns how a table with these headings was read last time, as JSON.
func (t *Tx) Mapping(fingerprint string) (string, bool, error) {
	return maybe(t, scalar[string], `SELECT mapping FROM mappings WHERE fingerprint = $1`, fingerprint)
}

// PutMapping keeps how a table with these headings is read.
func (t *Tx) PutMapping(fingerprint, mapping string) error {
	_, err := t.exec(`INSERT INTO mappings (fingerprint, mapping) VALUES ($1, $2)
		ON CONFLICT (fingerprint) DO UPDATE SET mapping = excluded.mapping`, fingerprint, mapping)
	return err
}

// UsedStudentIDs lists every student id ever given out, erased ones too.
func (t *Tx) UsedStudentIDs() ([]rankwright.StudentID, error) {
	return list(t, scalar[rankwright.StudentID], `SELECT id FROM students ORDER BY id`)
}
