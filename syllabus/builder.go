package syllabus

import (
	"fmt"
	"slices"
	"strings"

	"rankwright"
)

// builder makes a syllabus of the nodes of its file. It reads groups of keys
// and lists more strictly than reader does: what is written down with nothing
// behind it is a fault, since silence is too easily taken for a yes.
type builder struct {
	*reader
	s       *Syllabus
	shared  *node // requirement definitions used by several ranks
	lists   map[string][]string
	credits map[string][]Credit
	scales  map[string]bool // every id under scales, also of those with faults
	pass    *node
	panel   *node
	ids     map[string]bool            // every section and requirement, for rules
	used    map[string]bool            // shared things that some requirement uses
	runs    []*node                    // labels that conditions look back for
	partial map[rankwright.RankID]bool // ranks of which some requirement could not be read
}

// object reads n as a group of keys.
func (p *builder) object(n *node, what string, allowed ...string) object {
	o := p.reader.object(n, what, allowed...)
	for i, k := range o.keys {
		if o.items[i].empty() && slices.Contains(allowed, k.text) {
			p.nothing(k, what)
		}
	}
	return o
}

func (p *builder) nothing(k *node, what string) {
	do := "write the value, or remove the key"
	if strings.HasSuffix(k.text, "hex") {
		do = "write the colour in quotes, such as \"#d9b34c\", since # alone begins a comment"
	}
	p.fault(k, "no_value", do, "%s has nothing behind %q", what, k.text)
}

// anyKeys reads a group whose keys the school chooses. Keys with nothing
// behind them are reported and left out.
func (p *builder) anyKeys(n *node, what, example string) object {
	o := object{node: &node{shape: mapping, line: n.line, column: n.column}, what: what}
	if n.shape != mapping {
		p.fault(n, "not_keys", "write keys "+example, "%s should be a group of keys, not %s", what, n.describe())
		return o
	}
	for i, k := range n.keys {
		if n.items[i].empty() {
			p.nothing(k, what)
			continue
		}
		o.keys, o.items = append(o.keys, k), append(o.items, n.items[i])
	}
	if len(n.keys) == 0 {
		p.fault(n, "empty_list", "write keys "+example, "%s has no keys", what)
	}
	return o
}

// need returns the value behind key and reports its absence; a key with
// nothing behind it was reported already.
func (p *builder) need(o object, key, example string) *node {
	v := o.get(key)
	switch {
	case o.broken:
		return nil
	case v == nil:
		p.fault(o.node, "missing_key", "add "+example, "%s has no %q", o.what, key)
		return nil
	case v.empty():
		return nil
	case v.shape == scalar && strings.TrimSpace(v.text) == "":
		p.fault(v, "missing_key", "write "+example, "the %q of %s is empty", key, o.what)
		return nil
	}
	return v
}

// each reads a list, or a single value as a list of one; items with nothing
// in them are reported and left out.
func (p *builder) each(n *node, what string) []*node {
	var out []*node
	for i, item := range p.reader.each(n, what) {
		if item.empty() {
			p.fault(item, "no_value", "write it, or remove the dash or the comma", "item %d of %s is empty", i+1, what)
			continue
		}
		out = append(out, item)
	}
	if n != nil && n.shape == list && len(n.items) == 0 {
		p.fault(n, "empty_list", "write what it should hold, or remove the key", "%s is an empty list", what)
	}
	return out
}

// ref reads the id of something defined elsewhere; "" where it is none.
func (p *builder) ref(n *node, what string) string {
	if n.shape != scalar {
		p.fault(n, "not_text", "write one id", "%s should be one id, not %s", what, n.describe())
		return ""
	}
	return strings.TrimSpace(n.text)
}

// unknown reports an id that is not among ids, with the nearest one that is.
func (p *builder) unknown(n *node, what, do string, ids []string) {
	if len(p.s.Sections) == 0 && what == "section" {
		return // told already: the file has none
	}
	if near := rankwright.Nearest(n.text, ids); near != "" {
		do = fmt.Sprintf("did you mean %q?", near)
	}
	p.fault(n, "unknown_id", do, "there is no %s %s", what, n.describe())
}

func (p *builder) sectionIDs() []string {
	var ids []string
	for _, s := range p.s.Sections {
		ids = append(ids, string(s.ID))
	}
	return ids
}

// own reads an id that the school gives to something; the words that rules
// keep for themselves are refused.
func (p *builder) own(n *node, what string, kept ...string) string {
	id := p.ident(n, what)
	if slices.Contains(kept, id) {
		p.fault(n, "bad_id", "choose another id", "%s cannot be %q, which has a meaning of its own in rules", what, id)
		return ""
	}
	return id
}

var keptWords = []string{"all", "musts", "weak_before"}

// unusedRemarks says what is defined and used by no requirement.
func (p *builder) unusedRemarks(n *node, what string) {
	if n.empty() || n.shape != mapping {
		return
	}
	for _, k := range n.keys {
		if !p.used[what+" "+k.text] {
			p.s.unused = append(p.s.unused, Remark{Line: k.line, Say: fmt.Sprintf("%s %s is used by no rank", what, k.text)})
		}
	}
}

// most is how many points a rank can give for a set of requirements, and how
// many with its bonus.
func most(k *Rank, of *Set, bonus bool) (points, top rankwright.Amount) {
	extra := rankwright.Amount(0)
	for i := range k.Requirements {
		q := &k.Requirements[i]
		if q.Bonus {
			extra += q.Points
		} else if of.Holds(q) {
			points += q.Points
		}
	}
	if bonus {
		return points, points + min(extra, k.BonusCap)
	}
	return points, points
}
