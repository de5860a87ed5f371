package web

import (
	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/ready"
)

type studentsPage struct {
	Frame
	View     app.GradingView
	Empty    *look.Empty
	Yes, No  []candidateRow
	Entered  []candidateRow
	Held     []candidateRow // who showed the rank and waits for a paper
	Overrule bool
}

type candidateRow struct {
	ID, Entry, Name, When string
	Belt                  look.Belt
	Reasons               []look.Reason
	Unmet                 []string
	Waivable, Overruled   bool
}

func gradingStudents(q *Query) (Answer, error) {
	v, err := q.grading()
	if err != nil {
		return nil, err
	}
	list, err := q.App().Candidates(q.Context(), q.Who, v.ID)
	if err != nil {
		return nil, err
	}
	p := &studentsPage{View: v, Overrule: q.Who.Role.May(app.Overrule)}
	p.Title, p.Back = "Who enters", gradingBack(v.ID, v.Title)
	for _, c := range list {
		r := candidateRow{ID: string(c.Student.ID), Name: c.Student.FullName(), Belt: belt(c.Rank), Waivable: c.Answer.Waivable}
		for i := range c.Answer.Reasons {
			x := &c.Answer.Reasons[i]
			r.Reasons = append(r.Reasons, look.Reason{Text: ready.Sentence(x), Met: look.MetIf(x.Met), Shown: ready.Convention(x)})
		}
		for _, x := range c.Answer.Unmet() {
			r.Unmet = append(r.Unmet, ready.Sentence(&x))
		}
		if c.Answer.First != 0 && !c.Answer.Yes {
			r.When = "Yes from " + c.Answer.First.Long() + " on, if nothing else changes."
		}
		switch {
		case c.Entry != nil:
			r.Entry, r.Overruled = string(c.Entry.ID), c.Entry.OverruledBy != ""
			p.Entered = append(p.Entered, r)
		case c.Held != "":
			r.Entry = string(c.Held)
			p.Held = append(p.Held, r)
		case c.Answer.Yes:
			p.Yes = append(p.Yes, r)
		default:
			p.No = append(p.No, r)
		}
	}
	if len(list) == 0 {
		p.Empty = &look.Empty{Title: "Nobody to enter", Text: "No student on the roster has one of this grading's ranks as the next one on this ladder.", Action: &look.Link{Href: "/roster", Text: "Go to the roster"}}
	}
	return Page("students", p), nil
}

func gradingEnter(q *Query) (Answer, error) {
	id := q.PathValue("id")
	var students []rankwright.StudentID
	for _, s := range q.Form["student"] {
		students = append(students, rankwright.StudentID(s))
	}
	if len(students) == 0 {
		q.Flash("attention", "Nobody was chosen. Tick the students who enter.")
		return To("/gradings/" + id + "/students"), nil
	}
	if err := q.App().Enter(q.Context(), q.Who, rankwright.GradingID(id), students); err != nil {
		return nil, err
	}
	q.Flash("good", plural(len(students), "student is entered.", "students are entered."))
	return To("/gradings/" + id + "/students"), nil
}

func gradingAnyway(q *Query) (Answer, error) {
	id := q.PathValue("id")
	err := q.App().EnterAnyway(q.Context(), q.Who, rankwright.GradingID(id), rankwright.StudentID(q.FormValue("student")), q.FormValue("reason"))
	if err != nil {
		return nil, err
	}
	q.Flash("good", "Entered, with your reason.")
	return To("/gradings/" + id + "/students"), nil
}

func gradingWithdraw(q *Query) (Answer, error) {
	if err := q.App().Withdraw(q.Context(), q.Who, rankwright.EntryID(q.PathValue("entry"))); err != nil {
		return nil, err
	}
	q.Flash("good", "The entry is withdrawn.")
	return To("/gradings/" + q.FormValue("grading")), nil
}
