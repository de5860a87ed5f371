package web

import (
	"fmt"
	"net/http"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

var homeRoutes = []Route{
	{Pattern: "GET /{$}", Act: app.SeeGradings, Do: home},
	{Pattern: "GET /school", Act: app.EditSchool, Do: editSchool},
	{Pattern: "POST /school", Act: app.EditSchool, Do: editSchool},
}

// belt shows a rank of a syllabus.
func belt(k *syllabus.Rank) look.Belt {
	if k == nil {
		return look.Belt{Name: "No rank yet"}
	}
	return look.Belt{Name: k.Name, Colour: k.Belt.Hex, Tip: k.Belt.Tip, TipColour: k.Belt.TipHex}
}

type homePage struct {
	Frame
	Next  *nextStep
	Steps []homeStep // what a new school still has to do
	Cards []gradingCard
	Waits []waitRow
	Calls []look.Link // families that wait for the head instructor
}

// waitRow is a held promotion that is still open.
type waitRow struct{ Href, Name, Rank, Grading, Lacks string }

type nextStep struct {
	Text string
	Link look.Link
}

type homeStep struct {
	Text, Href, Why string
	Done            bool
}

type gradingCard struct {
	Grading app.Grading
	Status  app.StateRow
	When    string
	Do      look.Link
	What    string
}

// inDays says how far a day is, in words.
func inDays(day, today rankwright.Day) string {
	switch n := int(day - today); {
	case n == 0:
		return "today"
	case n == 1:
		return "tomorrow"
	case n == -1:
		return "yesterday"
	case n > 0:
		return fmt.Sprintf("in %d days", n)
	default:
		return fmt.Sprintf("%d days ago", -n)
	}
}

// whatNow says what a grading waits for, and where that is done.
func whatNow(q *Query, g app.Grading) (string, look.Link) {
	at := "/gradings/" + string(g.ID)
	switch app.State(g.State) {
	case app.OnTheMat:
		if q.Who.Role.May(app.GiveMarks) {
			return "Examiners are giving marks.", look.Link{Href: at + "/marks", Text: "Give marks"}
		}
		return "Examiners are giving marks.", look.Link{Href: at + "/arrivals", Text: "Arrivals"}
	case app.Deciding:
		if q.Who.Role.May(app.SeeOutcomes) {
			return "The outcomes wait for a look and a signature.", look.Link{Href: at + "/outcomes", Text: "Look at the outcomes"}
		}
		return "The head instructor is deciding.", look.Link{Href: at, Text: "Open"}
	case app.Closed:
		return "Signed and closed.", look.Link{Href: at, Text: "Open"}
	}
	switch {
	case q.Who.Role.May(app.PlanGrading):
		return "Students, examiners and waivers are being settled.", look.Link{Href: at, Text: "Go on planning"}
	case q.Who.Role.May(app.CheckIn):
		return "It is being planned. Signatures that come in can be ticked already.", look.Link{Href: at + "/arrivals", Text: "Arrivals and clearances"}
	}
	return "It is being planned. You give marks when the mat opens.", look.Link{Href: at, Text: "Who is entered"}
}

func home(q *Query) (Answer, error) {
	p := &homePage{}
	p.Title = "Today, " + q.App().Today().Long()
	gradings, err := q.App().Gradings(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	closed := 0
	for i := range gradings {
		g := gradings[len(gradings)-1-i] // the next one first
		if err := p.call(q, g); err != nil {
			return nil, err
		}
		if err := p.post(q, g); err != nil {
			return nil, err
		}
		if app.State(g.State) == app.Closed {
			closed++
			continue
		}
		c := gradingCard{Grading: g, Status: app.State(g.State).Row(), When: inDays(g.Day, q.App().Today())}
		c.What, c.Do = whatNow(q, g)
		p.Cards = append(p.Cards, c)
	}
	if q.Who.Role.May(app.EditSyllabus) && closed == 0 {
		if err := firstSteps(q, p, len(gradings)); err != nil {
			return nil, err
		}
	}
	if q.Who.Role.May(app.SeeOutcomes) {
		waits, err := q.App().Waitings(q.Context(), q.Who)
		if err != nil {
			return nil, err
		}
		for _, w := range waits {
			r := waitRow{"/entries/" + string(w.Entry), w.Name, w.Rank, w.Grading.Title, strings.Join(w.Lacks, ", ")}
			if r.Lacks == "" {
				r.Lacks = "everything is in: promote now"
			}
			p.Waits = append(p.Waits, r)
		}
	}
	if len(p.Cards) == 0 && len(p.Steps) == 0 {
		if q.Who.Role.May(app.PlanGrading) {
			p.Next = &nextStep{"No grading is coming up.", look.Link{Href: "/gradings/new", Text: "Plan the next grading"}}
		} else {
			p.Next = &nextStep{"No grading is coming up.", look.Link{Href: "/gradings", Text: "Earlier gradings"}}
		}
	}
	return Page("home", p), nil
}

// call says which families wait for the head instructor at a grading.
func (p *homePage) call(q *Query, g app.Grading) error {
	if !q.Who.Role.May(app.AnswerFamilies) || app.State(g.State) == app.Closed && g.Day < q.App().Today()-90 {
		return nil
	}
	c, err := q.App().FamilyCalls(q.Context(), q.Who, g.ID)
	if err != nil {
		return err
	}
	if c.Questions > 0 {
		p.Calls = append(p.Calls, look.Link{Href: familiesHref(g.ID) + "/questions", Text: plural(c.Questions, "family waits", "families wait") + " for an answer: " + g.Title})
	}
	if c.Talks > 0 {
		p.Calls = append(p.Calls, look.Link{Href: familiesHref(g.ID), Text: plural(c.Talks, "family", "families") + " would rather talk to you before signing: " + g.Title})
	}
	return nil
}

// post says what of a grading's messages waits for a person.
func (p *homePage) post(q *Query, g app.Grading) error {
	st := app.State(g.State)
	if !q.Who.Role.May(app.SeeMessages) || st == app.Planning || st == app.Closed && g.Day < q.App().Today()-90 {
		return nil
	}
	c, err := q.App().MessageCalls(q.Context(), q.Who, g.ID)
	if err != nil {
		return err
	}
	p.Calls = append(p.Calls, messageCalls(c, messagesHref(g.ID), ": "+g.Title)...)
	return nil
}

// firstSteps lists what a new school does first.
func firstSteps(q *Query, p *homePage, gradings int) error {
	ladders, err := q.App().Ladders(q.Context(), q.Who)
	if err != nil {
		return err
	}
	published := false
	for _, l := range ladders {
		published = published || l.Latest != nil
	}
	students, err := q.App().Students(q.Context(), q.Who)
	if err != nil {
		return err
	}
	p.Steps = []homeStep{
		{"Write down what each rank asks", "/syllabus", "Start from a one-page example, or bring your own file; then publish it.", published},
		{"Bring in your students", "/roster/import", "From the spreadsheet you already have. You see what would change before anything does.", len(students) > 0},
		{"Plan the first grading", "/gradings/new", "Choose the day, who may enter, who examines.", gradings > 0},
	}
	if q.Who.Role.May(app.ManagePeople) {
		people, err := q.App().People(q.Context(), q.Who)
		if err != nil {
			return err
		}
		p.Steps = append(p.Steps, homeStep{"Invite your examiners", "/people", "Each gets a link of their own; no e-mail is needed.", len(people) > 1})
	}
	for _, st := range p.Steps {
		if !st.Done {
			return nil
		}
	}
	p.Steps = nil
	return nil
}

func languages(chosen string) (out []look.Option) {
	for _, l := range words.Langs() {
		out = append(out, look.Option{Value: string(l), Text: l.Name(), Selected: string(l) == chosen})
	}
	return out
}

func editSchool(q *Query) (Answer, error) {
	p := &formPage{Submit: "Save"}
	p.Title, p.Width = "The school", "narrow"
	p.Lead = "These words stand on pages and papers."
	p.Links = append(p.Links, look.Link{Href: wordingsHref, Text: "What letters and messages say"})
	sc := q.School
	if q.Method == http.MethodPost {
		sc = app.School{Name: q.FormValue("school"), Place: q.FormValue("place"), Cautions: q.FormValue("cautions"), Safety: q.FormValue("safety"),
			Notes: q.FormValue("notes"), Door: q.FormValue("door"), Feel: q.FormValue("feel"), Zone: q.FormValue("zone"), Address: q.FormValue("address"), Lang: q.FormValue("lang"),
			Country: q.FormValue("country"), Clock: q.FormValue("clock")}
	}
	p.Fields = []look.Field{
		{Name: "school", Label: "Name of the school", Value: sc.Name, Required: true, MaxLength: 120},
		{Name: "place", Label: "Town", Value: sc.Place, Optional: true},
		{Name: "cautions", Label: "Your own safety rules, in a sentence or two", Hint: "Shown first, before the usual cautions, wherever falls, partner work or contact begin.", Kind: "textarea", Rows: 3, Value: sc.Cautions, Optional: true},
		{Name: "safety", Label: "First aider and welfare lead", Hint: "Whom to call on the day, by name.", Value: sc.Safety, Optional: true},
		{Name: "notes", Label: "Short notes for examiners", Hint: "One on each line. On the mat one tap puts it beside a mark.", Kind: "textarea", Rows: 4, Value: sc.Notes, Optional: true},
		{Name: "door", Label: "List at the door", Hint: "What is ticked for each child as they arrive, a line each. Left empty, the usual lines are asked; write - for none.", Kind: "textarea", Rows: 4, Value: sc.Door, Optional: true, MaxLength: 1000},
		{Name: "feel", Label: "How you ask whether a child is well", Hint: "The answer is not kept. Left empty, it is: How do you feel today?", Value: sc.Feel, Optional: true, MaxLength: 120},
		{Name: "zone", Label: "Time zone", Hint: "By its name, such as Europe/London or America/Chicago. Calendar files for families and examiners need it.", Value: sc.Zone, Optional: true, MaxLength: 60},
		{Name: "address", Label: "Where families reach these pages", Hint: "Such as https://gradings.example.org; it stands in the links of families. Left empty, links lead to where you make them.", Value: sc.Address, Optional: true, MaxLength: 200, InputMode: "url"},
		{Name: "lang", Label: "Language of your own words", Hint: "Of what families sign. Their pages speak English or Spanish besides, as each family likes.", Kind: "select", Size: "medium", Options: languages(sc.Lang)},
		{Name: "country", Label: "Country", Hint: "By its two letters, such as GB, US or ES. Families read dates, times and numbers as they are written there.", Value: sc.Country, Optional: true, MaxLength: 2, Size: "short"},
		{Name: "clock", Label: "Clock", Kind: "select", Size: "medium", Options: []look.Option{{Text: "as usual in the country", Selected: sc.Clock == ""},
			{Value: "24", Text: "15:30", Selected: sc.Clock == "24"}, {Value: "12", Text: "3:30 pm", Selected: sc.Clock == "12"}}},
	}
	if q.Method == http.MethodGet {
		return Page("form", p), nil
	}
	if err := q.App().EditSchool(q.Context(), q.Who, sc); err != nil {
		if p.wrong(err) {
			return Again("form", p), nil
		}
		return nil, err
	}
	q.Flash("good", "The school's words are saved.")
	return To("/"), nil
}
