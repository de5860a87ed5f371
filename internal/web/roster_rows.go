package web

import (
	"rankwright"
	"rankwright/internal/app"
	"rankwright/roster"
)

// rows sorts the rows of a plan by what would become of them.
func (p *importPreviewPage) rows(v app.Preview, belts rosterBelts, answers roster.Answers, asked map[string]bool) {
	keep := func(list *[]importRow, more *int, r importRow) {
		if len(*list) < importShown {
			*list = append(*list, r)
		} else {
			*more++
		}
	}
	for _, r := range v.Plan.Rows {
		row := importRowOf(r, belts)
		switch r.Status {
		case roster.Doubtful:
			if r.Question == nil {
				p.Waiting++
				continue
			}
			if len(p.Doubtful) < importShown {
				f := p.question(*r.Question, "row-"+itoa(r.Line), answers, asked)
				row.Question = &f
			}
			keep(&p.Doubtful, &p.MoreDoubtful, row)
		case roster.Refused:
			keep(&p.Refused, &p.MoreRefused, row)
		case roster.Changed:
			keep(&p.Changed, &p.MoreChanged, row)
		case roster.New:
			keep(&p.New, &p.MoreNew, row)
		default:
			if len(row.Remarks) > 0 && len(p.Remarked) < importShown {
				p.Remarked = append(p.Remarked, row)
			}
		}
	}
}

func importRowOf(r roster.PlanRow, belts rosterBelts) importRow {
	s := r.Student
	row := importRow{Line: r.Line, Name: s.FullName(), Born: rosterDay(s.BirthDate, ""), Belt: belts.of(s.Ladder, s.Rank), Since: rosterDay(s.RankSince, "not given"), Classes: s.ClassesSinceRank}
	if row.Name == "" && r.Was != nil {
		row.Name = r.Was.FullName()
	}
	for _, remark := range r.Remarks {
		row.Remarks = append(row.Remarks, sentence(remark))
	}
	for _, f := range r.Faults {
		say, do := told(f)
		x := importFault{Say: say, Do: do, Column: f.Where.Name}
		if x.Column == "" && f.Where.Column > 0 {
			x.Column = itoa(f.Where.Column)
		}
		if r.Question != nil {
			x.Do = ""
		}
		row.Faults = append(row.Faults, x)
	}
	for _, c := range r.Changes {
		ladder := s.Ladder
		if r.Was != nil && r.Was.Ladder != "" {
			ladder = r.Was.Ladder
		}
		row.Changes = append(row.Changes, importChange{syllabusCapital(c.Field.Label()), importValue(c.Field, c.Before, ladder, belts), importValue(c.Field, c.After, s.Ladder, belts)})
	}
	return row
}

// importValue writes the value of a field for people.
func importValue(f roster.Field, text string, ladder rankwright.LadderID, belts rosterBelts) string {
	switch f {
	case roster.BirthDateField, roster.RankSinceField:
		if d, err := rankwright.ParseDay(text); err == nil {
			return syllabusDay(d)
		}
	case roster.RankField:
		return belts.of(ladder, rankwright.RankID(text)).Name
	case roster.LadderField:
		for _, s := range belts.ladders {
			if string(s.Ladder) == text {
				return s.Name
			}
		}
	}
	if text == "" {
		return "nothing"
	}
	return text
}

// missing names those whom the file does not mention.
func (p *importPreviewPage) missing(q *Query, v app.Preview) error {
	if len(v.Plan.NotInFile) == 0 || p.One() {
		return nil
	}
	students, err := q.App().Students(q.Context(), q.Who)
	if err != nil {
		return err
	}
	names := map[rankwright.StudentID]string{}
	for _, s := range students {
		names[s.ID] = s.FullName()
	}
	for i, id := range v.Plan.NotInFile {
		if i == importShown {
			p.MoreMissing = len(v.Plan.NotInFile) - i
			break
		}
		p.Missing = append(p.Missing, names[id])
	}
	return nil
}

// Apply is the words on the button.
func (p *importPreviewPage) Apply() string {
	if p.One() && p.Left == 0 {
		return "Add this student"
	}
	if p.Left == 0 {
		return "Bring in " + plural(p.Good, "row", "rows")
	}
	return "Bring in the " + plural(p.Good, "good row", "good rows") + " and leave " + itoa(p.Left) + " aside"
}

// Ask says whether there is anything to answer.
func (p *importPreviewPage) Ask() bool { return len(p.Questions)+len(p.Doubtful) > 0 }
