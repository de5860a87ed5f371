package web

import (
	"fmt"
	"net/url"
	"reflect"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/syllabus"
)

// syllabusReadPage is a version as people read it.
type syllabusReadPage struct {
	Frame
	TextHref, EditHref, PublishHref string
	Translations                    string // "" for a draft
	Facts                           []look.Fact
	Caution                         *look.Caution
	Clearances, Themes, Combine     []look.Fact
	Scales                          []syllabusScale
	Pass                            []syllabusResult // where one rule serves every rank
	Ranks                           []syllabusRank
	Guides, Pictures                string
}

type syllabusScale struct {
	Name   string
	Levels []look.Fact
}

type syllabusRank struct {
	ID                string
	Belt, Small       look.Belt
	Guide             string // for families
	Points, Bonus     string
	Entry             []syllabusEntryRule
	Panel, Clearances string
	Sections          []syllabusSection
	Pass              []syllabusResult
}

type syllabusEntryRule struct {
	Name, When string
	Lines      []string
}

type syllabusSection struct {
	Name, Cautions string
	Asked          []syllabusAsked
}

type syllabusAsked struct {
	ID, Show, Points string
	Must, Bonus      bool
	How, More        string
	PartsName        string
	Parts            []string
}

type syllabusResult struct {
	Outcome, Label string
	When           []syllabusCondition
	Then           []string
}

// Badge is the result as a badge.
func (r syllabusResult) Badge() look.Outcome { return look.Outcome{Code: r.Outcome, Note: r.Label} }

type syllabusCondition struct{ Name, Words string }

func syllabusRead(q *Query) (Answer, error) {
	v, s, err := q.App().Version(q.Context(), q.Who, q.PathValue("id"))
	if err != nil {
		return nil, err
	}
	w := syllabusWords{s}
	p := &syllabusReadPage{TextHref: "/syllabus/version/" + url.PathEscape(v.ID) + "/text", Scales: syllabusScales(s), Combine: w.combine()}
	p.Title, p.Lead, p.Back = s.Name, syllabusCounts(s)+".", &look.Link{Href: "/syllabus", Text: "Syllabus"}
	p.Kicker = syllabusVersion(&v).Text
	p.Guides, p.Pictures = "/syllabus/version/"+url.PathEscape(v.ID)+"/guides", picturesHref(v.Ladder)
	if v.Published != 0 {
		p.Translations = translationsHref(v.ID)
	}
	if q.Who.Role.May(app.EditSyllabus) {
		p.EditHref = syllabusEditHref(s.Ladder)
		if v.Published == 0 {
			p.PublishHref = syllabusPublishHref(s.Ladder)
		}
	}
	p.Facts = w.about()
	p.Caution = syllabusCaution(s)
	for _, c := range s.Clearances {
		text := "before the promotion"
		if c.Before == syllabus.BeforeEntry {
			text = "before entering"
		}
		p.Clearances = append(p.Clearances, look.Fact{Term: c.Name, Text: text})
	}
	for m := time.January; m <= time.December; m++ {
		if t := s.Themes[m]; t != "" {
			p.Themes = append(p.Themes, look.Fact{Term: m.String(), Text: t})
		}
	}
	one := true
	for i := range s.Ranks {
		one = one && reflect.DeepEqual(s.Ranks[0].Pass, s.Ranks[i].Pass)
	}
	for i := range s.Ranks {
		k := w.rank(&s.Ranks[i], i)
		k.Guide = syllabusGuideHref(v.ID, s.Ranks[i].ID)
		if one {
			p.Pass, k.Pass = k.Pass, nil
		}
		p.Ranks = append(p.Ranks, k)
	}
	return Page("syllabus-read", p), nil
}

// about is what concerns the whole ladder.
func (w syllabusWords) about() []look.Fact {
	s := w.s
	var out []look.Fact
	add := func(term, text, note string) {
		if text != "" {
			out = append(out, look.Fact{Term: term, Text: text, Note: note})
		}
	}
	add("The school’s own name of it", s.Version, "")
	add("In force", syllabusForce(s.From, s.Until), "")
	var bands []string
	for _, b := range s.Bands {
		bands = append(bands, b.ID+" is "+itoa(b.From)+"–"+itoa(b.To))
	}
	add("Age bands", strings.Join(bands, ", "), "Years of age on the grading day, both ends included.")
	leap := "28 February in other years"
	if s.Counting.MonthEnd == rankwright.FirstOfNext {
		leap = "1 March in other years"
	}
	add("A birthday on 29 February", leap, "")
	if s.Source != "" {
		add("Follows", "a published rule", s.Source)
	}
	return out
}

func syllabusScales(s *syllabus.Syllabus) []syllabusScale {
	var out []syllabusScale
	for _, sc := range s.Scales {
		x := syllabusScale{Name: sc.Name}
		if x.Name == "" {
			x.Name = sc.ID
		}
		for _, l := range sc.Levels {
			x.Levels = append(x.Levels, look.Fact{Term: itoa(l.Value), Text: l.Words})
		}
		out = append(out, x)
	}
	return out
}

// syllabusCaution is the box before what can hurt, or nil where nothing of
// the kind is asked. What it adds to the usual box is common practice, with
// no published source.
func syllabusCaution(s *syllabus.Syllabus) *look.Caution {
	found := map[syllabus.Caution]bool{}
	for _, sec := range s.Sections {
		for _, c := range sec.Cautions {
			found[c] = true
		}
	}
	for i := range s.Ranks {
		for j := range s.Ranks[i].Requirements {
			for _, c := range s.Ranks[i].Requirements[j].Cautions {
				found[c] = true
			}
		}
	}
	if len(found) == 0 {
		return nil
	}
	c := look.Cautions("", "")
	c.Title = "Before what can hurt"
	if found[syllabus.Contact] {
		c.Lines = append(c.Lines, "Contact: light and agreed beforehand; partners of like size; stop at the first sign of distress.")
	}
	if found[syllabus.Fitness] {
		c.Lines = append(c.Lines, "Fitness: each child at their own pace, with water and rest; stop on pain, dizziness or trouble with breathing, and tell the first aider.")
	}
	return &c
}

func syllabusCautionWords(cs []syllabus.Caution) string {
	words := map[syllabus.Caution]string{syllabus.Falls: "falls", syllabus.Partner: "partner work", syllabus.Contact: "contact", syllabus.Fitness: "effort"}
	var out []string
	for _, c := range cs {
		out = append(out, words[c])
	}
	return syllabusAnd(out)
}

func (w syllabusWords) rank(k *syllabus.Rank, place int) syllabusRank {
	x := syllabusRank{ID: "rank-" + string(k.ID), Belt: belt(k), Small: belt(k), Entry: w.entry(k, place), Pass: w.pass(&k.Pass)}
	x.Belt.Large = true
	total := rankwright.Amount(0)
	for i := range k.Requirements {
		if !k.Requirements[i].Bonus {
			total += k.Requirements[i].Points
		}
	}
	x.Points = syllabusPoints(total)
	if k.BonusCap > 0 {
		x.Bonus = "up to " + syllabusPoints(k.BonusCap) + " more as a bonus"
	}
	var panels, names []string
	for _, pn := range k.Panel {
		panels = append(panels, w.panel(pn))
	}
	x.Panel = syllabusCapital(strings.Join(panels, "; or "))
	for _, id := range k.Clearances {
		if c := w.s.Clearance(id); c != nil {
			names = append(names, c.Name)
		}
	}
	x.Clearances = strings.Join(names, "; ")
	for _, sec := range w.s.Sections {
		y := syllabusSection{Name: sec.Name, Cautions: syllabusCautionWords(sec.Cautions)}
		for i := range k.Requirements {
			if q := &k.Requirements[i]; q.Section == sec.ID {
				y.Asked = append(y.Asked, w.asked(q))
			}
		}
		if len(y.Asked) > 0 {
			x.Sections = append(x.Sections, y)
		}
	}
	return x
}

// syllabusPoints writes points as people say them.
func syllabusPoints(a rankwright.Amount) string {
	if a == rankwright.One {
		return "1 point"
	}
	return a.String() + " points"
}

func (w syllabusWords) asked(q *syllabus.Requirement) syllabusAsked {
	x := syllabusAsked{ID: string(q.ID), Show: q.Show, Must: q.Must, Bonus: q.Bonus, Points: syllabusPoints(q.Points), Parts: q.Parts}
	switch {
	case q.ForRelease && q.Points == 0:
		x.Points = "no points"
	case q.Kind == syllabus.Consent:
		x.Points = "a vote"
	}
	switch q.Kind {
	case syllabus.Tick:
		x.How = "Shown or not."
	case syllabus.Leveled:
		x.How = "A level"
		if q.Scale != nil && len(q.Scale.Levels) > 0 {
			ls := q.Scale.Levels
			x.How = "A level from " + itoa(ls[0].Value) + " to " + itoa(ls[len(ls)-1].Value)
			if q.Scale.Name != "" {
				x.How += " of " + strings.ToLower(q.Scale.Name)
			}
		}
		x.How += "; " + w.expected(q, "level", "") + "."
	case syllabus.Steps:
		x.How, x.PartsName = fmt.Sprintf("Steps in order, %d in all; %s.", q.Of, w.expected(q, "", " steps")), "The steps"
	case syllabus.Recall:
		x.How, x.PartsName = fmt.Sprintf("From memory, %d in all; %s.", q.Of, w.expected(q, "", "")), "The list"
	case syllabus.Timed:
		x.How = "Time; " + w.expected(q, "", " seconds") + "." + syllabusCreditTable(q)
	case syllabus.Count:
		x.How = "A count"
		if q.Of > 0 {
			x.How += " out of " + itoa(q.Of)
		}
		x.How += "; " + w.expected(q, "", "") + "." + syllabusCreditTable(q)
	case syllabus.Consent:
		x.How = "Each examiner says yes or no."
	}
	var more []string
	if q.Themed {
		more = append(more, "Its content changes with the theme of the month.")
	}
	if q.Before {
		more = append(more, "Seen before the day, in class or at the door.")
	}
	if q.ForRelease {
		more = append(more, "No result is given out without it.")
	}
	if q.Tries > 1 {
		more = append(more, fmt.Sprintf("%d tries; the %s counts.", q.Tries, []string{"best", "last", "first"}[min(q.Keep, syllabus.KeepFirst)]))
	}
	if q.Examiner != "" {
		more = append(more, "Examined by "+w.ranks("", []rankwright.RankID{q.Examiner})+" or higher.")
	}
	if q.Combine != nil {
		more = append(more, syllabusCapital(syllabusCombine(*q.Combine))+".")
	}
	if len(q.Cautions) > 0 {
		more = append(more, "Cautions apply: "+syllabusCautionWords(q.Cautions)+".")
	}
	x.More = strings.Join(more, " ")
	return x
}

// expected says what counts as shown: for everybody, or by age where the
// bands differ.
func (w syllabusWords) expected(q *syllabus.Requirement, before, after string) string {
	lead := "expected: at least "
	if q.AtMost {
		lead = "expected: at most "
	}
	if before != "" {
		before += " "
	}
	same := true
	for _, v := range q.ExpectByBand {
		same = same && v == q.ExpectByBand[0]
	}
	if same {
		v := q.Expect
		if len(q.ExpectByBand) > 0 {
			v = q.ExpectByBand[0]
		}
		if v == rankwright.One {
			after = strings.TrimSuffix(after, "s")
		}
		return lead + before + v.String() + after
	}
	var parts []string
	for i := 0; i < min(len(q.ExpectByBand), len(w.s.Bands)); i++ {
		v, from, to := q.ExpectByBand[i], w.s.Bands[i].From, w.s.Bands[i].To
		for i+1 < min(len(q.ExpectByBand), len(w.s.Bands)) && q.ExpectByBand[i+1] == v && w.s.Bands[i+1].From == to+1 {
			i++
			to = w.s.Bands[i].To
		}
		parts = append(parts, fmt.Sprintf("%s at %d–%d years", v, from, to))
	}
	if after != "" {
		parts[0] = strings.Replace(parts[0], " at ", after+" at ", 1)
	}
	return lead + before + strings.Join(parts, ", ")
}

func syllabusCreditTable(q *syllabus.Requirement) string {
	if len(q.Credit) == 0 {
		return ""
	}
	var parts []string
	for _, c := range q.Credit {
		at := "from " + c.At.String()
		if q.AtMost {
			at = "up to " + c.At.String()
		}
		parts = append(parts, syllabusPoints(c.Points)+" "+at)
	}
	return " Of what is expected, " + strings.Join(parts, ", ") + "."
}

// combine says how several examiners' marks become one, once for the kinds
// that share a rule.
func (w syllabusWords) combine() []look.Fact {
	kinds := map[string][]string{}
	var order []string
	for _, k := range syllabus.Kinds() {
		c, ok := w.s.Combine[k]
		if !ok {
			continue
		}
		words := syllabusCombine(c)
		if kinds[words] == nil {
			order = append(order, words)
		}
		kinds[words] = append(kinds[words], []string{"shown or not", "levels", "steps", "from memory", "times", "counts", "votes"}[min(int(k), 6)])
	}
	var out []look.Fact
	for _, words := range order {
		out = append(out, look.Fact{Term: syllabusCapital(strings.Join(kinds[words], ", ")), Text: words})
	}
	return out
}

func syllabusCombine(c syllabus.Combine) string {
	words := []string{"the lead examiner’s mark counts", "the mean of the marks counts", "the middle mark counts",
		"what more than half of the examiners saw counts", "the least favourable mark counts", "one examiner marks it"}
	out := words[min(int(c.Method), len(words)-1)]
	if c.OfTwo != c.Method {
		out += "; of two examiners, " + words[min(int(c.OfTwo), len(words)-1)]
	}
	if c.Apart > 0 {
		out += "; marks " + c.Apart.String() + " or more apart get a second look"
	}
	return out
}

func syllabusFacts(s *syllabus.Syllabus) []look.Fact {
	asked, musts, bonus := 0, 0, 0
	for i := range s.Ranks {
		for j := range s.Ranks[i].Requirements {
			switch r := &s.Ranks[i].Requirements[j]; {
			case r.Bonus:
				bonus++
			case r.Must:
				musts++
				fallthrough
			default:
				asked++
			}
		}
	}
	out := []look.Fact{
		{Term: "Ranks", Text: itoa(len(s.Ranks))},
		{Term: "Requirements", Text: itoa(asked), Note: "Counted at every rank that asks for them."},
		{Term: "Of these, musts", Text: itoa(musts)},
	}
	if bonus > 0 {
		out = append(out, look.Fact{Term: "For bonus points", Text: itoa(bonus)})
	}
	return append(out, look.Fact{Term: "Sections", Text: itoa(len(s.Sections))}, look.Fact{Term: "Clearances", Text: itoa(len(s.Clearances))})
}

// syllabusChanges says rank by rank what differs from the version before.
func syllabusChanges(old, s *syllabus.Syllabus) []string {
	var out []string
	for i := range s.Ranks {
		k := &s.Ranks[i]
		was, place := old.Rank(k.ID)
		if was == nil {
			out = append(out, k.Name+": a new rank with "+plural(len(k.Requirements), "requirement", "requirements")+".")
			continue
		}
		var parts []string
		added, changed, gone := 0, 0, 0
		for j := range k.Requirements {
			switch before := was.Requirement(k.Requirements[j].ID); {
			case before == nil:
				added++
			case !reflect.DeepEqual(*before, k.Requirements[j]):
				changed++
			}
		}
		for j := range was.Requirements {
			if k.Requirement(was.Requirements[j].ID) == nil {
				gone++
			}
		}
		for _, c := range []struct {
			n         int
			one, many string
		}{
			{added, "new requirement", "new requirements"},
			{changed, "changed requirement", "changed requirements"},
			{gone, "requirement no longer asked", "requirements no longer asked"},
		} {
			if c.n > 0 {
				parts = append(parts, plural(c.n, c.one, c.many))
			}
		}
		for _, c := range []struct {
			differs bool
			words   string
		}{
			{!reflect.DeepEqual(was.Pass, k.Pass), "another pass rule"},
			{!reflect.DeepEqual(was.Eligibility, k.Eligibility), "other conditions of entry"},
			{!reflect.DeepEqual(was.Clearances, k.Clearances), "other clearances"},
			{was.Belt != k.Belt || was.Name != k.Name, "another name or belt"},
			{place != i, "another place on the ladder"},
		} {
			if c.differs {
				parts = append(parts, c.words)
			}
		}
		if len(parts) > 0 {
			out = append(out, k.Name+": "+strings.Join(parts, ", ")+".")
		}
	}
	for i := range old.Ranks {
		if k, _ := s.Rank(old.Ranks[i].ID); k == nil {
			out = append(out, old.Ranks[i].Name+": no longer on the ladder.")
		}
	}
	if len(out) == 0 {
		out = append(out, "No rank asks for anything else than before.")
	}
	return out
}

func syllabusText(q *Query) (Answer, error) {
	v, _, err := q.App().Version(q.Context(), q.Who, q.PathValue("id"))
	if err != nil {
		return nil, err
	}
	name := string(v.Ladder) + "-draft.yaml"
	if v.Published != 0 {
		name = string(v.Ladder) + "-" + itoa(v.Number) + ".yaml"
	}
	return File{Name: name, Type: "application/yaml; charset=utf-8", Data: []byte(v.Text)}, nil
}
