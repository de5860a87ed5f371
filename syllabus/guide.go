package syllabus

import (
	"slices"

	"rankwright"
)

// Guide is what one rank asks, in the order in which it is read, with what
// comes later. It is about a rank and not about a child: where the age makes a
// difference, all ages stand in it. What is marked for the school alone is not
// there.
type Guide struct {
	Syllabus *Syllabus
	Rank     *Rank
	Place    int // from the bottom of the ladder, 0 is the lowest
	// Sections are those with something that is asked, in the order of the
	// syllabus. Extras are what can add points and is never asked.
	Sections []GuideSection
	Extras   []GuideItem
	// Clearances are needed besides and are not scored.
	Clearances []*Clearance
	// Scales are those by whose levels something of this rank is marked.
	Scales []*Scale
	// Cautions are those of all that is asked, each once.
	Cautions []Caution
	// Next is the rank after this one, nil at the top. New is what is asked
	// there and has nothing here that it grows out of.
	Next *Rank
	New  []GuideSection
}

// GuideSection is a section with what is asked of it.
type GuideSection struct {
	Section Section // without id and name where the file has no such section
	Items   []GuideItem
}

// GuideItem is a requirement as a guide shows it.
type GuideItem struct {
	*Requirement
	// Enough is what counts as shown, by age where it differs.
	Enough   []Span
	Cautions []Caution // its own and its section's
	Later    []Growth  // at ranks above, lowest first, where it is asked otherwise
}

// Span is what is expected at some ages, both ends included; at all ages where
// From and To are 0.
type Span struct {
	From, To int
	Want     rankwright.Amount
}

// Growth is how a requirement is asked at a higher rank.
type Growth struct {
	Rank   *Rank
	As     *Requirement
	Enough []Span
}

// NewGuide makes the guide of a rank, nil where the ladder has no such rank.
func NewGuide(s *Syllabus, id rankwright.RankID) *Guide {
	k, place := s.Rank(id)
	if k == nil {
		return nil
	}
	g := &Guide{Syllabus: s, Rank: k, Place: place, Next: s.Next(id)}
	later := s.growths(k, place)
	asked := func(q *Requirement) bool { return !q.ForRelease && !q.Bonus }
	g.Sections = s.bySection(k, asked, later)
	for i := range k.Requirements {
		if q := &k.Requirements[i]; q.Bonus && !q.ForRelease {
			g.Extras = append(g.Extras, s.item(k, q, nil))
		}
	}
	for _, x := range k.Clearances {
		if c := s.Clearance(x); c != nil {
			g.Clearances = append(g.Clearances, c)
		}
	}
	for _, x := range append(itemsOf(g.Sections), g.Extras...) {
		if x.Scale != nil && !slices.ContainsFunc(g.Scales, func(have *Scale) bool { return have.ID == x.Scale.ID }) {
			g.Scales = append(g.Scales, x.Scale)
		}
		for _, c := range x.Cautions {
			if !slices.Contains(g.Cautions, c) {
				g.Cautions = append(g.Cautions, c)
			}
		}
	}
	if g.Next != nil {
		known := map[*Requirement]bool{}
		for _, of := range s.matches(k, g.Next) {
			known[of] = true
		}
		g.New = s.bySection(g.Next, func(q *Requirement) bool { return asked(q) && !known[q] }, nil)
	}
	return g
}

// Items lists what is asked, section by section.
func (g *Guide) Items() []GuideItem { return itemsOf(g.Sections) }

func itemsOf(sections []GuideSection) (out []GuideItem) {
	for _, sec := range sections {
		out = append(out, sec.Items...)
	}
	return out
}

// bySection groups those requirements of a rank that are wanted. What names no
// section stands at the end.
func (s *Syllabus) bySection(k *Rank, want func(*Requirement) bool, later map[*Requirement][]Growth) (out []GuideSection) {
	for _, sec := range append(slices.Clone(s.Sections), Section{}) {
		x := GuideSection{Section: sec}
		for i := range k.Requirements {
			q := &k.Requirements[i]
			here := q.Section == sec.ID
			if sec.ID == "" {
				here = s.Section(q.Section) == nil
			}
			if here && want(q) {
				x.Items = append(x.Items, s.item(k, q, later[q]))
			}
		}
		if len(x.Items) > 0 {
			out = append(out, x)
		}
	}
	return out
}

func (s *Syllabus) item(k *Rank, q *Requirement, later []Growth) GuideItem {
	return GuideItem{Requirement: q, Enough: s.spans(k, q), Cautions: s.CautionsOf(q), Later: later}
}

// CautionsOf lists the cautions of a requirement, its own and those of its
// section, each once.
func (s *Syllabus) CautionsOf(q *Requirement) (out []Caution) {
	all := q.Cautions
	if sec := s.Section(q.Section); sec != nil {
		all = slices.Concat(sec.Cautions, q.Cautions)
	}
	for _, c := range all {
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// spans is what counts as shown at each age: one span for all where the bands
// agree. A span that reaches below the age of entry begins there.
func (s *Syllabus) spans(k *Rank, q *Requirement) []Span {
	all := []Span{{Want: q.Expect}}
	n := min(len(q.ExpectByBand), len(s.Bands))
	if n == 0 {
		return all
	}
	var out []Span
	for i, b := range s.Bands[:n] {
		if last := len(out) - 1; last >= 0 && out[last].Want == q.ExpectByBand[i] && out[last].To+1 == b.From {
			out[last].To = b.To
			continue
		}
		out = append(out, Span{From: b.From, To: b.To, Want: q.ExpectByBand[i]})
	}
	if len(out) == 1 {
		all[0].Want = out[0].Want
		return all
	}
	youngest := k.Eligibility.youngest()
	for i := range out {
		if out[i].From < youngest && youngest <= out[i].To {
			out[i].From = youngest
		}
	}
	return out
}

// youngest is the least age at which somebody may enter by any of the rules, 0
// where that is not said.
func (e *Eligibility) youngest() int {
	least := -1
	for _, r := range e.Rules {
		age := 0
		for _, t := range r.Terms.Terms {
			if a, ok := t.(AgeTerm); ok {
				age = max(age, a.AtLeast)
			}
		}
		if least < 0 || age < least {
			least = age
		}
	}
	return max(least, 0)
}

// growths follows each requirement of a rank up the ladder, and keeps the
// places where it is asked otherwise than at the rank before.
func (s *Syllabus) growths(k *Rank, place int) map[*Requirement][]Growth {
	out := map[*Requirement][]Growth{}
	last := map[*Requirement]*Requirement{}
	for i := range k.Requirements {
		last[&k.Requirements[i]] = &k.Requirements[i]
	}
	for i := place + 1; i < len(s.Ranks); i++ {
		above := &s.Ranks[i]
		for q, as := range s.matches(k, above) {
			if before := last[q]; sameAsked(before, as) {
				continue
			}
			last[q] = as
			out[q] = append(out[q], Growth{above, as, s.spans(above, as)})
		}
	}
	return out
}

// matches finds which requirements of a rank stand at a higher one too: first
// those of the same id, then of the same words, then of the same written list
// that is marked the same way, all within a section. None is matched twice.
func (s *Syllabus) matches(k, above *Rank) map[*Requirement]*Requirement {
	out, used := map[*Requirement]*Requirement{}, map[*Requirement]bool{}
	for _, same := range []func(a, b *Requirement) bool{
		func(a, b *Requirement) bool { return a.ID == b.ID },
		func(a, b *Requirement) bool { return a.Show == b.Show },
		func(a, b *Requirement) bool {
			return len(a.Parts) > 0 && slices.Equal(a.Parts, b.Parts) && a.Kind == b.Kind
		},
	} {
		for i := range k.Requirements {
			q := &k.Requirements[i]
			if out[q] != nil || q.ForRelease || q.Bonus {
				continue
			}
			for j := range above.Requirements {
				as := &above.Requirements[j]
				if !used[as] && !as.ForRelease && !as.Bonus && as.Section == q.Section && same(q, as) {
					out[q], used[as] = as, true
					break
				}
			}
		}
	}
	return out
}

// sameAsked says whether two requirements ask for the same and as much of it,
// whatever they are worth.
func sameAsked(a, b *Requirement) bool {
	return sameShown(a, b) && a.Expect == b.Expect && slices.Equal(a.ExpectByBand, b.ExpectByBand) && a.Must == b.Must && a.Themed == b.Themed
}

// SameCall says whether one call serves two requirements, be they of two ranks:
// they ask for the same in the same words and are marked in the same way. What
// they are worth, and how much of it is enough, may differ.
func SameCall(a, b *Requirement) bool {
	return sameShown(a, b) && a.Must == b.Must && a.Bonus == b.Bonus && a.Tries == b.Tries && a.Keep == b.Keep
}

// sameShown says whether two requirements have the same words and values.
func sameShown(a, b *Requirement) bool {
	scale := func(q *Requirement) string {
		if q.Scale == nil {
			return ""
		}
		return q.Scale.ID
	}
	return a.Show == b.Show && a.Kind == b.Kind && a.AtMost == b.AtMost && a.Of == b.Of && slices.Equal(a.Parts, b.Parts) && scale(a) == scale(b)
}
