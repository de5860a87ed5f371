package coach

import (
	"cmp"
	"slices"
	"time"

	"rankwright"
)

// The measure of a plan in minutes and days: common practice, no published
// source.
const (
	// MostMinutes is the most on one day, LightMinutes on the last days, on
	// which what was learned is only looked at once more.
	MostMinutes  = 10
	LightMinutes = 5
	LightDays    = 2
	// MostDays is how far before the day a plan begins at the earliest.
	MostDays = 56

	mostOfTask = 4                            // minutes
	sureOfDay  = MostMinutes + 1 - mostOfTask // minutes that are filled whatever the tasks
	newOfDay   = 6                            // minutes of new things, where there is time
	again      = 3                            // days from one time of a movement to the next
	againWeak  = 2
)

// Easiness of a thing to learn in tenths, as SM-2 begins with it, and the
// least that it knows, for what fell short last time.
const (
	Easy = 25
	Hard = 13
)

// Interval is after how many days something learned by heart is repeated for
// the n-th time, n from 1: one day, six days, then each time the easiness
// longer, rounded up.
//
// Source: P. A. Wozniak, Optimization of learning, master's thesis, University
// of Technology in Poznan, 1990, section 3.2: the algorithm SM-2, for answers
// of the fourth degree, which leave the easiness as it is.
func Interval(n, easiness int) int {
	days := 1
	for i := 2; i <= n; i++ {
		if i == 2 {
			days = 6
		} else {
			days = (days*easiness + 9) / 10
		}
	}
	return days
}

// Day is what comes on one day, as places in the list of tasks.
type Day struct {
	On      rankwright.Day
	Tasks   []int
	Minutes int
}

// Plan is a day-by-day plan. Days without tasks are not in it.
type Plan struct {
	Days []Day
	// Left are the tasks for which there was no time before the day.
	Left []int
}

// Week is a week of a plan, from its first day.
type Week struct {
	Begins rankwright.Day
	Days   [7]*Day // nil where nothing comes
}

// Weeks puts the days into weeks that begin with a day of the week, without a
// gap.
func (p Plan) Weeks(first time.Weekday) []Week {
	var out []Week
	for i := range p.Days {
		d := &p.Days[i]
		place := (int(d.On.Weekday()-first) + 7) % 7
		begins := d.On - rankwright.Day(place)
		for len(out) == 0 || out[len(out)-1].Begins < begins {
			next := begins
			if len(out) > 0 {
				next = out[len(out)-1].Begins + 7
			}
			out = append(out, Week{Begins: next})
		}
		out[len(out)-1].Days[place] = d
	}
	return out
}

// practice is how far one task has come.
type practice struct {
	task  *Task
	times int
	last  rankwright.Day
	due   rankwright.Day // the first day of the next time
}

// NewPlan plans the tasks from a day until the day before the examination,
// with no practice on the weekday off (-1 is none). What fell short last time
// begins before all else. What is learned by heart is repeated no sooner than
// Interval says, movements after two or three days. The last days are short and
// bring nothing but one more look at what was learned by heart.
func NewPlan(tasks []Task, from, exam rankwright.Day, off time.Weekday) Plan {
	from = max(from, exam-MostDays)
	all := make([]practice, len(tasks))
	for i := range tasks {
		all[i].task = &tasks[i]
	}
	var plan Plan
	for d := from; d < exam; d++ {
		if d.Weekday() == off {
			continue
		}
		day := Day{On: d}
		if d >= exam-LightDays {
			lastLook(all, &day)
		} else {
			learn(all, &day, fullDays(d+1, exam, off))
		}
		if len(day.Tasks) > 0 {
			plan.Days = append(plan.Days, day)
		}
	}
	for i := range all {
		if all[i].times == 0 {
			plan.Left = append(plan.Left, i)
		}
	}
	return plan
}

// fullDays counts the days from d on that are not among the light ones.
func fullDays(d, exam rankwright.Day, off time.Weekday) (n int) {
	for ; d < exam-LightDays; d++ {
		if d.Weekday() != off {
			n++
		}
	}
	return n
}

// learn fills an ordinary day: what is due by heart, new things, movements. New
// things come first where they would not all come in otherwise: every later
// day has room for sureOfDay minutes of them, however long the tasks are.
func learn(all []practice, day *Day, daysAfter int) {
	begin := 0
	for i := range all {
		if all[i].times == 0 {
			begin += all[i].task.Minutes
		}
	}
	most := newOfDay
	if begin > sureOfDay*daysAfter {
		most = MostMinutes
		startNew(all, day, most)
	}
	due := func(p *practice, memory bool) bool {
		return p.times > 0 && p.due <= day.On && p.task.How.Memory() == memory
	}
	for _, i := range order(all, func(p *practice) bool { return due(p, true) }) {
		take(all, i, day, MostMinutes)
	}
	startNew(all, day, most)
	for _, i := range order(all, func(p *practice) bool { return due(p, false) }) {
		take(all, i, day, MostMinutes)
	}
}

// startNew begins new things, weak ones before all others.
func startNew(all []practice, day *Day, most int) {
	fresh := 0
	for _, i := range order(all, func(p *practice) bool { return p.times == 0 }) {
		if fresh+all[i].task.Minutes <= most && take(all, i, day, MostMinutes) {
			fresh += all[i].task.Minutes
		} else if all[i].task.Weak {
			return // no other begins before it
		}
	}
}

// lastLook fills one of the last days with what is learned by heart, what was
// seen longest ago first.
func lastLook(all []practice, day *Day) {
	for _, i := range order(all, func(p *practice) bool { return p.task.How.Memory() && p.last < day.On }) {
		take(all, i, day, LightMinutes)
	}
}

// order lists the practices that a condition picks: what is new before what is
// not, weak before others, what was due or seen longest ago first, and then as
// the rank has them. New things by heart come before new movements.
func order(all []practice, pick func(*practice) bool) []int {
	var out []int
	for i := range all {
		if pick(&all[i]) {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int {
		p, q := &all[a], &all[b]
		return cmp.Or(first(p.times == 0, q.times == 0), first(p.task.Weak, q.task.Weak), cmp.Compare(p.last, q.last),
			first(p.task.How.Memory(), q.task.How.Memory()))
	})
	return out
}

func first(a, b bool) int {
	switch {
	case a && !b:
		return -1
	case b && !a:
		return 1
	}
	return 0
}

// take puts a task on a day if there is room for it.
func take(all []practice, i int, day *Day, most int) bool {
	p := &all[i]
	if p.last == day.On || day.Minutes+p.task.Minutes > most {
		return false
	}
	day.Tasks, day.Minutes = append(day.Tasks, i), day.Minutes+p.task.Minutes
	p.times++
	p.last = day.On
	easiness, rest := Easy, again
	if p.task.Weak {
		easiness, rest = Hard, againWeak
	}
	if p.task.How.Memory() {
		rest = Interval(p.times, easiness)
	}
	p.due = day.On + rankwright.Day(rest)
	return true
}
