package syllabus

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

var askKeys = []string{"id", "use", "section", "show", "kind", "points", "weight", "each", "scale", "steps", "items", "list", "of",
	"aim", "credit", "expect", "must", "bonus", "for_release", "before_the_day", "theme", "tries", "keep", "combine", "examiner", "cautions"}

func (p *builder) asks(k *Rank, o object) {
	n := p.need(o, "asks", "asks: and below it what is asked, such as asks: [bow, back-fall]")
	if n == nil {
		return
	}
	items := p.each(n, "the asks of "+o.what)
	if len(items) > 400 {
		p.fault(n, "too_many", "ask for less", "%s asks for %d requirements, and at most 400 are read", o.what, len(items))
		return
	}
	lines := map[rankwright.RequirementID]int{}
	for _, item := range items {
		q, ok := p.ask(item)
		if line := lines[q.ID]; line > 0 {
			p.fault(item, "double_id", "remove one of the two, or give it another id", "%s already asks for %q on line %d", o.what, q.ID, line)
			continue
		}
		if q.ID != "" {
			lines[q.ID] = item.line
			p.ids[string(q.ID)] = true
		}
		if !ok {
			p.partial[k.ID] = true
		} else {
			p.s.at["requirement "+string(k.ID)+" "+string(q.ID)] = item.line
			k.Requirements = append(k.Requirements, q)
		}
	}
}

// ask reads one requirement; "use" takes a shared definition, of which each
// key given here is replaced. With a fault it returns the id, where there is
// one, and false.
func (p *builder) ask(item *node) (Requirement, bool) {
	before := p.found
	if item.shape == scalar {
		item = &node{shape: mapping, line: item.line, column: item.column,
			keys: []*node{{text: "use", line: item.line, column: item.column}}, items: []*node{item}}
	}
	if use := item.get("use"); !use.empty() {
		id := p.ref(use, "the shared requirement")
		def := p.shared.get(id)
		p.used["requirement "+id] = true
		if def == nil {
			var ids []string
			if p.shared != nil {
				for _, k := range p.shared.keys {
					ids = append(ids, k.text)
				}
			}
			if id != "" {
				p.unknown(use, "shared requirement", "define it under requirements at the top, or write it here as {id: "+identFrom(id)+", section: …, show: …, kind: …}", ids)
			}
			return Requirement{ID: rankwright.RequirementID(id)}, false
		}
		item = merged(def, item, use)
	}
	what := "the requirement"
	if id := item.get("id"); id != nil && id.shape == scalar && id.text != "" {
		what = "requirement " + strconv.Quote(shorten(id.text))
	}
	o := p.object(item, what, askKeys...)
	q := Requirement{ID: rankwright.RequirementID(p.own(p.need(o, "id", "id: and a short id, such as id: front-kick"), "the id of a requirement", keptWords...))}
	q.Show = p.str(p.need(o, "show", "show: and what is shown, in a child's words"), "what is shown", 300)
	if sec := p.need(o, "section", "section: and the id of a section"); sec != nil {
		q.Section = rankwright.SectionID(p.ref(sec, "the section"))
		if q.Section != "" && p.s.Section(q.Section) == nil {
			p.unknown(sec, "section", "define it under sections, or correct the id", p.sectionIDs())
		}
	}
	q.Must, q.Bonus = p.flag(o.get("must"), "must"), p.flag(o.get("bonus"), "bonus")
	q.ForRelease, q.Before, q.Themed = p.flag(o.get("for_release"), "for_release"), p.flag(o.get("before_the_day"), "before_the_day"), p.flag(o.get("theme"), "theme")
	if q.Must && q.Bonus {
		p.fault(o.get("bonus"), "clash", "choose one", "%s is a must and a bonus at once", o.what)
	}
	q.Tries = max(1, p.integer(o.get("tries"), "tries", 1, 20))
	q.Keep = Keep(p.choice(o.get("keep"), "keep", "best", "last", "first"))
	if c := o.get("combine"); !c.empty() {
		cc := p.combine(c, "combine")
		q.Combine = &cc
	}
	q.Examiner = rankwright.RankID(p.ident(o.get("examiner"), "the examiner's rank"))
	q.Cautions = p.cautions(o.get("cautions"))
	kind := p.need(o, "kind", "kind: and one of "+strings.Join(kindWords, ", "))
	if kind == nil {
		return q, false
	}
	known := p.found
	if q.Kind = Kind(p.choice(kind, "the kind", kindWords...)); p.found > known {
		return q, false
	}
	if q.ForRelease && q.Kind != Tick {
		p.fault(o.get("for_release"), "clash", "make it a tick, or remove for_release", "only a tick can hold back the results, and %s is of kind %s", o.what, q.Kind)
	}
	p.shown(&q, o)
	return q, p.found == before
}

// merged is a shared definition with the keys of one use put over it. What is
// not a key of a requirement was reported with the definition.
func merged(def, item, use *node) *node {
	m := &node{shape: mapping, line: item.line, column: item.column}
	put := func(k, v *node) {
		for i := range m.keys {
			if m.keys[i].text == k.text {
				m.keys[i], m.items[i] = k, v
				return
			}
		}
		m.keys, m.items = append(m.keys, k), append(m.items, v)
	}
	put(&node{text: "id", line: use.line, column: use.column}, use)
	for i, k := range def.keys {
		if slices.Contains(askKeys, k.text) && k.text != "use" && !def.items[i].empty() {
			put(k, def.items[i])
		}
	}
	for i, k := range item.keys {
		if k.text != "use" {
			put(k, item.items[i])
		}
	}
	return m
}

// kindKeys are the keys that only some kinds take.
var kindKeys = map[string][]Kind{
	"weight": {Leveled}, "scale": {Leveled}, "steps": {Steps}, "items": {Recall}, "list": {Steps, Recall},
	"of": {Steps, Recall, Count}, "each": {Steps, Recall}, "aim": {Timed, Count}, "credit": {Timed, Count},
}

// shown reads what the kind of the requirement needs: scale, parts, points,
// credit and expectation.
func (p *builder) shown(q *Requirement, o object) {
	for _, key := range []string{"weight", "scale", "steps", "items", "list", "of", "each", "aim", "credit"} {
		if v := o.get(key); !v.empty() && !slices.Contains(kindKeys[key], q.Kind) {
			p.fault(v, "clash", "remove it, or change the kind", "%s is of kind %s, which takes no %q", o.what, q.Kind, key)
		}
	}
	before := p.found
	given := o.get("points")
	q.Points = p.amount(given, "points")
	q.AtMost = p.choice(o.get("aim"), "aim", "at least", "at most") == 1
	switch q.Kind {
	case Tick:
		if given == nil && !q.ForRelease {
			p.need(o, "points", "points: and how many it is worth, such as points: 2")
		}
		q.Expect = rankwright.One
	case Consent:
		q.Expect = rankwright.One
	case Leveled:
		p.leveled(q, o, given)
	case Steps, Recall:
		p.counted(q, o, given)
	case Timed, Count:
		p.measured(q, o, given)
	}
	if p.found > before {
		return // what follows would only repeat it
	}
	p.expect(q, o)
}

func (p *builder) measured(q *Requirement, o object, given *node) {
	q.Of = p.integer(o.get("of"), "of", 1, 1000)
	if o.get("expect") == nil && (q.Kind == Timed || !q.AtMost) {
		p.need(o, "expect", "expect: and the target, such as expect: 20")
	}
	c := o.get("credit")
	before := p.found
	switch {
	case c.empty():
		if given == nil {
			p.need(o, "points", "points: and how many it is worth, or credit: and a table")
		}
		return
	case c.shape == scalar:
		id := p.ref(c, "credit")
		table, ok := p.credits[id]
		if p.used["credit table "+id] = true; !ok {
			p.unknown(c, "credit table", "define it under credits at the top, or correct the id", slices.Sorted(maps.Keys(p.credits)))
		}
		q.Credit = table
	default:
		q.Credit = p.creditTable(c, "credit")
	}
	if p.found > before || len(q.Credit) == 0 {
		return
	}
	for i := 1; i < len(q.Credit); i++ {
		if a, b := q.Credit[i-1], q.Credit[i]; !q.AtMost && b.At >= a.At {
			p.fault(c, "bad_credit", "let the shares fall from row to row; or, if less is better, add aim: at most", "the credit table gives %s for %s, but only %s for %s", points(a.Points), a.At, b.Points, b.At)
			return
		} else if q.AtMost && b.At <= a.At {
			p.fault(c, "bad_credit", "with aim: at most, let the shares rise from row to row", "the credit table gives %s for %s, but only %s for %s", points(a.Points), a.At, b.Points, b.At)
			return
		}
	}
	if !given.empty() && q.Points != q.Credit[0].Points {
		p.fault(given, "clash", "leave points out", "points are %s but the credit table gives at most %s", q.Points, q.Credit[0].Points)
	}
	q.Points = q.Credit[0].Points
}

func (p *builder) leveled(q *Requirement, o object, given *node) {
	ref := p.need(o, "scale", "scale: and the id of a scale")
	if ref == nil {
		p.found++ // told, if not here then with the key
		return
	}
	id := p.ref(ref, "the scale")
	p.used["scale "+id] = true
	i := slices.IndexFunc(p.s.Scales, func(s Scale) bool { return s.ID == id })
	if i < 0 {
		if id != "" && !p.scales[id] {
			p.unknown(ref, "scale", "define it under scales, or correct the id", slices.Sorted(maps.Keys(p.scales)))
		}
		p.found++ // the scale's own faults were told
		return
	}
	q.Scale = &p.s.Scales[i]
	top := q.Scale.Levels[len(q.Scale.Levels)-1].Value
	p.worth(q, o, given, "weight", top, "choose points that the top level divides, or use weight:", "levels")
	q.Expect = rankwright.Whole(q.Scale.Enough)
}

// worth reads points for the whole, or so many for each of n parts.
func (p *builder) worth(q *Requirement, o object, given *node, each string, n int, do, parts string) {
	per := rankwright.One
	if v := o.get(each); !v.empty() {
		per = p.amount(v, each)
		if !given.empty() {
			p.fault(given, "clash", "keep one of the two", "%s has both points and %s", o.what, each)
		}
	}
	if given.empty() {
		q.Points = per * rankwright.Amount(n)
	} else if q.Points%(rankwright.Amount(n)*rankwright.One/1000) != 0 {
		p.fault(given, "not_exact", do, "%s cannot be split exactly over %d %s", points(q.Points), n, parts)
	}
}

func (p *builder) counted(q *Requirement, o object, given *node) {
	before := p.found
	word := "steps"
	if q.Kind == Recall {
		word = "items"
	}
	first := ""
	for _, key := range []string{"steps", "items", "list"} {
		v := o.get(key)
		if v.empty() {
			continue
		}
		if first != "" {
			p.fault(v, "clash", "keep one of the two", "%s gives its %s both under %s and under %s", o.what, word, first, key)
			continue
		}
		first = key
		if key != "list" {
			q.Parts = p.parts(v, "the "+key+" of "+o.what)
			continue
		}
		id := p.ref(v, "the list")
		parts, ok := p.lists[id]
		if p.used["list "+id] = true; !ok && id != "" {
			p.unknown(v, "list", "define it under lists at the top, or correct the id", slices.Sorted(maps.Keys(p.lists)))
		}
		q.Parts = parts
	}
	q.Of = len(q.Parts)
	if v := o.get("of"); !v.empty() {
		q.Of = p.integer(v, "of", 1, 60)
		if p.found == before && first != "" && q.Of > len(q.Parts) {
			p.fault(v, "clash", fmt.Sprintf("write at most of: %d", len(q.Parts)), "%s asks for %d %s, but only %d are listed", o.what, q.Of, word, len(q.Parts))
		}
	}
	if p.found > before {
		return
	}
	if q.Of == 0 {
		p.fault(o.node, "missing_key", "add "+word+": and a list, list: and the id of a list, or of: and how many there are", "%s does not say which %s", o.what, word)
		return
	}
	if first != "" {
		q.Parts = q.Parts[:q.Of]
	}
	p.worth(q, o, given, "each", q.Of, "choose points that the number of "+word+" divides, or use each:", word)
	q.Expect = rankwright.Whole(q.Of)
}

// expect reads one expectation for all, or one for each age band. A band that
// is left out takes the expectation of the next band above that has one, else
// of the next below; a candidate in no band faces the strictest.
func (p *builder) expect(q *Requirement, o object) {
	n := o.get("expect")
	if n.empty() {
		return
	}
	if n.shape != mapping {
		q.Expect = p.expectation(q, n, o.what)
		return
	}
	var ids []string
	for _, b := range p.s.Bands {
		ids = append(ids, b.ID)
	}
	before := p.found
	given := make([]*rankwright.Amount, len(ids))
	each := p.anyKeys(n, "expect", "that are the ids of age bands, such as {A: 2, B: 3}")
	for i, k := range each.keys {
		b := slices.Index(ids, k.text)
		if b < 0 {
			p.unknown(k, "age band", "use the ids under age_bands at the top", ids)
			continue
		}
		v := p.expectation(q, each.items[i], o.what)
		given[b] = &v
	}
	if p.found > before {
		return
	}
	q.ExpectByBand = make([]rankwright.Amount, len(given))
	q.Expect = -1
	for i := range given {
		j := i
		for j < len(given) && given[j] == nil {
			j++
		}
		for j == len(given) || given[j] == nil {
			j--
		}
		v := *given[j]
		q.ExpectByBand[i] = v
		if q.Expect < 0 || (v > q.Expect) != q.AtMost {
			q.Expect = v
		}
	}
}

func (p *builder) expectation(q *Requirement, n *node, what string) rankwright.Amount {
	if n.text == "all" && q.Of > 0 && q.Kind != Timed {
		return rankwright.Whole(q.Of)
	}
	if n.text == "yes" && (q.Kind == Tick || q.Kind == Consent) {
		return rankwright.One
	}
	before := p.found
	v := p.amount(n, "what is expected")
	if p.found > before {
		return v
	}
	top := rankwright.MaxAmount
	switch {
	case q.Kind == Tick || q.Kind == Consent:
		top = rankwright.One
	case q.Kind == Leveled:
		top = rankwright.Whole(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
	case q.Of > 0:
		top = rankwright.Whole(q.Of)
	}
	switch {
	case v > top:
		p.fault(n, "out_of_range", fmt.Sprintf("expect at most %s", top), "%s expects %s, which can never be reached", what, v)
	case q.Kind != Timed && !v.IsWhole():
		p.fault(n, "not_whole", "write a whole number", "%s expects %s, but is marked in whole numbers", what, v)
	case v == 0 && (q.Kind == Timed || q.Kind == Count && !q.AtMost):
		p.fault(n, "out_of_range", "write a target above 0", "%s expects 0", what)
	}
	return v
}
