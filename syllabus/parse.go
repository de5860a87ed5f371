package syllabus

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rankwright"
)

// Format is the word and number with which a syllabus file begins.
const Format = "syllabus 1"

// Parse reads one syllabus file. It reports every fault that it finds, each
// with line, column and what would be right; with a fault there is no
// syllabus. file is used in messages only.
func Parse(file string, data []byte) (*Syllabus, error) {
	r := &reader{file: file, what: "a syllabus"}
	p := &builder{reader: r, s: &Syllabus{at: map[string]int{}}, used: map[string]bool{}, scales: map[string]bool{}, partial: map[rankwright.RankID]bool{}, ids: map[string]bool{}}
	if doc := r.load(data); doc != nil {
		p.document(doc)
	}
	if fs := r.sorted(); len(fs) > 0 {
		return nil, fs
	}
	return p.s, nil
}

func (p *builder) document(doc *node) {
	o := p.object(doc, "the syllabus", "rankwright", "ladder", "name", "version", "source", "in_force", "counting",
		"age_bands", "scales", "lists", "credits", "sections", "clearances", "themes", "combine", "requirements", "pass", "panel", "ranks")
	s := p.s
	if f := p.need(o, "rankwright", "rankwright: "+Format+" as the first line"); f != nil && f.text != Format {
		p.fault(f, "other_format", "write rankwright: "+Format, "this program reads %q, not %s", Format, f.describe())
	}
	s.Ladder = rankwright.LadderID(p.ident(p.need(o, "ladder", "ladder: and a short id, such as ladder: juniors"), "the ladder's id"))
	s.Name = p.str(p.need(o, "name", "name: and the name that people read, such as name: Juniors"), "the name", 120)
	s.Version = p.str(o.get("version"), "the version", 40)
	s.Source = p.str(o.get("source"), "the source", 600)
	if n := o.get("in_force"); !n.empty() {
		f := p.object(n, "in_force", "from", "until")
		s.From, s.Until = p.day(f.get("from"), "in_force from"), p.day(f.get("until"), "in_force until")
		if s.Until != 0 && s.Until < s.From {
			p.fault(f.get("until"), "ends_before", "swap the two dates", "the version ends on %s, before it begins on %s", s.Until, s.From)
		}
	}
	if n := o.get("counting"); !n.empty() {
		c := p.object(n, "counting", "leap_day")
		s.Counting.MonthEnd = rankwright.MonthEnd(p.choice(c.get("leap_day"), "leap_day", "last of february", "first of march"))
	}
	p.bands(o.get("age_bands"))
	p.scalesOf(o.get("scales"))
	p.listsOf(o.get("lists"))
	p.creditsOf(o.get("credits"))
	p.sections(p.need(o, "sections", "sections: with an id and a name for each, such as falls: Falls"))
	p.clearances(o.get("clearances"))
	p.themes(o.get("themes"))
	p.combines(o.get("combine"))
	p.sharedOf(o.get("requirements"))
	p.pass, p.panel = o.get("pass"), o.get("panel")
	p.ranks(p.need(o, "ranks", "ranks: and below it each rank, lowest first"))
	p.runLabels()
	p.unusedRemarks(o.get("scales"), "scale")
	p.unusedRemarks(o.get("lists"), "list")
	p.unusedRemarks(o.get("credits"), "credit table")
	p.unusedRemarks(p.shared, "requirement")
}

// sharedOf checks what is wrong with shared requirements on their own; the
// rest is checked where a rank uses them.
func (p *builder) sharedOf(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "requirements", "such as bow: {section: manners, show: Bows, kind: tick, points: 1}")
	p.shared = o.node
	for i, k := range o.keys {
		what := "shared requirement " + strconv.Quote(k.text)
		p.ident(k, "the id of a shared requirement")
		if use := p.object(o.items[i], what, askKeys...).get("use"); use != nil {
			p.fault(use, "clash", "write its keys out here", "%s uses another one; only a rank can use shared requirements", what)
		}
	}
}

// runLabels refuses a label that conditions look back for and that no result
// ever gives.
func (p *builder) runLabels() {
	var labels []string
	for i := range p.s.Ranks {
		for _, res := range p.s.Ranks[i].Pass.Results {
			labels = append(labels, res.Label)
		}
	}
	for _, n := range p.runs {
		if !slices.Contains(labels, strings.TrimSpace(n.text)) {
			p.unknown(n, "result with the label", "use the label of a result", labels)
		}
	}
}

func (p *builder) bands(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "age_bands", "such as A: 5-7")
	p.s.at["age_bands"] = n.line
	for i, k := range o.keys {
		band := AgeBand{ID: p.own(k, "the id of an age band", "all")}
		from, to, ok := strings.Cut(o.items[i].text, "-")
		a, okA := whole(strings.TrimSpace(from))
		b, okB := whole(strings.TrimSpace(to))
		switch {
		case !ok || !okA || !okB || b > maxAge:
			p.fault(o.items[i], "bad_band", "write it as youngest-oldest, such as 8-10", "age band %s cannot be %s", k.text, o.items[i].describe())
		case a > b:
			p.fault(o.items[i], "bad_band", fmt.Sprintf("swap the two ages: %d-%d", b, a), "age band %s ends at %d, before it begins at %d", k.text, b, a)
		case len(p.s.Bands) > 0 && a <= p.s.Bands[len(p.s.Bands)-1].To:
			last := p.s.Bands[len(p.s.Bands)-1]
			p.fault(o.items[i], "bad_band", "write the youngest band first, and let no age be in two", "age band %s begins at %d, but band %s before it goes up to %d", k.text, a, last.ID, last.To)
		default:
			band.From, band.To = a, b
		}
		p.s.Bands = append(p.s.Bands, band)
	}
}

func (p *builder) scalesOf(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "scales", "such as MOVE: and below it levels")
	for i, k := range o.keys {
		p.scales[k.text] = true
		if sc, ok := p.scale(k, o.items[i]); ok {
			p.s.Scales = append(p.s.Scales, sc)
		}
	}
}

func (p *builder) scale(k, n *node) (Scale, bool) {
	before := p.found
	what := "scale " + strconv.Quote(k.text)
	f := p.object(n, what, "name", "enough", "levels")
	sc := Scale{ID: p.ident(k, "the id of a scale"), Name: p.str(f.get("name"), "the name of "+what, 80)}
	levels := p.need(f, "levels", "levels: and below it each level with its words, such as 2: guard and balance hold")
	if levels == nil {
		return sc, false
	}
	l := p.anyKeys(levels, "the levels of "+what, "such as 2: guard and balance hold")
	for j, lk := range l.keys {
		at := p.found
		v := p.integer(lk, "a level", 0, 100)
		if p.found > at {
			continue
		}
		if n := len(sc.Levels); n > 0 && v <= sc.Levels[n-1].Value {
			p.fault(lk, "bad_level", "write the levels in rising order", "level %d comes after level %d", v, sc.Levels[n-1].Value)
			continue
		}
		sc.Levels = append(sc.Levels, Level{Value: v, Words: p.str(l.items[j], "the words of a level", 400)})
	}
	if p.found > before {
		return sc, false
	}
	if len(sc.Levels) < 2 {
		p.fault(levels, "bad_level", "describe at least two", "%s has only one level", what)
		return sc, false
	}
	sc.Enough = sc.Levels[len(sc.Levels)-1].Value
	if e := f.get("enough"); !e.empty() {
		sc.Enough = p.integer(e, "the level that is enough", 0, 100)
		if p.found == before && !slices.ContainsFunc(sc.Levels, func(l Level) bool { return l.Value == sc.Enough }) {
			p.fault(e, "bad_level", "name one of its levels", "%s has no level %d", what, sc.Enough)
		}
	}
	return sc, p.found == before
}

func (p *builder) listsOf(n *node) {
	p.lists = map[string][]string{}
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "lists", "such as colours: [red, blue]")
	for i, k := range o.keys {
		p.ident(k, "the id of a list")
		p.lists[k.text] = p.parts(o.items[i], "list "+strconv.Quote(k.text))
	}
}

func (p *builder) parts(n *node, what string) []string {
	var out []string
	for _, item := range p.each(n, what) {
		out = append(out, p.str(item, "an item of "+what, 200))
	}
	if len(out) > 60 {
		p.fault(n, "too_many", "split it into two", "%s has %d items, and at most 60 can be scored", what, len(out))
	}
	return out
}

func (p *builder) creditsOf(n *node) {
	p.credits = map[string][]Credit{}
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "credits", "such as reach: {100%: 3, 75%: 2}")
	for i, k := range o.keys {
		p.ident(k, "the id of a credit table")
		p.credits[k.text] = p.creditTable(o.items[i], "credit table "+strconv.Quote(k.text))
	}
}

func (p *builder) creditTable(n *node, what string) []Credit {
	o := p.anyKeys(n, what, "such as {100%: 3, 75%: 2, 50%: 1}")
	start := p.found
	var out []Credit
	for i, k := range o.keys {
		before := p.found
		c := Credit{At: p.share(k, "a share of the target"), Points: p.amount(o.items[i], "the points")}
		if p.found > before {
			continue
		}
		if n := len(out); n > 0 && c.Points >= out[n-1].Points {
			p.fault(o.items[i], "bad_credit", "write the best row first and let the points fall", "the row %s gives %s, no less than the row before it", c.At, points(c.Points))
		}
		out = append(out, c)
	}
	if p.found > start {
		return nil
	}
	return out
}

// points writes a number of points as people say it.
func points(a rankwright.Amount) string {
	if a == rankwright.One {
		return "1 point"
	}
	return a.String() + " points"
}

var cautionWords = []string{"falls", "partner", "contact", "fitness"}

func (p *builder) cautions(n *node) []Caution {
	var out []Caution
	for _, item := range p.each(n, "cautions") {
		if i := p.choice(item, "a caution", cautionWords...); !item.empty() {
			out = append(out, Caution(cautionWords[i]))
		}
	}
	return out
}

func (p *builder) sections(n *node) {
	if n == nil {
		return
	}
	o := p.anyKeys(n, "sections", "such as falls: Falls")
	for i, k := range o.keys {
		sec := Section{ID: rankwright.SectionID(p.own(k, "the id of a section", keptWords...))}
		if v := o.items[i]; v.shape == mapping {
			f := p.object(v, "section "+strconv.Quote(k.text), "name", "cautions")
			sec.Name = p.str(p.need(f, "name", "name: and the name that people read"), "the section's name", 80)
			sec.Cautions = p.cautions(f.get("cautions"))
		} else {
			sec.Name = p.str(v, "the section's name", 80)
		}
		p.s.at["section "+k.text] = k.line
		p.s.Sections = append(p.s.Sections, sec)
		p.ids[k.text] = true
	}
}

func (p *builder) clearances(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "clearances", "such as signature: Guardian's signature")
	for i, k := range o.keys {
		c := Clearance{ID: rankwright.ClearanceID(p.own(k, "the id of a clearance", "none"))}
		if v := o.items[i]; v.shape == mapping {
			f := p.object(v, "clearance "+strconv.Quote(k.text), "name", "before")
			c.Name = p.str(p.need(f, "name", "name: and the name that people read"), "the clearance's name", 120)
			c.Before = Stage(p.choice(f.get("before"), "before", "promotion", "entry"))
		} else {
			c.Name = p.str(v, "the clearance's name", 120)
		}
		p.s.Clearances = append(p.s.Clearances, c)
	}
}

func (p *builder) themes(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "themes", "from 1 to 12 for the months, such as 10: calm breath")
	p.s.Themes = map[time.Month]string{}
	for i, k := range o.keys {
		if m := p.integer(k, "a month", 1, 12); m > 0 {
			p.s.Themes[time.Month(m)] = p.str(o.items[i], "the theme", 120)
		}
	}
}

func (p *builder) combines(n *node) {
	p.s.Combine = map[Kind]Combine{}
	if n.empty() {
		return
	}
	o := p.object(n, "combine", append([]string{"default"}, kindWords...)...)
	if d := o.get("default"); !d.empty() {
		c := p.combine(d, "the default combining rule")
		for _, k := range Kinds() {
			p.s.Combine[k] = c
		}
	}
	for i, w := range kindWords {
		if v := o.get(w); !v.empty() {
			p.s.Combine[Kind(i)] = p.combine(v, "the combining rule of "+w)
		}
	}
}

func (p *builder) combine(n *node, what string) Combine {
	if n.shape == scalar {
		m := Method(p.choice(n, what, methodWords...))
		return Combine{Method: m, OfTwo: m}
	}
	f := p.object(n, what, "method", "of_two", "look_again_if_apart")
	c := Combine{Method: Method(p.choice(p.need(f, "method", "method: and one of "+strings.Join(methodWords, ", ")), what, methodWords...))}
	c.OfTwo = c.Method
	if v := f.get("of_two"); !v.empty() {
		c.OfTwo = Method(p.choice(v, "of_two", methodWords...))
	}
	c.Apart = p.amount(f.get("look_again_if_apart"), "look_again_if_apart")
	return c
}

func (p *builder) panels(n *node, what string) []Panel {
	var out []Panel
	if n.empty() {
		return nil
	}
	items := []*node{n}
	if n.shape == list {
		items = p.each(n, what)
	}
	for _, item := range items {
		f := p.object(item, what, "size", "consents", "rank", "outside")
		pn := Panel{
			Size:     p.integer(p.need(f, "size", "size: and the number of examiners, such as size: 3"), "the size", 1, 99),
			Consents: p.integer(f.get("consents"), "the consents", 0, 99),
			Rank:     rankwright.RankID(p.ident(f.get("rank"), "the rank")),
			Outside:  p.integer(f.get("outside"), "outside", 0, 99),
		}
		if pn.Size > 0 && pn.Consents > pn.Size {
			p.fault(item, "bad_panel", "ask for no more than its size", "a panel of %d cannot give %d consents", pn.Size, pn.Consents)
		}
		if pn.Size > 0 && pn.Outside > pn.Size {
			p.fault(item, "bad_panel", "ask for no more than its size", "a panel of %d cannot have %d examiners from outside", pn.Size, pn.Outside)
		}
		out = append(out, pn)
	}
	return out
}

var hexDigits = "0123456789abcdefABCDEF"

func (p *builder) hex(n *node, what string) string {
	s := p.str(n, what, 20)
	if s == "" {
		return ""
	}
	if len(s) != 7 || s[0] != '#' || strings.Trim(s[1:], hexDigits) != "" {
		p.fault(n, "bad_colour", "write # and six of the digits 0-9 and a-f, such as \"#d9b34c\"", "%s cannot be %s", what, n.describe())
		return ""
	}
	return strings.ToLower(s)
}

func (p *builder) belt(n *node, what string) Belt {
	if n.empty() {
		return Belt{}
	}
	if n.shape == scalar {
		return Belt{Colour: p.str(n, what, 40)}
	}
	f := p.object(n, what, "colour", "hex", "tip", "tip_hex")
	return Belt{
		Colour: p.str(f.get("colour"), "the colour", 40), Hex: p.hex(f.get("hex"), "the colour"),
		Tip: p.str(f.get("tip"), "the tip", 40), TipHex: p.hex(f.get("tip_hex"), "the tip's colour"),
	}
}

func (p *builder) ranks(n *node) {
	if n == nil {
		return
	}
	items := p.each(n, "ranks")
	if len(items) > 100 {
		p.fault(n, "too_many", "split the ladder", "there are %d ranks, and at most 100 are read", len(items))
		return
	}
	objects := make([]object, len(items))
	// Two passes: rules of one rank may name another.
	for i, item := range items {
		o := p.object(item, fmt.Sprintf("rank %d", i+1), "id", "name", "belt", "eligibility", "asks", "bonus_cap", "pass", "clearances", "panel")
		id := rankwright.RankID(p.ident(p.need(o, "id", "id: and a short id, such as id: yellow"), "the rank's id"))
		if _, at := p.s.Rank(id); at >= 0 && id != "" {
			p.fault(o.get("id"), "double_id", "give each rank its own id", "the id %q belongs to the rank on line %d", id, p.s.at["rank "+string(id)])
		}
		k := Rank{ID: id, Name: p.str(o.get("name"), "the rank's name", 80), Belt: p.belt(o.get("belt"), "the belt")}
		if k.Name == "" {
			k.Name = string(id)
		}
		if k.Name != "" {
			o.what = "rank " + strconv.Quote(k.Name)
		}
		objects[i] = o
		if p.s.at["rank "+string(id)] == 0 {
			p.s.at["rank "+string(id)] = o.line
		}
		p.s.Ranks = append(p.s.Ranks, k)
	}
	for i := range p.s.Ranks {
		p.asks(&p.s.Ranks[i], objects[i])
	}
	for i := range p.s.Ranks {
		p.rules(&p.s.Ranks[i], objects[i])
	}
}

func (p *builder) rules(k *Rank, o object) {
	k.BonusCap = p.amount(o.get("bonus_cap"), "bonus_cap")
	bonus := rankwright.Amount(0)
	for _, q := range k.Requirements {
		if q.Bonus {
			bonus += q.Points
		}
	}
	if bonus > 0 && !o.has("bonus_cap") {
		p.fault(o.node, "missing_key", "add bonus_cap: and the most that bonus can add, such as bonus_cap: 3", "%s has bonus points but no cap on them", o.what)
	}
	panel := o.get("panel")
	if panel.empty() {
		panel = p.panel
	}
	k.Panel = p.panels(panel, "the panel")
	pass := o.get("pass")
	if pass.empty() {
		pass = p.pass
	}
	if pass.empty() {
		p.fault(o.node, "missing_key", "add pass: to the rank or to the whole file, such as pass: {total: 70%, musts: all}", "%s has no pass rule", o.what)
	} else {
		k.Pass = p.passRule(pass, k)
	}
	if c := o.get("clearances"); c.empty() {
		for _, c := range p.s.Clearances {
			k.Clearances = append(k.Clearances, c.ID)
		}
	} else {
		for _, item := range p.each(c, "clearances") {
			id := rankwright.ClearanceID(p.ref(item, "a clearance"))
			switch {
			case id == "" || id == "none" && c.shape == scalar:
			case p.s.Clearance(id) == nil:
				var ids []string
				for _, c := range p.s.Clearances {
					ids = append(ids, string(c.ID))
				}
				p.unknown(item, "clearance", "define it under clearances at the top, or correct the id", ids)
			case slices.Contains(k.Clearances, id):
				p.fault(item, "double_id", "remove one of the two", "%s names the clearance %q twice", o.what, id)
			default:
				k.Clearances = append(k.Clearances, id)
			}
		}
	}
	k.Eligibility = p.eligibility(o.get("eligibility"), p.s, o.what+" eligibility")
}
