package web

import (
	"net/http"
	"net/url"
	"strings"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// The desk's side of the families' pages: links, what families answered, what
// they sign, what they ask.
var familiesRoutes = []Route{
	{Pattern: "GET /gradings/{id}/families", Act: app.SeeFamilies, Do: familiesShow},
	{Pattern: "POST /gradings/{id}/families/links", Act: app.MakeLinks, Do: familiesLinks},
	{Pattern: "POST /gradings/{id}/families/withdraw", Act: app.MakeLinks, Do: familiesWithdraw},
	{Pattern: "GET /gradings/{id}/families/letters", Act: app.MakeLinks, Do: familiesLetters},
	{Pattern: "GET /gradings/{id}/families/sheets", Act: app.EditSheets, Do: familiesSheets},
	{Pattern: "POST /gradings/{id}/families/sheets", Act: app.EditSheets, Do: familiesSheets},
	{Pattern: "GET /gradings/{id}/families/questions", Act: app.AnswerFamilies, Do: familiesQuestions},
	{Pattern: "POST /gradings/{id}/families/questions", Act: app.AnswerFamilies, Do: familiesQuestions},
	{Pattern: "POST /gradings/{id}/families/moves", Act: app.TakeAnswers, Do: familiesMoves},
	{Pattern: "POST /gradings/{id}/families/results", Act: app.ShowResults, Do: familiesResults},
}

func familiesHref(id rankwright.GradingID) string {
	return "/gradings/" + url.PathEscape(string(id)) + "/families"
}

type familiesPage struct {
	Frame
	At        string
	Desk      string // where clearances are settled
	Rows      []familiesRow
	Without   int // families without a link
	Fresh     int // links that can be printed now
	MayMake   bool
	MayWrite  bool // what is signed
	MayAnswer bool
	MayShow   bool   // results
	Letters   string // where the letters about results are printed
	Times     bool   // there are sessions
	Sheets    bool   // there is something to sign
	Closed    bool
	Hidden    int // families that do not see a result yet
	NotOpen   bool
	Alone     bool // the links can be opened on this machine only
	Waits     int
	Until     look.Field
	Messages  string // where messages are, "" where there are none yet
	Calls     []look.Link
	None      *look.Empty
}

type familiesRow struct {
	ID, Name, Children string
	Link               string // its state
	Address            string // what opens it, for half an hour
	Has                bool
	Times, Signed      string
	TimesDone, AllIn   bool
	Note               string
	Talk               []string
	Waits              int
	Shown              bool // the results
}

func familiesShow(q *Query) (Answer, error) {
	v, err := q.App().Families(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	st := app.State(v.Grading.State)
	p := &familiesPage{At: familiesHref(v.Grading.ID), Desk: "/gradings/" + url.PathEscape(string(v.Grading.ID)) + "/arrivals", Times: len(v.Sessions) > 0 && st != app.Closed, Sheets: v.Sheets > 0, NotOpen: st == app.Planning, Closed: st == app.Closed}
	p.Title, p.Kicker, p.Back, p.Width = "Families", v.Grading.Title, gradingBack(v.Grading.ID, v.Grading.Title), "wide"
	p.Styles = []string{look.AssetPath() + "family.css"}
	p.MayMake, p.MayWrite = q.Who.Role.May(app.MakeLinks), q.Who.Role.May(app.EditSheets)
	if p.Closed && q.Who.Role.May(app.PrintLetters) {
		p.Letters = lettersHref(v.Grading.ID)
	}
	p.MayAnswer, p.MayShow = q.Who.Role.May(app.AnswerFamilies), q.Who.Role.May(app.ShowResults) && p.Closed
	p.Alone = isLoopback(q.familyAddress(""))
	p.Until = look.Field{Name: "until", Label: "Last day", Type: "date", Size: "medium", Optional: true, Hint: "Left empty, links end thirty days after the results."}
	if !p.NotOpen && q.Who.Role.May(app.SeeMessages) {
		c, err := q.App().MessageCalls(q.Context(), q.Who, v.Grading.ID)
		if err != nil {
			return nil, err
		}
		p.Messages = messagesHref(v.Grading.ID)
		p.Calls = messageCalls(c, p.Messages, "")
	}
	answered, signed := 0, 0
	for _, x := range v.List {
		r := q.familiesRow(v, x)
		if !r.Has {
			p.Without++
		}
		if r.Address != "" {
			p.Fresh++
		}
		if r.TimesDone {
			answered++
		}
		if r.AllIn {
			signed++
		}
		if !r.Shown {
			p.Hidden++
		}
		p.Waits += r.Waits
		p.Rows = append(p.Rows, r)
	}
	if len(p.Rows) == 0 {
		p.None = &look.Empty{Title: "Nobody is entered yet", Text: "Families have a page of their own once their children are entered."}
	} else {
		p.Lead = plural(len(p.Rows), "family", "families") + familiesCount(p, answered, signed) + "."
	}
	return Page("families", p), nil
}

func familiesCount(p *familiesPage, answered, signed int) string {
	out := ""
	if p.Times {
		out += "; " + itoa(answered) + " have said which times suit"
	}
	if p.Sheets {
		out += "; of " + itoa(signed) + " everything is signed"
	}
	return out
}

// familyAddress is a page's address as families reach it. What a browser says
// in its Host header counts only where nothing else is known.
func (q *Query) familyAddress(path string) string {
	if q.School.Address != "" {
		return q.School.Address + path
	}
	return q.address(path)
}

func (q *Query) familiesRow(v app.FamiliesView, x app.FamilyAtDesk) familiesRow {
	r := familiesRow{ID: string(x.ID), Name: x.Name, Note: x.Note, Waits: x.Waits, Has: x.Link != nil, Link: "no link", Shown: x.Shown == len(x.Entries)}
	var given []string
	for _, e := range x.Entries {
		given = append(given, e.Student.GivenName)
	}
	r.Children = strings.Join(given, ", ")
	if x.Link != nil {
		r.Link = "until " + x.Ends.Long()
		if x.Links > 1 {
			r.Link = itoa(x.Links) + " links, " + r.Link
		}
		if x.Link.Used != 0 {
			r.Link += ", last used on " + x.Link.Used.Long()
		}
		if x.Secret != "" {
			r.Address = q.familyAddress("/f/" + x.Secret)
		}
	}
	r.Times, r.TimesDone = itoa(x.Answered())+" of "+itoa(len(v.Sessions)), x.Answered() >= len(v.Sessions)
	r.Signed, r.AllIn = itoa(x.Signed)+" of "+itoa(x.Of), x.Signed == x.Of
	for _, t := range x.Talk {
		r.Talk = append(r.Talk, t.Given+": "+t.Sheet)
	}
	return r
}

// familiesLinks makes links: those that are missing, a new one for one family,
// or new ones for all.
func familiesLinks(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	var until rankwright.Day
	if s := q.FormValue("until"); s != "" {
		var err error
		if until, err = rankwright.ParseDay(s); err != nil {
			return nil, rankwright.Faultf(rankwright.Invalid, "bad_until", "go back and choose a day, or leave it empty", "%q is not a day", s)
		}
	}
	var one []rankwright.HouseholdID
	if h := q.FormValue("family"); h != "" {
		one = []rankwright.HouseholdID{rankwright.HouseholdID(h)}
	}
	made, err := q.App().MakeLinks(q.Context(), q.Who, id, one, until, q.FormValue("anew") != "")
	if err != nil {
		return nil, err
	}
	switch {
	case made == 0:
		q.Flash("info", "Every family has a link that works. What is lost can be made anew, for one family or for all.")
	case one != nil:
		q.Flash("good", "The new link is below. It is shown for half an hour; the earlier one has ended.")
	default:
		q.Flash("good", plural(made, "link is", "links are")+" made. For half an hour they can be copied and printed; after that only new ones can be made, since the links themselves are not kept.")
	}
	return To(familiesHref(id)), nil
}

func familiesWithdraw(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	family := rankwright.HouseholdID(q.FormValue("family"))
	if family == "" && q.FormValue("all") == "" {
		return nil, rankwright.Faultf(rankwright.Invalid, "no_family", "go back and choose whose link ends", "no family was chosen")
	}
	if err := q.App().WithdrawLinks(q.Context(), q.Who, id, family); err != nil {
		return nil, err
	}
	q.Flash("good", "Withdrawn. The page that it opened is closed from now on, also where it is open.")
	return To(familiesHref(id)), nil
}

type familiesLettersPage struct {
	Frame
	Letters []familiesLetter
	None    *look.Empty
}

type familiesLetter struct {
	Name, Address     string
	Lang              string // in which the family is written to
	Text, Until, Code string
	Side              int
	Path              string
}

// familiesLetters is a sheet to hand out, with a code to scan for each family
// whose link was just made.
func familiesLetters(q *Query) (Answer, error) {
	v, err := q.App().Families(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	langs, err := q.App().Languages(q.Context(), q.Who)
	if err != nil {
		return nil, err
	}
	p := &familiesLettersPage{}
	p.Title, p.Kicker = "Letters with links", v.Grading.Title+", "+v.Grading.Day.Long()
	p.Back = &look.Link{Href: familiesHref(v.Grading.ID), Text: "Families"}
	p.Styles = []string{look.AssetPath() + "family.css"}
	for _, x := range v.List {
		if x.Secret == "" {
			continue
		}
		r := q.familiesRow(v, x)
		say := q.School.Say(langs.Of(x.ID))
		l := familiesLetter{Name: r.Name, Address: r.Address, Lang: string(say.Lang()),
			Text:  say.It("link.page", words.Set{Name: "Names", Value: say.And(strings.Split(r.Children, ", "))}),
			Until: say.It("link.until", words.Set{Name: "Day", Value: say.Day(x.Ends)}), Code: say.It("link.code")}
		if l.Side, l.Path, err = qrPath(l.Address); err != nil {
			return nil, err
		}
		p.Letters = append(p.Letters, l)
	}
	if len(p.Letters) == 0 {
		p.None = &look.Empty{Title: "No link can be printed now", Text: "A link is shown for half an hour after it is made. Make new ones; the earlier ones end.",
			Action: &look.Link{Href: p.Back.Href, Text: "Back to the families"}}
	}
	return Page("families-letters", p), nil
}

type familiesSheetsPage struct {
	Frame
	Fields []look.Field
	Send   string
}

// usualSheet is proposed where a school has written nothing yet. It is no
// legal advice: local law and the school's own rules come first.
const usualSheet = "I answer for {child} and agree that {child} takes part in the grading “{grading}” on {day}, for {rank}.\n" +
	"As far as I know {child} is fit for it. What the school should know I say in person, before the day.\n" +
	"I bring {child} and collect {child}, or tell the school who does."

func familiesSheets(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	list, err := q.App().FamilySheets(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	p := &familiesSheetsPage{Send: familiesHref(id) + "/sheets"}
	p.Title, p.Width = "What families sign", "narrow"
	p.Back = &look.Link{Href: familiesHref(id), Text: "Families"}
	p.Lead = "The words for each clearance, as families read and sign them on their page."
	var wrong []look.Field
	for i, x := range list {
		f := look.Field{ID: "sheet-" + itoa(i), Name: "sheet." + string(x.Clearance), Kind: "textarea", Rows: 6, Label: x.Name, Optional: true, Value: x.Body, MaxLength: 4000}
		if x.Number == 0 && i == 0 && q.Method == http.MethodGet {
			f.Value = usualSheet
			f.Hint = "A proposal, which is not kept yet: put it into your own words and save it. Local law comes first."
		}
		if q.Method == http.MethodPost {
			f.Value = q.FormValue(f.Name)
			if err := q.App().WriteFamilySheet(q.Context(), q.Who, id, x.Clearance, f.Value); err != nil {
				if rankwright.KindOf(err) != rankwright.Invalid {
					return nil, err
				}
				say, do := told(err)
				f.Error = say + " " + do
				wrong = append(wrong, f)
			}
		}
		p.Fields = append(p.Fields, f)
	}
	if q.Method == http.MethodGet {
		return Page("families-sheets", p), nil
	}
	if len(wrong) > 0 {
		p.Errors = look.ErrorsOf(wrong...)
		return Again("families-sheets", p), nil
	}
	q.Flash("good", "Saved. What was signed under earlier words stays signed as it was.")
	return To(familiesHref(id)), nil
}

type familiesQuestionsPage struct {
	Frame
	Threads []familiesThread
	Send    string
	None    *look.Empty
}

type familiesThread struct {
	ID, Name, Key string
	Waits         int
	Messages      []familyMessage
	Field         look.Field
}

func familiesQuestions(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	threads, err := q.App().Inbox(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	p := &familiesQuestionsPage{Send: familiesHref(id) + "/questions"}
	p.Title, p.Width = "Questions of families", "narrow"
	p.Back = &look.Link{Href: familiesHref(id), Text: "Families"}
	p.Styles = []string{look.AssetPath() + "family.css"}
	p.Lead = "Only the head instructor reads this. An answer stands on the family's page."
	if q.Method == http.MethodPost {
		err = q.App().AnswerFamily(q.Context(), q.Who, id, rankwright.HouseholdID(q.FormValue("family")), q.FormValue("body"))
		if err == nil {
			q.Flash("good", "Your answer stands on the family's page now.")
			return To(p.Send), nil
		}
		if rankwright.KindOf(err) != rankwright.Invalid {
			return nil, err
		}
	}
	say := &familyQuery{Query: q, say: words.In(words.English)}
	for i, x := range threads {
		t := familiesThread{ID: string(x.Family.ID), Name: x.Family.Name, Key: "t-" + itoa(i), Waits: x.Waits, Messages: say.messages(x.Messages)}
		for j := range t.Messages {
			if t.Messages[j].Own {
				t.Messages[j].From = x.Family.Name
			}
		}
		t.Field = look.Field{ID: "body-" + itoa(i), Name: "body", Kind: "textarea", Rows: 3, Label: "Answer to " + x.Family.Name, Required: true, MaxLength: 1000}
		if err != nil && q.FormValue("family") == t.ID {
			what, do := told(err)
			t.Field.Value, t.Field.Error = q.FormValue("body"), what+" "+do
			p.Errors = look.ErrorsOf(t.Field)
		}
		p.Threads = append(p.Threads, t)
	}
	if len(p.Threads) == 0 {
		p.None = &look.Empty{Title: "No questions yet", Text: "Families ask on their own page; what they ask is here at once."}
	}
	if err != nil {
		return Again("families-questions", p), nil
	}
	return Page("families-questions", p), nil
}

// familiesResults lets one family see its results, or all that do not yet.
func familiesResults(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	family, show := rankwright.HouseholdID(q.FormValue("family")), q.FormValue("show") != "no"
	if family == "" && q.FormValue("all") == "" {
		return nil, rankwright.Faultf(rankwright.Invalid, "no_family", "go back and choose who sees the results", "no family was chosen")
	}
	if err := q.App().ShowResults(q.Context(), q.Who, id, family, show); err != nil {
		return nil, err
	}
	if show {
		q.Flash("good", "The result stands on the page of the family from now on.")
	} else {
		q.Flash("good", "The result is not on the page of the family any more.")
	}
	return To(familiesHref(id)), nil
}

// familiesMoves asks those whose told time the draft would change, on their own
// pages.
func familiesMoves(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	asked, err := q.App().AskMoves(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	if asked == 0 {
		q.Flash("info", "All of them are asked already, or have answered.")
	} else {
		q.Flash("good", plural(asked, "family is", "families are")+" asked on its own page. Tell those who may not look there soon.")
	}
	return To(timesHref(id) + "/changes"), nil
}
