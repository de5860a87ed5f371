package demo

import (
	"rankwright"
	"rankwright/internal/app"
)

// sittings prepares the coming grading's timetable so that it can be planned at
// once: the two lanes of the Netloft's morning, the afternoon, a make-up
// evening, what suits most families, and what binds the examiners.
func (f *filler) sittings(id rankwright.GradingID) error {
	owner, day := f.actors[head], f.dates.day(scenarioExam)
	like := app.LikeUsual()
	like.Most, like.Least, like.Squad, like.Panel, like.Mixed = 6, 2, 3, 2, 2
	rows := []app.SittingsRow{
		{Day: day, From: 10 * 60, Until: 12*60 + 40, Mats: []string{"A", "B"}, Minutes: 40, Like: like},
		{Day: day, From: 14 * 60, Until: 15*60 + 20, Mats: []string{"A"}, Minutes: 40, Like: like},
		{Day: day + 12, From: 17 * 60, Until: 18*60 + 20, Mats: []string{"A"}, Minutes: 40, MakeUp: true, Like: like},
	}
	var sessions []string
	for _, r := range rows {
		s, err := f.app.AddSession(f.ctx, owner, id, r)
		if err != nil {
			return err
		}
		sessions = append(sessions, s.ID)
	}
	t, err := f.app.Timetable(f.ctx, owner, id)
	if err != nil {
		return err
	}
	for i := range t.Families {
		if i%8 == 5 {
			continue // not asked yet
		}
		suits := [][]string{{"best", "yes", "if_need_be"}, {"yes", "no", "if_need_be"}, {"if_need_be", "best", "no"}, {"yes", "yes", "no"}, {"no", "yes", "if_need_be"}}[f.rand.IntN(5)]
		for k, s := range sessions {
			if err := f.app.SetAnswer(f.ctx, f.actors[desk], id, t.Families[i].ID, s, suits[k]); err != nil {
				return err
			}
		}
	}
	for _, x := range []struct {
		who int
		app.ExaminerLimits
	}{
		{tomek, app.ExaminerLimits{Most: 4}},
		{anahera, app.ExaminerLimits{Row: 3, Own: []rankwright.HouseholdID{f.find("Talulah").student.Household}}}, // her niece
		{kaito, app.ExaminerLimits{Away: sessions[1:]}},                                                           // comes for the morning only
	} {
		if err := f.app.SetExaminerLimits(f.ctx, owner, id, f.actors[x.who].ID, x.ExaminerLimits); err != nil {
			return err
		}
	}
	return nil
}
