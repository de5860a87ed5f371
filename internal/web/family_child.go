package web

import (
	"slices"
	"strings"
	"time"

	"rankwright"
	"rankwright/coach"
	"rankwright/internal/app"
	"rankwright/internal/guide"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

type familyGuidePage struct {
	familyFrame
	Belt     look.Belt
	ID       string
	Day      string
	Sections []familySection
	Extras   []familyAsked
	NotAsked []string
	Stands   []string
	Bring    []string
	Cautions *look.Caution
	Theme    string
	Guide    look.Link // of the whole rank
}

type familySection struct {
	Name  string
	Asked []familyAsked
}

type familyAsked struct {
	Show, Expect string
	Must, Before bool
	Parts        []string
}

// familyGuide says in plain words what will be asked of one child.
func familyGuide(f *familyQuery) (Answer, error) {
	v, c, err := f.child()
	if err != nil {
		return nil, err
	}
	name := words.Set{Name: "Name", Value: c.Student.GivenName}
	p := &familyGuidePage{familyFrame: f.frame(f.say.It("guide.title", name)), Belt: belt(c.Of), ID: string(c.Entry.ID), Day: f.say.Day(c.Until), Bring: f.School.DoorLines(), Guide: f.guideLink(c)}
	p.back(f)
	p.Kicker, p.Lead = f.say.Apart(v.Grading.Title), f.say.It("guide.lead", words.Set{Name: "Rank", Value: c.Of.Name})
	for _, q := range c.Asked {
		x := f.asked(c, q)
		if q.Bonus {
			p.Extras = append(p.Extras, x)
			continue
		}
		if q.Themed && v.Grading.Theme != "" {
			p.Theme = f.say.It("guide.theme", words.Set{Name: "Theme", Value: v.Grading.Theme})
		}
		name := ""
		if s := v.Syllabus.Section(q.Section); s != nil {
			name = s.Name
		}
		if n := len(p.Sections); n == 0 || p.Sections[n-1].Name != name {
			p.Sections = append(p.Sections, familySection{Name: name})
		}
		last := &p.Sections[len(p.Sections)-1]
		last.Asked = append(last.Asked, x)
		if !coach.Safe(v.Syllabus, q) {
			p.Cautions = familyCautions(f.say, f.School)
		}
	}
	for _, q := range c.NotAsked {
		p.NotAsked = append(p.NotAsked, q.Show)
	}
	for _, q := range c.Stands {
		p.Stands = append(p.Stands, q.Show)
	}
	return Page("family-guide", p), nil
}

func (f *familyQuery) asked(c *app.FamilyChild, q *syllabus.Requirement) familyAsked {
	return familyAsked{Show: q.Show, Expect: f.expects(c, q), Must: q.Must, Before: q.Before, Parts: q.Parts}
}

// expects says how much of a requirement counts as shown for a child; "" where
// it is simply shown, or the age is not known.
func (f *familyQuery) expects(c *app.FamilyChild, q *syllabus.Requirement) string {
	if c.Band < 0 && len(q.ExpectByBand) > 0 {
		return ""
	}
	return guide.Enough(f.say, q, q.Expected(c.Band))
}

// familyCautions are the usual cautions about falls and partner work, for
// practice at home: the school's own sentence and local rules first.
func familyCautions(say *words.Say, sc app.School) *look.Caution {
	return &look.Caution{Title: say.It("caution.title"), Local: sc.Cautions, Lines: guide.CautionLines(say), People: sc.Safety}
}

type familyPracticePage struct {
	familyFrame
	Belt     look.Belt
	ID       string
	Tasks    []planTask
	Today    []planTask
	Minutes  string // of today
	Rest     string // why there is nothing today
	Weeks    []planWeek
	Heads    []string
	Off      int // the head of the day without practice
	Class    []string
	Left     []string
	Cautions *look.Caution
	Fitness  bool
	None     string
}

type planTask struct {
	No         int
	How, Show  string
	Note, Time string
	Parts      []string
	First      bool
}

type planWeek struct {
	Label string
	Begin string // its first day
	Now   bool
	Days  []planDay
	Cells []planDay // in the order of the week
}

type planDay struct {
	Name, Numbers, Time string
	Bare                string // the numbers with spaces alone, for the narrow sheet
	Today               bool
}

// familyPractice is the plan for home, week by week until the day.
func familyPractice(f *familyQuery) (Answer, error) {
	v, c, err := f.child()
	if err != nil {
		return nil, err
	}
	name := words.Set{Name: "Name", Value: c.Student.GivenName}
	p := &familyPracticePage{familyFrame: f.frame(f.say.It("plan.title", name)), Belt: belt(c.Of), ID: string(c.Entry.ID), Cautions: familyCautions(f.say, f.School)}
	p.back(f)
	p.Kicker, p.Lead = f.say.Apart(v.Grading.Title)+f.say.Comma()+f.say.Day(c.Until), f.say.It("plan.lead")
	tasks, class := coach.Home(v.Syllabus, c.Asked, c.Weak)
	plan := coach.NewPlan(tasks, c.From, c.Until, time.Sunday)
	for i, x := range tasks {
		p.Tasks = append(p.Tasks, f.task(c, i, x))
		if q := c.Of.Requirement(x.Requirement); q != nil {
			p.Fitness = p.Fitness || tiring(v.Syllabus, q)
		}
	}
	for _, id := range class {
		p.Class = append(p.Class, c.Of.Requirement(id).Show)
	}
	for _, i := range plan.Left {
		p.Left = append(p.Left, p.Tasks[i].Show)
	}
	if len(plan.Days) == 0 {
		p.None = f.say.It("plan.none")
		return Page("family-practice", p), nil
	}
	f.weeks(p, plan)
	return Page("family-practice", p), nil
}

func tiring(s *syllabus.Syllabus, q *syllabus.Requirement) bool {
	return slices.Contains(s.CautionsOf(q), syllabus.Fitness)
}

func (f *familyQuery) task(c *app.FamilyChild, i int, x coach.Task) planTask {
	q := c.Of.Requirement(x.Requirement)
	t := planTask{No: i + 1, Show: q.Show, Time: f.say.Many("plan.minutes", x.Minutes), Parts: q.Parts, First: x.Weak}
	t.How = f.say.It([]words.Key{coach.Do: "plan.do", coach.SayAndDo: "plan.say-and-do", coach.Say: "plan.say", coach.Think: "plan.think"}[x.How])
	if x.OnlySaid {
		t.Note = f.say.It("plan.only-said")
	} else {
		t.Note = f.expects(c, q)
	}
	return t
}

func (f *familyQuery) weeks(p *familyPracticePage, plan coach.Plan) {
	today := f.App().Today()
	first := f.say.FirstDay()
	sunday := rankwright.NewDay(2026, 10, 4)
	p.Off = (7 - int(first)) % 7
	for d := range rankwright.Day(7) {
		p.Heads = append(p.Heads, f.say.WeekdayShort(sunday+rankwright.Day(first)+d))
	}
	p.Rest = f.say.It("plan.rest")
	if today < plan.Days[0].On {
		p.Rest = f.say.It("plan.begins", words.Set{Name: "Day", Value: f.say.Day(plan.Days[0].On)})
	}
	for _, w := range plan.Weeks(first) {
		x := planWeek{Begin: f.say.Short(w.Begins), Now: today >= w.Begins && today < w.Begins+7, Label: f.say.It("plan.week", words.Set{Name: "Day", Value: f.say.Short(w.Begins)})}
		for i, d := range w.Days {
			if d == nil {
				x.Cells = append(x.Cells, planDay{})
				continue
			}
			var numbers []string
			slices.Sort(d.Tasks) // as the list has them
			for _, t := range d.Tasks {
				numbers = append(numbers, f.say.Number(rankwright.Whole(t+1)))
			}
			day := planDay{Name: p.Heads[i] + " " + f.say.Short(d.On), Numbers: strings.Join(numbers, f.say.Comma()), Bare: strings.Join(numbers, " "), Time: f.say.Many("plan.minutes", d.Minutes), Today: d.On == today}
			x.Cells, x.Days = append(x.Cells, day), append(x.Days, day)
			if day.Today {
				p.Minutes = day.Time
				for _, t := range d.Tasks {
					p.Today = append(p.Today, p.Tasks[t])
				}
			}
		}
		p.Weeks = append(p.Weeks, x)
	}
}
