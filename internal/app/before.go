package app

import (
	"context"
	"fmt"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// What a syllabus calls "before the day" is seen in class or at the door: a
// coach's word, attendance, short nails. It is marked from planning on, by the
// desk too, and not only by the panel. Such a mark is the school's and not one
// examiner's, so that there is one for each requirement of an entry: whoever
// gives it again corrects it, in the name under which it stands.

// GivenBefore is the mark of a requirement that is scored before the day.
type GivenBefore struct {
	Value scoring.Value
	Note  string
	By    string // in whose name it stands
}

type beforeKey struct {
	entry       rankwright.EntryID
	requirement rankwright.RequirementID
}

// AsksBefore says whether a rank asks for something before the day.
func AsksBefore(k *syllabus.Rank) bool {
	for i := range k.Requirements {
		if k.Requirements[i].Before {
			return true
		}
	}
	return false
}

// Before returns what is marked before the day in a grading. A mark that was
// taken back is not among them.
func (a *App) Before(ctx context.Context, who Actor, id rankwright.GradingID) (out map[rankwright.EntryID]map[rankwright.RequirementID]GivenBefore, err error) {
	out = map[rankwright.EntryID]map[rankwright.RequirementID]GivenBefore{}
	err = a.see(ctx, who, GiveBefore, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		s, err := a.asked(tx, id)
		if err != nil {
			return err
		}
		last, err := lastBefore(tx, s, id)
		if err != nil {
			return err
		}
		names := map[rankwright.ExaminerID]string{}
		for key, m := range last {
			if m.Value.Sort == scoring.NotSeen {
				continue
			}
			if _, ok := names[m.Examiner]; !ok {
				p, err := tx.Person(string(m.Examiner))
				if err != nil {
					return err
				}
				names[m.Examiner] = p.Name
			}
			if out[key.entry] == nil {
				out[key.entry] = map[rankwright.RequirementID]GivenBefore{}
			}
			out[key.entry][key.requirement] = GivenBefore{m.Value, m.Note, names[m.Examiner]}
		}
		return nil
	})
	return out, err
}

// lastBefore finds the latest mark of each requirement before the day: by the
// logical clock, and then by their arrival.
func lastBefore(tx *store.Tx, s *asked, id rankwright.GradingID) (map[beforeKey]store.MarkRow, error) {
	rows, err := tx.MarksOfGrading(id)
	if err != nil {
		return nil, err
	}
	out := map[beforeKey]store.MarkRow{}
	for _, r := range rows {
		if q := s.requirement(r.Entry, r.Requirement); q == nil || !q.Before {
			continue
		}
		key := beforeKey{r.Entry, r.Requirement}
		if old, ok := out[key]; !ok || old.Clock < r.Clock || old.Clock == r.Clock && old.Arrival < r.Arrival {
			out[key] = r
		}
	}
	return out, nil
}

func (s *asked) requirement(e rankwright.EntryID, id rankwright.RequirementID) *syllabus.Requirement {
	if k := s.ranks[e]; k != nil {
		return k.Requirement(id)
	}
	return nil
}

// GiveBefore gives marks of requirements that are scored before the day, and
// answers each as AddMarks does. Any other requirement is refused.
func (a *App) GiveBefore(ctx context.Context, who Actor, id rankwright.GradingID, marks []scoring.Mark) (answers []Answered, err error) {
	if len(marks) > mostMarks {
		return nil, rankwright.Faultf(rankwright.TooLarge, "too_many_marks", "send them in smaller batches", "a batch may hold at most %d marks, not %d", mostMarks, len(marks))
	}
	err = a.do(ctx, who, GiveBefore, on{"grading", string(id), id}, func(tx *store.Tx) (any, error) {
		s, err := a.asked(tx, id)
		if err != nil {
			return nil, err
		}
		last, err := lastBefore(tx, s, id)
		if err != nil {
			return nil, err
		}
		answers = make([]Answered, len(marks))
		var sent []scoring.Sent
		var places []int
		for i, m := range marks {
			if q := s.requirement(m.Entry, m.Requirement); q != nil && !q.Before {
				answers[i].Refuse = fmt.Sprintf("“%s” is marked on the mat, not before the day", q.Show)
				continue
			}
			m.ID, m.Examiner = "", rankwright.ExaminerID(who.ID)
			if old, ok := last[beforeKey{m.Entry, m.Requirement}]; ok {
				m.Examiner, m.Try = old.Examiner, old.Try
			}
			sent, places = append(sent, scoring.Sent{Mark: m}), append(places, i)
		}
		got, count, err := a.takeMarks(tx, who, id, sent)
		for k, x := range got {
			answers[places[k]] = x
		}
		return count, err
	})
	return answers, err
}
