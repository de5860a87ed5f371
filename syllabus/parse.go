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
	r := &reader{file: file}
	p := &builder{reader: r, s: &Syllabus{at: map[string]int{}}}
	if doc := r.load(data); doc != nil {
		p.document(doc)
	}
	if fs := r.sorted(); len(fs) > 0 {
		return nil, fs
	}
	return p.s, nil
}

type builder struct {
	*reader
	s       *Syllabus
	shared  *node // requirement definitions used by several ranks
	lists   map[string][]string
	credits map[string][]Credit
	pass    *node
	panel   *node
	ids     map[string]bool // every section and requirement, for rules
}

func (p *builder) document(doc *node) {
	o := p.object(doc, "the syllabus", "rankwright", "ladder", "name", "version", "source", "in_force", "counting",
		"age_bands", "scales", "lists", "credits", "sections", "clearances", "themes", "combine", "requirements", "pass", "panel", "ranks")
	s := p.s
	if f := p.need(o, "rankwright", "the first line: rankwright: "+Format); f != nil && f.text != Format {
		p.fault(f, "other_format", "write: rankwright: "+Format, "this program reads %q, not %s", Format, f.describe())
	}
	s.Ladder = rankwright.LadderID(p.ident(p.need(o, "ladder", "the ladder's short id, such as ladder: juniors"), "the ladder's id"))
	s.Name = p.str(p.need(o, "name", "the name that people read, such as name: Juniors"), "the name", 120)
	s.Version = p.str(o.get("version"), "the version", 40)
	s.Source = p.str(o.get("source"), "the source", 600)
	if n := o.get("in_force"); !n.empty() {
		f := p.object(n, "in_force", "from", "until")
		s.From, s.Until = p.day(f.get("from"), "from"), p.day(f.get("until"), "until")
		if s.Until != 0 && s.Until < s.From {
			p.fault(f.get("until"), "out_of_range", "give a later day", "the version ends before it begins")
		}
	}
	if n := o.get("counting"); !n.empty() {
		c := p.object(n, "counting", "leap_day")
		s.Counting.MonthEnd = rankwright.MonthEnd(p.choice(c.get("leap_day"), "leap_day", "last of february", "first of march"))
	}
	p.bands(o.get("age_bands"))
	p.scales(o.get("scales"))
	p.listsOf(o.get("lists"))
	p.creditsOf(o.get("credits"))
	p.sections(p.need(o, "sections", "sections:, each with an id and a name"))
	p.clearances(o.get("clearances"))
	p.themes(o.get("themes"))
	p.combines(o.get("combine"))
	p.shared = o.get("requirements")
	if !p.shared.empty() && p.shared.shape != mapping {
		p.fault(p.shared, "not_keys", "write each requirement under its id", "requirements should be a group of keys, not %s", p.shared.describe())
		p.shared = nil
	}
	p.pass, p.panel = o.get("pass"), o.get("panel")
	p.ranks(p.need(o, "ranks", "ranks:, lowest first"))
}

func (p *builder) bands(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "age_bands", "such as A: 5-7")
	for i, k := range o.keys {
		from, to, ok := strings.Cut(o.items[i].text, "-")
		a, errA := strconv.Atoi(strings.TrimSpace(from))
		b, errB := strconv.Atoi(strings.TrimSpace(to))
		if !ok || errA != nil || errB != nil || a < 0 || b > 120 || a > b {
			p.fault(o.items[i], "bad_band", "write it as youngest-oldest, such as 8-10", "age band %s cannot be %s", k.text, o.items[i].describe())
			continue
		}
		if len(p.s.Bands) > 0 && a <= p.s.Bands[len(p.s.Bands)-1].To {
			p.fault(o.items[i], "bad_band", "let bands rise without overlap", "age band %s begins at %d, inside the band before it", k.text, a)
			continue
		}
		p.s.Bands = append(p.s.Bands, AgeBand{ID: p.ident(k, "the band"), From: a, To: b})
	}
}

// anyKeys reads a mapping whose keys the school chooses.
func (p *builder) anyKeys(n *node, what, example string) object {
	if n.shape != mapping {
		p.fault(n, "not_keys", "write keys, "+example, "%s should be a group of keys, not %s", what, n.describe())
		return object{node: &node{shape: mapping}, what: what}
	}
	return object{node: n, what: what}
}

func (p *builder) scales(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "scales", "one a scale")
	for i, k := range o.keys {
		f := p.object(o.items[i], "scale "+k.text, "name", "enough", "levels")
		sc := Scale{ID: p.ident(k, "the scale's id"), Name: p.str(f.get("name"), "the scale's name", 80)}
		levels := p.need(f, "levels", "levels:, each number with its words")
		if levels == nil {
			continue
		}
		l := p.anyKeys(levels, "levels", "such as 2: guard and balance hold")
		for j, lk := range l.keys {
			v := p.integer(lk, "a level", 0, 100)
			if len(sc.Levels) > 0 && v <= sc.Levels[len(sc.Levels)-1].Value {
				p.fault(lk, "bad_level", "write the levels in rising order", "level %d does not rise above %d", v, sc.Levels[len(sc.Levels)-1].Value)
			}
			sc.Levels = append(sc.Levels, Level{Value: v, Words: p.str(l.items[j], "the words of a level", 400)})
		}
		if len(sc.Levels) < 2 {
			p.fault(levels, "bad_level", "give at least two", "scale %s has %d levels", k.text, len(sc.Levels))
			continue
		}
		sc.Enough = sc.Levels[len(sc.Levels)-1].Value
		if e := f.get("enough"); !e.empty() {
			sc.Enough = p.integer(e, "enough", 0, 100)
			if !slices.ContainsFunc(sc.Levels, func(l Level) bool { return l.Value == sc.Enough }) {
				p.fault(e, "bad_level", "name one of the levels", "scale %s has no level %d", k.text, sc.Enough)
			}
		}
		p.s.Scales = append(p.s.Scales, sc)
	}
}

func (p *builder) listsOf(n *node) {
	p.lists = map[string][]string{}
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "lists", "each with its items")
	for i, k := range o.keys {
		p.lists[k.text] = p.parts(o.items[i], "list "+k.text)
	}
}

func (p *builder) parts(n *node, what string) []string {
	var out []string
	for _, item := range p.each(n, what) {
		out = append(out, p.str(item, "an item of "+what, 200))
	}
	if len(out) > 60 {
		p.fault(n, "too_long", "split it", "%s has %d items; at most 60 can be scored", what, len(out))
	}
	return out
}

func (p *builder) creditsOf(n *node) {
	p.credits = map[string][]Credit{}
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "credits", "each a table such as {100%: 3, 75%: 2}")
	for i, k := range o.keys {
		p.credits[k.text] = p.creditTable(o.items[i], "credit "+k.text)
	}
}

func (p *builder) creditTable(n *node, what string) []Credit {
	o := p.anyKeys(n, what, "such as {100%: 3, 75%: 2, 50%: 1}")
	var out []Credit
	for i, k := range o.keys {
		c := Credit{At: p.share(k, "a share of the target"), Points: p.amount(o.items[i], "the points")}
		if len(out) > 0 && c.Points >= out[len(out)-1].Points {
			p.fault(o.items[i], "bad_credit", "write the best first and let points fall", "%s points at %s are not fewer than those before", c.Points, c.At)
		}
		out = append(out, c)
	}
	return out
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
	p.ids = map[string]bool{}
	if n == nil {
		return
	}
	o := p.anyKeys(n, "sections", "such as falls: Falls")
	for i, k := range o.keys {
		sec := Section{ID: rankwright.SectionID(p.ident(k, "the section's id"))}
		if v := o.items[i]; v.shape == mapping {
			f := p.object(v, "section "+k.text, "name", "cautions")
			sec.Name = p.str(p.need(f, "name", "name: and the name that people read"), "the section's name", 80)
			sec.Cautions = p.cautions(f.get("cautions"))
		} else {
			sec.Name = p.str(v, "the section's name", 80)
		}
		if sec.Name == "" {
			sec.Name = k.text
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
		c := Clearance{ID: rankwright.ClearanceID(p.ident(k, "the clearance's id"))}
		if v := o.items[i]; v.shape == mapping {
			f := p.object(v, "clearance "+k.text, "name", "before")
			c.Name = p.str(p.need(f, "name", "name: and the name that people read"), "the clearance's name", 120)
			c.Before = Stage(p.choice(f.get("before"), "before", "promotion", "entry"))
		} else {
			c.Name = p.str(v, "the clearance's name", 120)
		}
		if c.Name == "" {
			c.Name = k.text
		}
		p.s.Clearances = append(p.s.Clearances, c)
	}
}

func (p *builder) themes(n *node) {
	if n.empty() {
		return
	}
	o := p.anyKeys(n, "themes", "the months 1 to 12, such as 10: calm breath")
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
		items = n.items
	}
	for _, item := range items {
		f := p.object(item, what, "size", "consents", "rank", "outside")
		pn := Panel{
			Size:     p.integer(p.need(f, "size", "size: and the number of examiners"), "the size", 1, 99),
			Consents: p.integer(f.get("consents"), "the consents", 0, 99),
			Rank:     rankwright.RankID(p.ident(f.get("rank"), "the rank")),
			Outside:  p.integer(f.get("outside"), "outside", 0, 99),
		}
		if pn.Consents > pn.Size || pn.Outside > pn.Size {
			p.fault(item, "bad_panel", "ask for no more than its size", "a panel of %d cannot give %d consents with %d from outside", pn.Size, pn.Consents, pn.Outside)
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
		p.fault(n, "bad_colour", "write it in quotes as \"#rrggbb\", such as \"#d9b34c\"", "%s cannot be %s", what, n.describe())
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
		Colour: p.str(f.get("colour"), "the colour", 40), Hex: p.hex(f.get("hex"), "hex"),
		Tip: p.str(f.get("tip"), "the tip", 40), TipHex: p.hex(f.get("tip_hex"), "tip_hex"),
	}
}

func (p *builder) ranks(n *node) {
	if n == nil {
		return
	}
	items := p.each(n, "ranks")
	if len(items) > 100 {
		p.fault(n, "too_many", "split the ladder", "there are %d ranks; at most 100 are read", len(items))
		return
	}
	objects := make([]object, len(items))
	// Two passes: rules of one rank may name another.
	for i, item := range items {
		o := p.object(item, fmt.Sprintf("rank %d", i+1), "id", "name", "belt", "eligibility", "asks", "bonus_cap", "pass", "clearances", "panel")
		id := rankwright.RankID(p.ident(p.need(o, "id", "id: and a short id, such as id: yellow"), "the rank's id"))
		if _, at := p.s.Rank(id); at >= 0 && id != "" {
			p.fault(o.get("id"), "double_id", "give each rank its own id", "two ranks have the id %q", id)
		}
		k := Rank{ID: id, Name: p.str(o.get("name"), "the rank's name", 80), Belt: p.belt(o.get("belt"), "the belt")}
		if k.Name == "" {
			k.Name = string(id)
		}
		o.what = "rank " + strconv.Quote(k.Name)
		objects[i] = o
		p.s.at["rank "+string(id)] = o.line
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
		p.fault(o.node, "missing_key", "add bonus_cap: and the most that bonus can add, such as bonus_cap: 3", "%s has bonus requirements but no cap", o.what)
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
		p.fault(o.node, "missing_key", "add pass: to the rank or to the whole syllabus, such as pass: {total: 70%, musts: all}", "%s has no pass rule", o.what)
	} else {
		k.Pass = p.passRule(pass, k)
	}
	if c := o.get("clearances"); c.empty() {
		for _, c := range p.s.Clearances {
			k.Clearances = append(k.Clearances, c.ID)
		}
	} else {
		for _, item := range p.each(c, "clearances") {
			id := rankwright.ClearanceID(item.text)
			switch {
			case item.text == "none" && len(c.items) == 0:
			case p.s.Clearance(id) == nil:
				p.fault(item, "unknown_id", "define it under clearances at the top, or correct the id", "there is no clearance %q", item.text)
			default:
				k.Clearances = append(k.Clearances, id)
			}
		}
	}
	k.Eligibility = p.eligibility(o.get("eligibility"), p.s, "the eligibility of "+o.what)
}
