package app

import (
	"context"
	"slices"
	"strings"

	"rankwright"
	"rankwright/coach"
	"rankwright/internal/store"
	"rankwright/internal/wording"
	"rankwright/internal/words"
	"rankwright/promote"
	"rankwright/syllabus"
)

// ResultLetter is what a family reads about one child's result: what went well, then
// what comes next, and nothing of any other child.
type ResultLetter struct {
	Entry     EntryView
	Household rankwright.HouseholdID
	Family    string // its name
	Rank      *syllabus.Rank
	Kind      wording.Kind
	Lang      words.Lang
	Words     *wording.Filled
	// Cautions belong under the letter whatever the school's own words are: the
	// usual ones for practice at home and for falls and partner work, and what
	// comes first after a knock to the head.
	Cautions     []string
	CautionTitle string
	Local        string // the school's own safety rules, which come before them
	Signed       string // by whom and when, a sentence
	Grading      string // its title
	Day          rankwright.Day
	Date         string // the day in words
	Shown        bool   // the family may see the result on its page
}

// LetterChoice says which letters of a grading are wanted, and how. Without an
// entry or a household it is all of them.
type LetterChoice struct {
	Entry     rankwright.EntryID
	Household rankwright.HouseholdID
	// Lang is for all of them; "" is each family's own.
	Lang words.Lang
	// Second is a language in which each follows once more; "" is none.
	Second words.Lang
}

// Letters writes the letters of a signed grading, family by family, so that
// those of brothers and sisters are neighbours.
func (a *App) Letters(ctx context.Context, who Actor, id rankwright.GradingID, want LetterChoice) (v GradingView, out []ResultLetter, err error) {
	err = a.see(ctx, who, PrintLetters, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		for _, l := range []words.Lang{want.Lang, want.Second} {
			if err := offered(l); err != nil {
				return err
			}
		}
		t, err := a.timetable(tx, id)
		if err != nil {
			return err
		}
		v = t.Grading
		if !State(v.State).Allows(PrintLetters) {
			return rankwright.Faultf(rankwright.Conflict, "not_signed", "sign the grading first", "there are no letters before the outcomes are signed")
		}
		w, err := a.letterWriter(tx, v)
		if err != nil {
			return err
		}
		langs, err := a.languages(tx)
		if err != nil {
			return err
		}
		shown, err := tx.ResultsShown(id)
		if err != nil {
			return err
		}
		results, err := a.judge(tx, v)
		if err != nil {
			return err
		}
		for i := range t.Families {
			f := &t.Families[i]
			if want.Household != "" && f.ID != want.Household {
				continue
			}
			for _, e := range f.Entries {
				at := slices.IndexFunc(results, func(o Outcome) bool { return o.Entry.Entry.ID == e.Entry.ID })
				if want.Entry != "" && e.Entry.ID != want.Entry || at < 0 || e.Erased {
					continue
				}
				first := want.Lang
				if first == "" {
					first = langs.Of(f.ID)
				}
				for n, l := range []words.Lang{first, want.Second} {
					if n > 0 && (l == "" || l == first) {
						continue
					}
					x, err := w.write(&results[at], l)
					if err != nil {
						return err
					}
					x.Household, x.Family = f.ID, f.Name
					x.Shown = slices.ContainsFunc(shown, func(s store.ResultShown) bool { return s.Entry == e.Entry.ID })
					out = append(out, x)
				}
			}
		}
		if len(out) == 0 {
			return rankwright.Faultf(rankwright.NotFound, "no_letter", "go back to the grading and choose again", "there is no letter for that")
		}
		return nil
	})
	return v, out, err
}

// FamilyLetters writes the letters for the family that asks, of one of its
// children or, without an entry, of all whose results it may see.
func (a *App) FamilyLetters(ctx context.Context, who Actor, entry rankwright.EntryID, l words.Lang) (out []ResultLetter, err error) {
	err = a.see(ctx, who, SeeOwn, on{kind: "family", id: who.ID}, func(tx *store.Tx) error {
		p, err := a.familyPage(tx, who)
		if err != nil {
			return err
		}
		v, err := a.grading(tx, who.Only)
		if err != nil {
			return err
		}
		w, err := a.letterWriter(tx, v)
		if err != nil {
			return err
		}
		for i := range p.Children {
			c := &p.Children[i]
			if c.Result == nil || entry != "" && c.Entry.ID != entry {
				continue
			}
			x, err := w.write(c.Result, l)
			if err != nil {
				return err
			}
			x.Household, x.Family, x.Shown = p.Family.ID, p.Family.Name, true
			out = append(out, x)
		}
		if len(out) == 0 {
			return rankwright.Faultf(rankwright.NotFound, "no_result", "wait until the school says so", "the result is not shown yet")
		}
		return nil
	})
	return out, err
}

// LookAtLetter writes the letter about one entry as its outcome stands now, for
// a look before or after the grading is signed. It is no letter to hand over
// before, and has no signature then.
func (a *App) LookAtLetter(ctx context.Context, who Actor, entry rankwright.EntryID, l words.Lang) (v GradingView, x ResultLetter, err error) {
	err = a.see(ctx, who, SeeOutcomes, on{kind: "entry", id: string(entry)}, func(tx *store.Tx) error {
		var o Outcome
		if v, o, err = a.oneOutcome(tx, who, entry); err != nil {
			return err
		}
		w, err := a.letterWriter(tx, v)
		if err != nil {
			return err
		}
		if l == "" {
			langs, err := a.languages(tx)
			if err != nil {
				return err
			}
			l = langs.Of(householdOf(&o.Entry))
		}
		x, err = w.write(&o, l)
		return err
	})
	return v, x, err
}

// letterWriter holds what the letters of one grading have in common.
type letterWriter struct {
	v       GradingView
	in      func(words.Lang) (GradingView, error) // v with its syllabus in a language
	school  School
	signer  string
	words   Wordings
	sheets  []store.Sheet
	makeUps []rankwright.Day // of this grading, from today
	next    []nextGrading
}

type nextGrading struct {
	title   string
	day     rankwright.Day
	makeUps []rankwright.Day
}

func (a *App) letterWriter(tx *store.Tx, v GradingView) (w *letterWriter, err error) {
	w = &letterWriter{v: v, in: func(l words.Lang) (GradingView, error) { return a.in(tx, v, l) }}
	if w.school, err = schoolOf(tx); err != nil {
		return nil, err
	}
	if v.Signer != "" {
		p, err := tx.Person(v.Signer)
		if err != nil && rankwright.KindOf(err) != rankwright.NotFound {
			return nil, err
		}
		w.signer = p.Name
	}
	if w.words, err = a.wordings(tx); err != nil {
		return nil, err
	}
	if w.sheets, err = latestSheets(tx, v.Syllabus.Ladder); err != nil {
		return nil, err
	}
	if w.makeUps, err = a.makeUps(tx, v.ID); err != nil {
		return nil, err
	}
	w.next, err = a.nextGradings(tx, v)
	return w, err
}

// makeUps are the days from today on which a grading has make-up dates.
func (a *App) makeUps(tx *store.Tx, id rankwright.GradingID) (out []rankwright.Day, err error) {
	list, err := tx.TimetableSessions(id)
	for _, s := range list {
		if s.MakeUp && s.Day >= a.Today() && !slices.Contains(out, s.Day) {
			out = append(out, s.Day)
		}
	}
	slices.Sort(out)
	return out, err
}

// nextGradings are those of the same ladder that are still to come, the nearest
// first.
func (a *App) nextGradings(tx *store.Tx, v GradingView) (out []nextGrading, err error) {
	all, err := tx.Gradings()
	if err != nil {
		return nil, err
	}
	for _, g := range all {
		if st := State(g.State); g.ID == v.ID || g.Day < a.Today() || st != Planning && st != Families && st != Timetabled {
			continue
		}
		s, err := a.version(tx, g.Version)
		if err != nil {
			return nil, err
		}
		if s.Ladder != v.Syllabus.Ladder {
			continue
		}
		n := nextGrading{title: g.Title, day: g.Day}
		if n.makeUps, err = a.makeUps(tx, g.ID); err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	slices.SortStableFunc(out, func(x, y nextGrading) int { return int(x.day) - int(y.day) })
	return out, nil
}

// Again is something that is shown again: one requirement, or a section with
// those of its requirements that fell short.
type Again struct {
	Section      *syllabus.Section // nil for one requirement
	Requirements []*syllabus.Requirement
}

// Name is what it is called.
func (g Again) Name() string {
	if g.Section != nil {
		return g.Section.Name
	}
	return g.Requirements[0].Show
}

// Again lists what is shown again, by the head instructor's word where there is
// one, else by the rule.
func (o *Outcome) Again(v GradingView) (out []Again) {
	add := func(id string) {
		if sec := v.Syllabus.Section(rankwright.SectionID(id)); sec != nil {
			out = append(out, Again{sec, o.shortIn(v, sec.ID)})
		} else if q := o.Rank.Requirement(rankwright.RequirementID(id)); q != nil {
			out = append(out, Again{nil, []*syllabus.Requirement{q}})
		}
	}
	if o.Decision != nil && o.Decision.ShowAgain != "" {
		for _, id := range strings.Fields(o.Decision.ShowAgain) {
			add(id)
		}
		return out
	}
	for _, id := range o.Verdict.ShowAgainSections {
		add(string(id))
	}
	for _, id := range o.Verdict.ShowAgain {
		// What belongs to a section that is shown again is shown with it.
		if q := o.Rank.Requirement(id); q != nil && !slices.Contains(o.Verdict.ShowAgainSections, q.Section) {
			add(string(id))
		}
	}
	return out
}

// shortIn lists the requirements of a section that fell short, all of those
// that were asked where none is named.
func (o *Outcome) shortIn(v GradingView, id rankwright.SectionID) (out []*syllabus.Requirement) {
	pick := func(ok func(q *syllabus.Requirement) bool) {
		for i := range o.Rank.Requirements {
			if q := &o.Rank.Requirements[i]; q.Section == id && ok(q) {
				out = append(out, q)
			}
		}
	}
	pick(func(q *syllabus.Requirement) bool { return slices.Contains(o.Verdict.ShowAgain, q.ID) })
	if len(out) == 0 {
		pick(func(q *syllabus.Requirement) bool {
			return q.Points > 0 && !q.Bonus && !v.Waived(&o.Entry, q.ID)
		})
	}
	return out
}

// write words the letter about one outcome.
func (w *letterWriter) write(of *Outcome, l words.Lang) (x ResultLetter, err error) {
	in, err := w.in(l)
	if err != nil {
		return x, err
	}
	// The outcome with the texts of the rank as those read them who read the
	// language.
	other := *of
	o := &other
	if k, _ := in.Syllabus.Rank(of.Rank.ID); k != nil {
		o.Rank = k
	}
	say := w.school.Say(l)
	x = ResultLetter{Entry: o.Entry, Rank: o.Rank, Lang: l, Grading: w.v.Title, Day: w.v.Day, Date: say.Day(w.v.Day)}
	v := wording.Values{"child": {o.Entry.Student.GivenName}, "name": {o.Entry.Student.FullName()}, "rank": {o.Rank.Name},
		"grading": {w.v.Title}, "day": {x.Date}, "school": {w.school.Name}, "signer": {w.signer}, "dates": w.dates(say), "well": well(of, o.Rank)}
	switch o.Stands() {
	case syllabus.Promoted:
		x.Kind = wording.Promoted
		if o.Verdict.Outcome == syllabus.Promoted {
			if promote.Commended(o.Verdict.Label) {
				v["commended"] = one(say.It("result.commended"))
			}
			if o.Verdict.FollowUp != 0 {
				v["again"], v["until"] = names(o.Again(in)), one(say.Day(o.Verdict.FollowUp))
			}
		}
	case syllabus.Held:
		x.Kind = wording.Held
		v["missing"] = w.missing(o, in.Syllabus, say)
	case syllabus.NotYet:
		x.Kind = wording.NotYet
		w.notYet(o, in, say, v, &x)
	case syllabus.Absent:
		x.Kind = wording.Absent
		delete(v, "well")
	case syllabus.Stopped:
		x.Kind = wording.Stopped
		delete(v, "well")
		x.Cautions, x.CautionTitle = one(say.It("letter.caution.stopped")), say.It("letter.caution.safe")
	default:
		return x, rankwright.Faultf(rankwright.Conflict, "undecided", "decide about it first", "the outcome of %s is not settled", o.Entry.Student.FullName())
	}
	if w.signer != "" {
		x.Signed = say.It("letter.signed", words.Set{Name: "Name", Value: w.signer}, words.Set{Name: "Day", Value: say.Day(dayAt(w.v.Signed.Time()))})
	}
	wd, err := w.words.Of(x.Kind, l)
	if err != nil {
		return x, err
	}
	x.Words, err = wd.Fill(v)
	return x, err
}

// mostWell is how many things that went well a letter names.
const mostWell = 6

// well lists what went well in the texts of k, which is the outcome's rank in
// some language.
func well(o *Outcome, k *syllabus.Rank) (out []string) {
	for _, show := range o.Judge.Well(o.Case) {
		for i := range o.Rank.Requirements {
			if q := &o.Rank.Requirements[i]; q.Show == show && len(out) < mostWell {
				out = append(out, k.Requirement(q.ID).Show)
				break
			}
		}
	}
	return out
}

func names(list []Again) (out []string) {
	for _, g := range list {
		out = append(out, g.Name())
	}
	return out
}

// dates are the next dates: make-up dates of this grading, and those of the
// next ones with theirs.
func (w *letterWriter) dates(say *words.Say) (out []string) {
	add := func(key words.Key, title string, day rankwright.Day) {
		out = append(out, say.It(key, words.Set{Name: "What", Value: title}, words.Set{Name: "Day", Value: say.Day(day)}))
	}
	for _, d := range w.makeUps {
		add("letter.make-up", w.v.Title, d)
	}
	for _, n := range w.next {
		add("letter.date", n.title, n.day)
		for _, d := range n.makeUps {
			add("letter.make-up", n.title, d)
		}
	}
	return out
}

// missing says of each clearance that is open how it is settled.
func (w *letterWriter) missing(o *Outcome, s *syllabus.Syllabus, say *words.Say) (out []string) {
	for _, id := range o.Lacks() {
		key := words.Key("letter.missing.desk")
		if slices.ContainsFunc(w.sheets, func(s store.Sheet) bool { return s.Clearance == id }) {
			key = "letter.missing.sign"
		}
		out = append(out, say.It(key, words.Set{Name: "Name", Value: s.Clearance(id).Name}))
	}
	if len(out) == 0 {
		out = one(say.It("letter.missing.in"))
	}
	return out
}

// notYet says what is shown again, what of it is practised at home and how, and
// what is left to class.
func (w *letterWriter) notYet(o *Outcome, in GradingView, say *words.Say, v wording.Values, x *ResultLetter) {
	s := in.Syllabus
	list := o.Again(in)
	v["again"] = names(list)
	if len(list) == 0 {
		v["again"] = one(say.It("letter.again.all", words.Set{Name: "Rank", Value: o.Rank.Name}))
	} else if o.Verdict.AgainUntil != 0 {
		v["until"] = one(say.Day(o.Verdict.AgainUntil))
	}
	var asked []*syllabus.Requirement
	for _, g := range list {
		asked = append(asked, g.Requirements...)
	}
	moves, unsafe := false, false
	for _, q := range asked {
		unsafe = unsafe || !coach.Safe(s, q)
	}
	tasks, class := coach.Home(s, asked, coach.Weak{})
	for _, t := range tasks {
		key := []words.Key{coach.Do: "letter.practise.do", coach.SayAndDo: "letter.practise.say-and-do", coach.Say: "letter.practise.say", coach.Think: "letter.practise.think"}[t.How]
		if t.OnlySaid {
			key = "letter.practise.said"
			class = append(class, t.Requirement)
		}
		moves = moves || t.How == coach.Do || t.How == coach.SayAndDo
		v["practise"] = append(v["practise"], say.It(key, words.Set{Name: "Show", Value: o.Rank.Requirement(t.Requirement).Show}))
	}
	for _, q := range asked { // in the order in which they are named above
		if slices.Contains(class, q.ID) {
			v["class"] = append(v["class"], q.Show)
		}
	}
	if moves {
		x.CautionTitle = say.It("letter.caution.home")
	}
	if unsafe {
		x.CautionTitle, x.Local = say.It("caution.title"), w.school.Cautions
		x.Cautions = say.FallCautions()
	}
	if moves {
		x.Cautions = append(x.Cautions, say.It("plan.how-room"), say.It("plan.how-tired"))
	}
}
