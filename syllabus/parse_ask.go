package syllabus

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

var askKeys = []string{"id", "use", "section", "show", "kind", "points", "weight", "each", "scale", "steps", "items", "list", "of",
	"aim", "credit", "expect", "must", "bonus", "for_release", "before_the_day", "theme", "tries", "keep", "combine", "examiner", "cautions"}

func (p *builder) asks(k *Rank, o object) {
	n := p.need(o, "asks", "asks:, each a requirement with id, section, show and kind")
	if n == nil {
		return
	}
	items := p.each(n, "asks")
	if len(items) > 400 {
		p.fault(n, "too_many", "ask for less", "%s asks for %d requirements; at most 400 are read", o.what, len(items))
		return
	}
	for _, item := range items {
		q, ok := p.ask(item)
		if !ok {
			continue
		}
		if k.Requirement(q.ID) != nil {
			p.fault(item, "double_id", "give it another id", "%s already asks for %q", o.what, q.ID)
			continue
		}
		p.s.at["requirement "+string(k.ID)+" "+string(q.ID)] = item.line
		p.ids[string(q.ID)] = true
		k.Requirements = append(k.Requirements, q)
	}
}

// ask reads one requirement; "use" takes a shared definition, of which each
// key given here is replaced.
func (p *builder) ask(item *node) (Requirement, bool) {
	before := len(p.faults)
	if item.shape == scalar && !item.empty() {
		item = &node{shape: mapping, line: item.line, column: item.column,
			keys: []*node{{text: "use", line: item.line, column: item.column}}, items: []*node{item}}
	}
	if use := item.get("use"); !use.empty() {
		def := p.shared.get(use.text)
		if def == nil {
			do := "define it under requirements at the top"
			if p.shared != nil {
				var names []string
				for _, k := range p.shared.keys {
					names = append(names, k.text)
				}
				if near := nearest(use.text, names); near != "" {
					do = fmt.Sprintf("did you mean %q?", near)
				}
			}
			p.fault(use, "unknown_id", do, "there is no shared requirement %q", use.text)
			return Requirement{}, false
		}
		item = merged(def, item, use)
	}
	o := p.object(item, "the requirement", askKeys...)
	q := Requirement{ID: rankwright.RequirementID(p.ident(p.need(o, "id", "id: and a short id, such as id: front-kick"), "the requirement's id"))}
	if q.ID != "" {
		o.what = "requirement " + strconv.Quote(string(q.ID))
	}
	q.Show = p.str(p.need(o, "show", "show: and what is shown, in a child's words"), "what is shown", 300)
	if sec := p.need(o, "section", "section: and the id of a section"); sec != nil {
		q.Section = rankwright.SectionID(sec.text)
		if p.s.Section(q.Section) == nil {
			p.fault(sec, "unknown_id", "define it under sections, or correct the id"+p.meant(sec.text), "there is no section %s", sec.describe())
		}
	}
	if kind := p.need(o, "kind", "kind: and one of "+strings.Join(kindWords, ", ")); kind != nil {
		q.Kind = Kind(p.choice(kind, "the kind", kindWords...))
	}
	q.Must, q.Bonus = p.flag(o.get("must"), "must"), p.flag(o.get("bonus"), "bonus")
	q.ForRelease, q.Before, q.Themed = p.flag(o.get("for_release"), "for_release"), p.flag(o.get("before_the_day"), "before_the_day"), p.flag(o.get("theme"), "theme")
	if q.Must && q.Bonus {
		p.fault(o.get("bonus"), "clash", "choose one", "%s is a must and a bonus at once", o.what)
	}
	if q.ForRelease && q.Kind != Tick {
		p.fault(o.get("for_release"), "clash", "make it a tick", "only a tick can hold back the release of results")
	}
	q.Tries = max(1, p.integer(o.get("tries"), "tries", 1, 20))
	q.Keep = Keep(p.choice(o.get("keep"), "keep", "best", "last", "first"))
	if c := o.get("combine"); !c.empty() {
		cc := p.combine(c, "combine")
		q.Combine = &cc
	}
	q.Examiner = rankwright.RankID(p.ident(o.get("examiner"), "examiner"))
	q.Cautions = p.cautions(o.get("cautions"))
	p.shown(&q, o)
	return q, len(p.faults) == before
}

func (p *builder) meant(s string) string {
	var names []string
	for _, sec := range p.s.Sections {
		names = append(names, string(sec.ID))
	}
	if near := nearest(s, names); near != "" {
		return fmt.Sprintf(" (did you mean %q?)", near)
	}
	return ""
}

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
		put(k, def.items[i])
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
			p.fault(v, "clash", "remove it, or change the kind", "a requirement of kind %s takes no %q", q.Kind, key)
		}
	}
	points := o.get("points")
	q.Points = p.amount(points, "points")
	q.AtMost = p.choice(o.get("aim"), "aim", "at least", "at most") == 1
	switch q.Kind {
	case Tick:
		if points.empty() && !q.ForRelease {
			p.need(o, "points", "points: and what it is worth")
		}
		q.Expect = rankwright.One
	case Consent:
		q.Expect = rankwright.One
	case Leveled:
		p.leveled(q, o, points)
	case Steps, Recall:
		p.counted(q, o, points)
	case Timed, Count:
		q.Of = p.integer(o.get("of"), "of", 1, 1000)
		switch c := o.get("credit"); {
		case c.empty():
			if points.empty() {
				p.need(o, "points", "points:, or credit: and a table")
			}
		case c.shape == scalar:
			table, ok := p.credits[c.text]
			if !ok {
				p.fault(c, "unknown_id", "define it under credits at the top", "there is no credit table %q", c.text)
			}
			q.Credit = table
		default:
			q.Credit = p.creditTable(c, "credit")
		}
		if len(q.Credit) > 0 {
			for i, c := range q.Credit {
				if i > 0 && (c.At >= q.Credit[i-1].At) != q.AtMost {
					p.fault(o.get("credit"), "bad_credit", "with aim: at least, shares fall from row to row; with aim: at most, they rise", "the shares of credit run the wrong way")
					break
				}
			}
			if !points.empty() && q.Points != q.Credit[0].Points {
				p.fault(points, "clash", "leave points out", "points are %s but the credit table gives at most %s", q.Points, q.Credit[0].Points)
			}
			q.Points = q.Credit[0].Points
		}
	}
	p.expect(q, o)
	if q.Kind == Timed || q.Kind == Count {
		if q.Expect == 0 && !q.AtMost && !o.has("expect") {
			p.need(o, "expect", "expect: and the target")
		}
	}
}

func (p *builder) leveled(q *Requirement, o object, points *node) {
	ref := p.need(o, "scale", "scale: and the id of a scale")
	if ref == nil {
		return
	}
	i := slices.IndexFunc(p.s.Scales, func(s Scale) bool { return s.ID == ref.text })
	if i < 0 {
		p.fault(ref, "unknown_id", "define it under scales, or correct the id", "there is no scale %s", ref.describe())
		return
	}
	q.Scale = &p.s.Scales[i]
	top := q.Scale.Levels[len(q.Scale.Levels)-1].Value
	weight := rankwright.One
	if w := o.get("weight"); !w.empty() {
		weight = p.amount(w, "weight")
		if !points.empty() {
			p.fault(points, "clash", "keep one of them", "points and weight are both given")
		}
	}
	if points.empty() {
		q.Points = weight * rankwright.Amount(top)
	} else if q.Points%(rankwright.Amount(top)*rankwright.One/1000) != 0 {
		p.fault(points, "not_exact", "choose points that the top level divides", "%s points cannot be split exactly over %d levels", q.Points, top)
	}
	q.Expect = rankwright.Whole(q.Scale.Enough)
}

func (p *builder) counted(q *Requirement, o object, points *node) {
	given := 0
	for _, key := range []string{"steps", "items"} {
		if v := o.get(key); !v.empty() {
			given++
			q.Parts = p.parts(v, key)
		}
	}
	if v := o.get("list"); !v.empty() {
		given++
		parts, ok := p.lists[v.text]
		if !ok {
			p.fault(v, "unknown_id", "define it under lists at the top", "there is no list %s", v.describe())
		}
		q.Parts = parts
	}
	q.Of = len(q.Parts)
	if v := o.get("of"); !v.empty() {
		q.Of = p.integer(v, "of", 1, 60)
		if given > 0 && q.Of > len(q.Parts) {
			p.fault(v, "clash", "ask for no more than the list holds", "%s asks for %d of %d", o.what, q.Of, len(q.Parts))
		} else if given > 0 {
			q.Parts = q.Parts[:q.Of]
		}
	}
	if given > 1 {
		p.fault(o.node, "clash", "keep one of steps, items and list", "%s says its parts more than once", o.what)
	}
	if q.Of == 0 {
		word := "steps"
		if q.Kind == Recall {
			word = "items"
		}
		p.need(o, word, word+":, list: or of: and how many there are")
		return
	}
	each := rankwright.One
	if v := o.get("each"); !v.empty() {
		each = p.amount(v, "each")
		if !points.empty() {
			p.fault(points, "clash", "keep one of them", "points and each are both given")
		}
	}
	if points.empty() {
		q.Points = each * rankwright.Amount(q.Of)
	} else if q.Points%(rankwright.Amount(q.Of)*rankwright.One/1000) != 0 {
		p.fault(points, "not_exact", "choose points that the number of parts divides, or use each:", "%s points cannot be split exactly over %d parts", q.Points, q.Of)
	}
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
		q.Expect = p.expectation(q, n)
		return
	}
	given := make([]*rankwright.Amount, len(p.s.Bands))
	for i, k := range n.keys {
		b := slices.IndexFunc(p.s.Bands, func(b AgeBand) bool { return b.ID == k.text })
		if b < 0 {
			p.fault(k, "unknown_id", "use the ids under age_bands", "there is no age band %q", k.text)
			return
		}
		v := p.expectation(q, n.items[i])
		given[b] = &v
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

func (p *builder) expectation(q *Requirement, n *node) rankwright.Amount {
	if n.text == "all" && q.Of > 0 {
		return rankwright.Whole(q.Of)
	}
	if n.text == "yes" && (q.Kind == Tick || q.Kind == Consent) {
		return rankwright.One
	}
	v := p.amount(n, "expect")
	top := rankwright.MaxAmount
	switch {
	case q.Kind == Tick || q.Kind == Consent:
		top = rankwright.One
	case q.Kind == Leveled && q.Scale != nil:
		top = rankwright.Whole(q.Scale.Levels[len(q.Scale.Levels)-1].Value)
	case q.Of > 0:
		top = rankwright.Whole(q.Of)
	}
	switch {
	case v > top:
		p.fault(n, "out_of_range", fmt.Sprintf("expect at most %s", top), "%s can never be reached: the most is %s", v, top)
	case q.Kind != Timed && !v.IsWhole():
		p.fault(n, "not_whole", "write a whole number", "a %s cannot be %s", q.Kind, v)
	case v == 0 && (q.Kind == Timed || q.Kind == Count) && !(q.AtMost && q.Kind == Count):
		p.fault(n, "out_of_range", "write a target above 0", "the target is 0")
	}
	return v
}
