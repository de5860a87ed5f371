package store

import (
	"encoding/json"

	"rankwright"
)

const gradingColumns = `id, title, day, place, version, ranks, theme, state, lead, created, signed, signer`

func readGrading(r row) (g Grading, err error) {
	var ranks string
	if err = r.Scan(&g.ID, &g.Title, dayColumn{&g.Day}, &g.Place, &g.Version, &ranks, &g.Theme, &g.State, &g.Lead,
		&g.Created, &g.Signed, &g.Signer); err != nil {
		return g, err
	}
	return g, json.Unmarshal([]byte(ranks), &g.Ranks)
}

// Gradings returns all gradings in order of day and id.
func (t *Tx) Gradings() ([]Grading, error) {
	return list(t, readGrading, `SELECT `+gradingColumns+` FROM gradings ORDER BY day, id`)
}

// Grading returns a grading by id.
func (t *Tx) Grading(id rankwright.GradingID) (Grading, error) {
	return one(t, missing("grading", id), readGrading, `SELECT `+gradingColumns+` FROM gradings WHERE id = $1`, id)
}

// PutGrading writes a grading, new or changed. It does not move the state of
// one that is there: where g.State is another, the grading has moved on
// meanwhile, and that is a conflict.
func (t *Tx) PutGrading(g Grading) error {
	ranks, err := json.Marshal(g.Ranks)
	if err != nil {
		return err
	}
	n, err := t.exec(`INSERT INTO gradings (`+gradingColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
		ON CONFLICT (id) DO UPDATE SET title = excluded.title, day = excluded.day, place = excluded.place, version = excluded.version,
			ranks = excluded.ranks, theme = excluded.theme, lead = excluded.lead, signed = excluded.signed, signer = excluded.signer
		WHERE gradings.state = excluded.state`,
		g.ID, g.Title, g.Day, g.Place, g.Version, string(ranks), g.Theme, g.State, g.Lead, g.Created, g.Signed, g.Signer)
	if err == nil && n == 0 {
		return movedOn()
	}
	return reword(err, "in_use", rankwright.Faultf(rankwright.Invalid, "no_version", "choose a syllabus version",
		"the grading names the syllabus version %q, which is not there", g.Version))
}

// SetGradingState moves a grading from one state to another, and refuses
// where it is in neither of them or somebody else moved it first.
func (t *Tx) SetGradingState(id rankwright.GradingID, from, to string) error {
	n, err := t.exec(`UPDATE gradings SET state = $3 WHERE id = $1 AND state = $2`, id, from, to)
	if err != nil || n == 1 {
		return err
	}
	if _, err := t.Grading(id); err != nil {
		return err
	}
	return movedOn()
}

func movedOn() *rankwright.Fault {
	return rankwright.Faultf(rankwright.Conflict, "moved_on", "reload the page and look at where it stands", "the grading has moved on meanwhile")
}

func readExaminer(r row) (x Examiner, err error) {
	err = r.Scan(&x.Grading, &x.Person, &x.HighestRank)
	return x, err
}

// Examiners returns the panel of a grading in order of person.
func (t *Tx) Examiners(grading rankwright.GradingID) ([]Examiner, error) {
	return list(t, readExaminer, `SELECT grading, person, highest_rank FROM examiners WHERE grading = $1 ORDER BY person`, grading)
}

// PutExaminers replaces the panel of a grading; the field Grading of the
// examiners is not looked at.
func (t *Tx) PutExaminers(grading rankwright.GradingID, panel []Examiner) error {
	if _, err := t.exec(`DELETE FROM examiners WHERE grading = $1`, grading); err != nil {
		return err
	}
	for _, x := range panel {
		if _, err := t.exec(`INSERT INTO examiners (grading, person, highest_rank) VALUES ($1, $2, $3)`,
			grading, x.Person, x.HighestRank); err != nil {
			return err
		}
	}
	return nil
}

func readWaiver(r row) (w Waiver, err error) {
	err = r.Scan(&w.Grading, &w.Rank, &w.Requirement, &w.Entry, &w.Reason, &w.By, &w.At)
	return w, err
}

// Waivers returns what is not asked at a grading, in order of rank,
// requirement and entry.
func (t *Tx) Waivers(grading rankwright.GradingID) ([]Waiver, error) {
	return list(t, readWaiver, `SELECT grading, rank, requirement, entry, reason, said_by, at FROM waivers
		WHERE grading = $1 ORDER BY rank, requirement, entry`, grading)
}

// AddWaiver keeps a new waiver.
func (t *Tx) AddWaiver(w Waiver) error {
	_, err := t.exec(`INSERT INTO waivers (grading, rank, requirement, entry, reason, said_by, at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		w.Grading, w.Rank, w.Requirement, w.Entry, w.Reason, w.By, w.At)
	return reword(err, "taken", rankwright.Faultf(rankwright.Conflict, "waived", "", "the requirement %q is waived there already", string(w.Requirement)))
}

// RemoveWaiver takes back the waiver of the same grading, rank, requirement
// and entry.
func (t *Tx) RemoveWaiver(w Waiver) error {
	n, err := t.exec(`DELETE FROM waivers WHERE grading = $1 AND rank = $2 AND requirement = $3 AND entry = $4`,
		w.Grading, w.Rank, w.Requirement, w.Entry)
	if err == nil && n == 0 {
		return missing("waiver of the requirement", w.Requirement)
	}
	return err
}
