package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"rankwright"
	"rankwright/decide"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

var outcomeRoutes = []Route{
	{Pattern: "GET /gradings/{id}/outcomes", Act: app.SeeOutcomes, Do: outcomeList},
	{Pattern: "GET /entries/{entry}", Act: app.SeeOutcomes, Do: outcomeShow},
	{Pattern: "POST /entries/{entry}/decide", Act: app.OverrideResult, Do: outcomeDecide},
	{Pattern: "POST /entries/{entry}/release", Act: app.ReleaseHeld, Do: outcomeRelease},
	{Pattern: "GET /entries/{entry}/family", Act: app.SeeOutcomes, Do: outcomeFamily},
	{Pattern: "GET /gradings/{id}/sign", Act: app.SignGrading, Do: outcomeSign},
	{Pattern: "POST /gradings/{id}/sign", Act: app.SignGrading, Do: outcomeSign},
	{Pattern: "GET /gradings/{id}/certificates", Act: app.PrintPapers, Do: certificates},
	{Pattern: "GET /gradings/{id}/certificates.pdf", Act: app.PrintPapers, Do: certificatesPDF},
	{Pattern: "GET /gradings/{id}/reading-list.pdf", Act: app.PrintPapers, Do: readingList},
}

type outcomesPage struct {
	Frame
	View   app.GradingView
	Empty  *look.Empty
	Looks  []outcomeRow
	Others []outcomeRow
	Counts []outcomeCount
	Sign   bool
	Open   int // entries that cannot be decided yet
}

type outcomeRow struct {
	ID, Name, Total, Why string
	Belt                 look.Belt
	Badge                look.Outcome
	Looks                []string
	Own                  bool // the head instructor decided
}

type outcomeCount struct {
	Badge look.Outcome
	N     int
}

func badge(o *app.Outcome) look.Outcome {
	note := o.Verdict.Label
	if o.Stands() == syllabus.Held || o.Stands() != o.Verdict.Outcome || note == "unwell" && o.Stands() != syllabus.Absent {
		note = ""
	}
	return look.Outcome{Code: o.Stands().String(), Note: note}
}

func outcomeList(q *Query) (Answer, error) {
	v, list, err := q.App().Outcomes(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	p := &outcomesPage{View: v}
	p.Title, p.Back = "Outcomes", gradingBack(v.ID, v.Title)
	count := map[syllabus.Outcome]int{}
	for i := range list {
		o := &list[i]
		r := outcomeRow{ID: string(o.Entry.Entry.ID), Name: o.Entry.Student.FullName(), Belt: belt(o.Rank), Badge: badge(o), Why: whyWords(o, v.Syllabus),
			Own: o.Decision != nil && o.Decision.Override != ""}
		if o.Verdict.Of > 0 && o.Stands() != syllabus.Absent {
			r.Total = fmt.Sprintf("%s of %s (%s)", o.Verdict.Points, o.Verdict.Of, decide.Tenths(o.Verdict.Share()))
		}
		count[o.Stands()]++
		if o.Stands() == syllabus.Incomplete {
			p.Open++
		}
		if !r.Own && app.State(v.State) != app.Closed {
			r.Looks = append(askWords(o.Asks(), v), lookWords(o.Rank, o.Looks(), v)...)
		}
		if len(r.Looks) > 0 {
			p.Looks = append(p.Looks, r)
		} else {
			p.Others = append(p.Others, r)
		}
	}
	for _, o := range []syllabus.Outcome{syllabus.Promoted, syllabus.Held, syllabus.NotYet, syllabus.Incomplete, syllabus.Absent, syllabus.Stopped} {
		if count[o] > 0 {
			p.Counts = append(p.Counts, outcomeCount{look.Outcome{Code: o.String()}, count[o]})
		}
	}
	p.Sign = q.Who.Role.May(app.SignGrading) && app.State(v.State) == app.Deciding
	if len(list) == 0 {
		p.Empty = &look.Empty{Title: "Nobody is entered", Text: "There is nothing to decide yet.", Action: &look.Link{Href: "/gradings/" + string(v.ID), Text: "Back to the grading"}}
	}
	return Page("outcomes", p), nil
}

func examinerName(v app.GradingView, id rankwright.ExaminerID) string {
	for _, x := range v.Panel {
		if x.Person == string(id) {
			return x.Name
		}
	}
	return "an examiner"
}

// askWords says which examiners ask for a second look, and at what.
func askWords(asks []app.Ask, v app.GradingView) []string {
	var out []string
	for _, x := range asks {
		say := examinerName(v, x.Examiner) + " asks for a second look at “" + x.Requirement.Show + "”"
		if x.Why != "" {
			say += ": " + x.Why
		}
		out = append(out, sentence(say))
	}
	return out
}

// lookWords says why an entry is looked at again; what cannot be told apart
// any further is told once.
func lookWords(k *syllabus.Rank, looks []decide.Look, v app.GradingView) []string {
	show := func(id rankwright.RequirementID) string {
		if r := k.Requirement(id); r != nil {
			return "“" + r.Show + "”"
		}
		return string(id)
	}
	var out []string
	ones := 0
	for _, l := range looks {
		switch l.Key {
		case decide.OneMark:
			if ones++; ones <= 3 {
				out = append(out, fmt.Sprintf("It hangs on one mark: %s gave %s for %s; %s would make it %s.", examinerName(v, l.Examiner), markWord(k, l.Requirement, l.From), show(l.Requirement), markWord(k, l.Requirement, l.To), strings.ToLower(look.Word(l.Would.String()))))
			}
		case decide.MarksApart:
			out = append(out, fmt.Sprintf("Examiners are apart on %s: from %s to %s.", show(l.Requirement), markWord(k, l.Requirement, l.From), markWord(k, l.Requirement, l.To)))
		case decide.NoLead:
			out = append(out, fmt.Sprintf("The lead has no mark for %s; the lowest of %s to %s counts for now.", show(l.Requirement), l.From, l.To))
		case decide.AskHead:
			out = append(out, sentence(l.Ask))
		case decide.NameAgain:
			out = append(out, "Only the total is short: you name what is shown again.")
		case decide.ExtraTry:
			out = append(out, fmt.Sprintf("More tries were marked for %s than are allowed; those too many do not count.", show(l.Requirement)))
		case decide.MissingMarks:
			out = append(out, "Marks are missing.")
		case decide.KeptEnded:
			out = append(out, fmt.Sprintf("An earlier mark for %s no longer stands.", show(l.Requirement)))
		}
	}
	if ones > 3 {
		out = append(out, plural(ones-3, "more mark is as close.", "more marks are as close."))
	}
	return out
}

// whyWords says in a line or two why the outcome is what it is.
func whyWords(o *app.Outcome, s *syllabus.Syllabus) string {
	var out []string
	for _, r := range o.Verdict.Reasons {
		if !r.Decides || r.Met {
			continue
		}
		line := r.Title() + ": " + r.ShownWords()
		if short := shortNames(o, s, r); len(short) > 0 {
			if len(short) > 4 {
				short = append(short[:4], fmt.Sprintf("and %d more", len(short)-4))
			}
			line += "; short are " + strings.Join(short, ", ")
		}
		out = append(out, sentence(line))
	}
	if len(out) == 0 {
		return "Every condition of the rule is met."
	}
	return strings.Join(out, " ")
}

// nameOf is the name of a section or the words of a requirement.
func nameOf(o *app.Outcome, s *syllabus.Syllabus, x decide.Short) string {
	if x.Requirement != "" {
		if q := o.Rank.Requirement(x.Requirement); q != nil {
			return q.Show
		}
	} else if sec := s.Section(x.Section); sec != nil {
		return sec.Name
	}
	return string(x.Section)
}

// called is the name of a section or the words of a requirement, by its id.
func called(o *app.Outcome, s *syllabus.Syllabus, id string) string {
	if sec := s.Section(rankwright.SectionID(id)); sec != nil {
		return sec.Name
	}
	if q := o.Rank.Requirement(rankwright.RequirementID(id)); q != nil {
		return q.Show
	}
	return id
}

func shortNames(o *app.Outcome, s *syllabus.Syllabus, r decide.Reason) []string {
	var out []string
	for _, x := range r.Short {
		out = append(out, nameOf(o, s, x))
	}
	return out
}

// markWord writes a mark of a requirement for people.
func markWord(k *syllabus.Rank, id rankwright.RequirementID, v rankwright.Amount) string {
	q := k.Requirement(id)
	switch {
	case q == nil:
	case q.Kind == syllabus.Tick && v > 0:
		return "“shown”"
	case q.Kind == syllabus.Tick:
		return "“not shown”"
	case q.Kind == syllabus.Timed:
		return v.String() + " s"
	case q.Kind == syllabus.Leveled:
		return "level " + v.String()
	}
	return v.String()
}

type outcomePage struct {
	Frame
	View      app.GradingView
	Outcome   app.Outcome
	Belt      look.Belt
	Badge     look.Outcome
	Facts     []look.Fact
	Looks     []string
	Decides   []look.Reason
	Others    []look.Reason
	Sections  []sectionRow
	Missing   []string
	Enough    string   // what would have been enough
	NoPaper   []string // clearances that are not met
	Arrivals  string
	Again     []string
	Form      []look.Field
	MayDecide bool
	Release   bool
	Own       string
	Letter    string // on paper, once it is signed
}

type sectionRow struct{ Name, Points, Of, Share string }

func reasonRows(o *app.Outcome, s *syllabus.Syllabus) (decides, others []look.Reason) {
	for _, r := range o.Verdict.Reasons {
		x := look.Reason{Text: r.Title(), Asked: r.AskedNamed(func(id string) string { return called(o, s, id) }), Shown: r.ShownWords(), Met: look.MetIf(r.Met)}
		var short []string
		for _, f := range r.Short {
			name := nameOf(o, s, f)
			short = append(short, fmt.Sprintf("%s: %s, asked %s", name, f.Shown.Words(), f.Asked.Words()))
		}
		if len(short) > 0 {
			x.Shown += ". Short: " + strings.Join(short, "; ")
		}
		if r.Decides {
			decides = append(decides, x)
		} else {
			others = append(others, x)
		}
	}
	return decides, others
}

// againWords says what is shown again, in words for people.
func againWords(o *app.Outcome, v app.GradingView) (out []string) {
	for _, x := range o.Again(v) {
		out = append(out, x.Name())
	}
	return out
}

func outcomeShow(q *Query) (Answer, error) {
	v, o, err := q.App().OneOutcome(q.Context(), q.Who, rankwright.EntryID(q.PathValue("entry")))
	if err != nil {
		return nil, err
	}
	return Page("outcome", outcomeOf(q, v, o)), nil
}

func outcomeOf(q *Query, v app.GradingView, o app.Outcome) *outcomePage {
	p := &outcomePage{View: v, Outcome: o, Belt: belt(o.Rank), Badge: badge(&o), Looks: append(askWords(o.Asks(), v), lookWords(o.Rank, o.Looks(), v)...)}
	p.Title, p.Kicker = o.Entry.Student.FullName(), v.Title
	p.Back = &look.Link{Href: "/gradings/" + string(v.ID) + "/outcomes", Text: "Outcomes"}
	p.Decides, p.Others = reasonRows(&o, v.Syllabus)
	if o.Verdict.Of > 0 {
		p.Facts = append(p.Facts, look.Fact{Term: "Total", Text: fmt.Sprintf("%s of %s points, %s", o.Verdict.Points, o.Verdict.Of, decide.Tenths(o.Verdict.Share())), Note: "Cut, not rounded."})
	}
	if o.Verdict.Bonus > 0 {
		p.Facts = append(p.Facts, look.Fact{Term: "Of these, extras", Text: o.Verdict.Bonus.String()})
	}
	if o.Entry.Age >= 0 {
		p.Facts = append(p.Facts, look.Fact{Term: "Age on the day", Text: itoa(o.Entry.Age)})
	}
	if o.Verdict.FollowUp != 0 {
		p.Facts = append(p.Facts, look.Fact{Term: "Looked at again by", Text: o.Verdict.FollowUp.Long(), Note: "The belt now, the certificate then."})
	}
	if o.Verdict.AgainUntil != 0 && o.Stands() == syllabus.NotYet {
		p.Facts = append(p.Facts, look.Fact{Term: "Shown again by", Text: o.Verdict.AgainUntil.Long(), Note: "What was shown stands until then."})
	}
	for _, s := range o.Verdict.Sections {
		if s.Of == 0 {
			continue
		}
		name := string(s.Section)
		if sec := v.Syllabus.Section(s.Section); sec != nil {
			name = sec.Name
		}
		p.Sections = append(p.Sections, sectionRow{name, s.Points.String(), s.Of.String(), decide.Tenths(rankwright.ShareOf(s.Points, s.Of))})
	}
	for _, id := range o.Verdict.Missing {
		if r := o.Rank.Requirement(id); r != nil && !slices.ContainsFunc(o.Sealed, func(x app.Votes) bool { return x.Requirement == id }) {
			p.Missing = append(p.Missing, r.Show)
		}
	}
	for _, x := range o.Sealed {
		if r := o.Rank.Requirement(x.Requirement); r != nil {
			p.Missing = append(p.Missing, r.Show+": "+votesWords(x)+".")
		}
	}
	p.Again = againWords(&o, v)
	if o.Verdict.Outcome == syllabus.NotYet {
		p.Enough = o.Judge.Change(o.Case).Words()
	}
	for _, id := range o.Lacks() {
		if c := v.Syllabus.Clearance(id); c != nil {
			p.NoPaper = append(p.NoPaper, c.Name)
		}
	}
	st := app.State(v.State)
	p.MayDecide = q.Who.Role.May(app.OverrideResult) && st.Allows(app.OverrideResult)
	p.Arrivals = "/gradings/" + string(v.ID) + "/arrivals#" + string(o.Entry.Entry.ID)
	if st == app.Closed && q.Who.Role.May(app.PrintLetters) {
		p.Letter = lettersHref(v.ID) + ".pdf?entry=" + string(o.Entry.Entry.ID)
	}
	p.Release = len(p.NoPaper) == 0 && q.Who.Role.May(app.ReleaseHeld) && st == app.Closed && o.Stands() == syllabus.Held
	own, why, again := "", "", []string(nil)
	if o.Decision != nil {
		own, why, again = o.Decision.Override, o.Decision.OverrideWhy, strings.Fields(o.Decision.ShowAgain)
		if own != "" {
			p.Own = "The head instructor decided otherwise than the rule: " + why
		}
	}
	f := look.Field{Name: "outcome", Label: "Your decision", Kind: "radios", Options: []look.Option{{Value: "", Text: "As the rule says: " + look.Word(o.Verdict.Outcome.String()), Selected: own == ""}}}
	for _, w := range []string{"promoted", "held", "not_yet", "absent", "stopped"} {
		if w != o.Verdict.Outcome.String() {
			f.Options = append(f.Options, look.Option{Value: w, Text: look.Word(w), Selected: own == w})
		}
	}
	name := look.Field{Name: "again", Label: "What is shown again", Hint: "Only for a “not yet”. Left empty, it is what the rule says.", Kind: "checks"}
	for _, s := range v.Syllabus.Sections {
		if slices.ContainsFunc(o.Rank.Requirements, func(r syllabus.Requirement) bool { return r.Section == s.ID && r.Points > 0 && !r.Bonus }) {
			name.Options = append(name.Options, look.Option{Value: string(s.ID), Text: s.Name, Selected: slices.Contains(again, string(s.ID))})
		}
	}
	p.Form = []look.Field{f, {Name: "reason", Label: "Why", Hint: "Needed where you differ from the rule. It is kept with your name and the date.", Kind: "textarea", Rows: 3, Value: why, MaxLength: 600}, name}
	return p
}

func outcomeDecide(q *Query) (Answer, error) {
	entry := rankwright.EntryID(q.PathValue("entry"))
	err := q.App().Override(q.Context(), q.Who, entry, q.FormValue("outcome"), q.FormValue("reason"), q.Form["again"])
	if err == nil {
		q.Flash("good", "Your decision is kept.")
		return To("/entries/" + string(entry)), nil
	}
	if rankwright.KindOf(err) != rankwright.Invalid {
		return nil, err
	}
	v, o, err2 := q.App().OneOutcome(q.Context(), q.Who, entry)
	if err2 != nil {
		return nil, err2
	}
	p := outcomeOf(q, v, o)
	say, do := told(err)
	for i := range p.Form {
		if p.Form[i].Name == "reason" {
			p.Form[i].Value, p.Form[i].Error = q.FormValue("reason"), say+" "+do
		}
		for k := range p.Form[i].Options {
			if p.Form[i].Name == "outcome" {
				p.Form[i].Options[k].Selected = p.Form[i].Options[k].Value == q.FormValue("outcome")
			} else {
				p.Form[i].Options[k].Selected = slices.Contains(q.Form["again"], p.Form[i].Options[k].Value)
			}
		}
	}
	p.Errors = look.ErrorsOf(p.Form...)
	return Again("outcome", p), nil
}

func outcomeRelease(q *Query) (Answer, error) {
	entry := q.PathValue("entry")
	if err := q.App().Release(q.Context(), q.Who, rankwright.EntryID(entry)); err != nil {
		return nil, err
	}
	q.Flash("good", "Promoted: the rank is in the ledger, and the certificate can be printed.")
	return To("/entries/" + entry), nil
}

type signPage struct {
	Frame
	Seen   string // what is looked at now
	View   app.GradingView
	Counts []outcomeCount
	Names  []string // who is promoted
	Own    []string // decided otherwise than the rule
	Held   []string // and what is missing
	Early  string   // the day, where it has not come yet
	Open   []string
	Looks  int
	// Missing are marks that have not come and that nobody has accepted as lost.
	Missing []boardMissing
	Accept  look.Field
}

func outcomeSign(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if q.Method == http.MethodPost {
		if err := q.App().SignAccepting(q.Context(), q.Who, id, q.FormValue("seen"), q.FormValue("accept")); err != nil {
			return lacking(q, id, err, "Sign without them", map[string]string{"seen": q.FormValue("seen")})
		}
		q.Flash("good", "Signed. The ranks are in the ledger, and the certificates can be printed.")
		return To("/gradings/" + string(id) + "/certificates"), nil
	}
	v, list, err := q.App().Outcomes(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	p := &signPage{View: v}
	if v.Day > q.App().Today() {
		p.Early = v.Day.Long()
	}
	if p.Seen, err = app.Seen(list); err != nil {
		return nil, err
	}
	p.Styles = boardStyle()
	p.Title, p.Kicker, p.Width, p.Back = "Sign the grading", v.Title, "narrow", &look.Link{Href: "/gradings/" + string(id) + "/outcomes", Text: "Outcomes"}
	count := map[syllabus.Outcome]int{}
	for i := range list {
		o := &list[i]
		count[o.Stands()]++
		if o.Decision != nil && o.Decision.Override != "" {
			p.Own = append(p.Own, o.Entry.Student.FullName()+": "+look.Word(o.Stands().String())+" ("+o.Decision.OverrideWhy+")")
		}
		if o.Stands() == syllabus.Held {
			var papers []string
			for _, id := range o.Missing() {
				if c := v.Syllabus.Clearance(id); c != nil {
					papers = append(papers, c.Name)
				}
			}
			p.Held = append(p.Held, o.Entry.Student.FullName()+": "+strings.Join(papers, ", "))
		}
		if o.Stands() == syllabus.Promoted {
			p.Names = append(p.Names, o.Entry.Student.FullName()+", "+o.Rank.Name)
		}
		if o.Stands() == syllabus.Incomplete {
			p.Open = append(p.Open, o.Entry.Student.FullName())
		}
		if len(o.Looks())+len(o.Asks()) > 0 && (o.Decision == nil || o.Decision.Override == "") {
			p.Looks++
		}
	}
	for _, o := range []syllabus.Outcome{syllabus.Promoted, syllabus.Held, syllabus.NotYet, syllabus.Absent, syllabus.Stopped} {
		if count[o] > 0 {
			p.Counts = append(p.Counts, outcomeCount{look.Outcome{Code: o.String()}, count[o]})
		}
	}
	lacks, err := q.App().Missing(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	for i := range lacks {
		if !lacks[i].Accepted {
			say, do := missingWords(q.App(), &lacks[i])
			p.Missing = append(p.Missing, boardMissing{say, do})
		}
	}
	p.Accept = acceptField(q)
	return Page("sign", p), nil
}
