// Package demo makes an invented club with a past: Otterlight Youth Karate and
// Self-Defence of Pellmarrow Quay, which is nowhere. Everything happens
// through the app's own methods, as if people had done it, and always the same
// way: nothing in it is left to the day's chance.
package demo

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"rankwright"
	"rankwright/examples"
	"rankwright/internal/app"
)

// Person is somebody who can sign in to the demo.
type Person struct {
	Name     string
	Role     app.Role
	Password string
	highest  rankwright.RankID
}

// People are those who can sign in, the head instructor first. The passwords
// guard nothing and are printed.
var People = []Person{
	{"Sefanaia Lindqvist-Amoako", app.Owner, "lantern tide netloft", ""},
	{"Dilnozakhon Rahimbek", app.Instructor, "quiet harbour drum", ""},
	{"Tomek Wielgosek", app.Instructor, "seven green kites", "copper"},
	{"Anahera Ropatini", app.Instructor, "river stone whistle", "copper"},
	{"Kaito Barretto-Sato", app.Examiner, "north valley apricot", ""},
	{"Perpetua Okwuosah", app.Assistant, "paper boat kettle", ""},
}

// The places of the people above.
const (
	head = iota
	dilnozakhon
	tomek
	anahera
	kaito
	desk
)

// The days of the two gradings that are over when the demo starts, in the
// story's own time.
var (
	firstExam  = rankwright.MustDay("2026-02-28")
	secondExam = rankwright.MustDay("2026-07-18")
)

const luck = 20261010 // what the club's chances start from

// Club is what Fill made.
type Club struct {
	Owner                 app.Actor
	First, Second, Coming rankwright.GradingID
	// Family is what opens the page of one family at the coming grading, the
	// text behind /f/.
	Family string
}

type filler struct {
	ctx      context.Context
	app      *app.App
	clock    *Clock
	rand     *rand.Rand
	dates    dates
	children []*child
	actors   []app.Actor
	lines    map[string]int64 // how many marks each tablet has sent
}

// Fill makes the club in an empty base whose app lives by the clock. The
// coming grading is ten days after the clock's own day.
func Fill(ctx context.Context, a *app.App, clock *Clock) (Club, error) {
	f := &filler{ctx: ctx, app: a, clock: clock, rand: rand.New(rand.NewPCG(luck, luck)), dates: datesFrom(a.Today()), lines: map[string]int64{}}
	f.children = children(f.dates, f.rand)
	defer clock.run()
	c, err := f.fill()
	if err != nil {
		return c, fmt.Errorf("the invented club cannot be made: %w", err)
	}
	return c, nil
}

func (f *filler) fill() (c Club, err error) {
	f.clock.set(f.dates.day(firstExam-34), 18, 0)
	if err := f.school(); err != nil {
		return c, err
	}
	c.Owner = f.actors[head]
	if c.First, err = f.examine(firstExam, firstStories); err != nil {
		return c, err
	}
	if c.Second, err = f.examine(secondExam, secondStories); err != nil {
		return c, err
	}
	if c.Coming, err = f.plan(); err != nil {
		return c, err
	}
	c.Family, err = f.families(c.Coming)
	return c, err
}

// school sets the school up: its words, its syllabus, its people.
func (f *filler) school() error {
	secret, needed, err := f.app.Setup(f.ctx)
	if err != nil {
		return err
	}
	if !needed {
		return rankwright.Faultf(rankwright.Conflict, "not_empty", "use a new base", "the base has a school already")
	}
	words := app.School{Name: "Otterlight Youth Karate and Self-Defence", Place: "Pellmarrow Quay", Zone: "Europe/London", Country: "GB",
		Cautions: "No head contact, no strangles, no joint locks, no board breaking. “Pause!” freezes everybody; a tap means let go at once.",
		Safety:   "First aider: Rhodri ap Siencyn. Welfare lead: Mireille Ndongala."}
	owner, err := f.app.FinishSetup(f.ctx, secret, words, People[head].Name, People[head].Password)
	if err != nil {
		return err
	}
	f.actors = []app.Actor{owner}
	text, err := examples.Files.ReadFile("otterlight.yaml")
	if err != nil {
		return err
	}
	draft, _, err := f.app.SaveDraft(f.ctx, owner, string(text))
	if err != nil {
		return err
	}
	v, err := f.app.Publish(f.ctx, owner, draft.Ladder)
	if err != nil {
		return err
	}
	spanish, err := examples.Translations.ReadFile("translations/otterlight.es.yaml")
	if err != nil {
		return err
	}
	if _, _, err := f.app.SaveTranslation(f.ctx, owner, v.ID, string(spanish)); err != nil {
		return err
	}
	for _, p := range People[head+1:] {
		secret, err := f.app.Invite(f.ctx, owner, p.Name, p.Role, p.highest)
		if err != nil {
			return err
		}
		who, err := f.app.Join(f.ctx, secret, p.Password)
		if err != nil {
			return err
		}
		f.actors = append(f.actors, who)
	}
	return nil
}

// bringIn imports the school's spreadsheet as it is on the clock's day.
func (f *filler) bringIn() error {
	now, err := f.app.Students(f.ctx, f.actors[head])
	if err != nil {
		return err
	}
	csv, err := f.table(f.app.Today(), now)
	if err != nil {
		return err
	}
	p, err := f.app.ApplyImport(f.ctx, f.actors[desk], app.Import{File: "otterlight.csv", Data: csv}, false)
	if err != nil && len(p.Plan.Problems()) > 0 {
		return p.Plan.Problems()
	}
	return err
}

// plan prepares the coming grading: students entered, examiners chosen, one
// requirement waived, some clearances still to come.
func (f *filler) plan() (rankwright.GradingID, error) {
	owner := f.actors[head]
	g, err := f.begin(scenarioExam, []int{head, dilnozakhon, tomek, anahera, kaito})
	if err != nil {
		return "", err
	}
	err = f.app.Waive(f.ctx, owner, app.Waiver{Grading: g.ID, Rank: "copper", Requirement: "CO-FI2",
		Reason: "The far end of the Netloft's floor is being mended, and there is no safe lane of ten metres."})
	if err != nil {
		return "", err
	}
	entries, err := f.enter(scenarioExam, g.ID, func(c *child) bool { return c.enters })
	if err != nil {
		return "", err
	}
	err = f.app.EnterAnyway(f.ctx, owner, g.ID, f.find("Siosifa").student.ID,
		"One class short because the hall was closed for the regatta; was at every other class and knows all of Reed.")
	if err != nil {
		return "", err
	}
	f.clock.set(f.dates.day(scenarioExam-11), 17, 0)
	for i, e := range entries {
		for k, clearance := range clearances {
			if i%7 == 3 || f.chance(15+15*k) {
				continue
			}
			if err := f.app.SetClearance(f.ctx, f.actors[desk], e.Entry.ID, clearance, true); err != nil {
				return "", err
			}
			f.clock.pass(time.Minute)
		}
	}
	return g.ID, f.sittings(g.ID)
}

var clearances = []rankwright.ClearanceID{"consent", "home_note"}

// chance is true so many times in a hundred.
func (f *filler) chance(percent int) bool { return f.rand.IntN(100) < percent }

// begin creates a grading and chooses its panel, the first of whom leads.
func (f *filler) begin(exam rankwright.Day, panel []int) (app.Grading, error) {
	day := f.dates.day(exam)
	f.clock.set(day-17, 20, 0)
	_, month, _ := day.Date()
	g, err := f.app.CreateGrading(f.ctx, f.actors[head], app.NewGrading{Title: month.String() + " grading", Day: day, Place: "The Netloft, Pellmarrow Quay", Ladder: "youth"})
	if err != nil {
		return g, err
	}
	people := make([]string, len(panel))
	for i, p := range panel {
		people[i] = f.actors[p].ID
	}
	return g, f.app.SetPanel(f.ctx, f.actors[head], g.ID, people, people[0])
}

// enter brings the roster up to date and enters everybody whom the rules and
// the chooser let in.
func (f *filler) enter(exam rankwright.Day, id rankwright.GradingID, chosen func(*child) bool) ([]app.EntryView, error) {
	owner := f.actors[head]
	f.clock.set(f.dates.day(exam-13), 18, 30)
	if err := f.bringIn(); err != nil {
		return nil, err
	}
	f.clock.set(f.dates.day(exam-12), 20, 0)
	list, err := f.app.Candidates(f.ctx, owner, id)
	if err != nil {
		return nil, err
	}
	var in []rankwright.StudentID
	for _, c := range list {
		if c.Answer.Yes && chosen(f.child(c.Student.ID)) {
			in = append(in, c.Student.ID)
		}
	}
	if err := f.app.Enter(f.ctx, owner, id, in); err != nil {
		return nil, err
	}
	v, err := f.app.Grading(f.ctx, owner, id)
	return v.Entries, err
}

func (f *filler) child(id rankwright.StudentID) *child {
	return f.children[slices.IndexFunc(f.children, func(c *child) bool { return c.student.ID == id })]
}

func (f *filler) find(given string) *child {
	return f.children[slices.IndexFunc(f.children, func(c *child) bool { return c.student.GivenName == given })]
}
