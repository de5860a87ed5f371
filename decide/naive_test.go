package decide_test

import (
	"math/big"
	"slices"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// A second decision, written from docs/rules.md and from nothing else: slow,
// with fractions, and in the order in which that page tells it.

type fraction = *big.Rat

func rat(a rankwright.Amount) fraction { return big.NewRat(int64(a), int64(rankwright.One)) }

func percent(s rankwright.Share) fraction { return big.NewRat(int64(s), 10000) }

func times(a, b fraction) fraction { return new(big.Rat).Mul(a, b) }

func plus(a, b fraction) fraction { return new(big.Rat).Add(a, b) }

func over(a, b fraction) fraction { return new(big.Rat).Quo(a, b) }

// card is what one requirement came to.
type card struct {
	q               *syllabus.Requirement
	value           fraction // nil where there is none
	points          fraction
	yes, votes      int
	leadNo          bool
	counted, waived bool
}

// naively decides from the marks themselves.
type naively struct {
	w     *world
	cards []*card
}

type ruling struct {
	outcome         syllabus.Outcome
	label           string
	base, of, bonus fraction
	met             map[string]bool
	missing         []rankwright.RequirementID
	again           []string
	whole           bool
	until, follow   rankwright.Day
}

func naiveDecision(w *world) ruling {
	n := &naively{w: w}
	for i := range w.rank().Requirements {
		n.cards = append(n.cards, n.card(&w.rank().Requirements[i]))
	}
	return n.rule()
}

// counting lists the marks of a requirement that count, by examiner in order
// of id: the latest of each try.
func (n *naively) counting(q *syllabus.Requirement) map[rankwright.ExaminerID][]scoring.Value {
	latest := map[rankwright.ExaminerID]map[int]scoring.Mark{}
	for _, m := range n.w.marks {
		if m.Requirement != q.ID || m.Try > q.Tries {
			continue
		}
		if latest[m.Examiner] == nil {
			latest[m.Examiner] = map[int]scoring.Mark{}
		}
		was, ok := latest[m.Examiner][m.Try]
		newer := []int64{m.Clock - was.Clock, int64(len(m.Device) - len(was.Device)), m.Seq - was.Seq}
		after := !ok
		for _, d := range newer {
			if ok && d != 0 {
				after = d > 0
				break
			}
		}
		if after {
			latest[m.Examiner][m.Try] = m
		}
	}
	out := map[rankwright.ExaminerID][]scoring.Value{}
	for e, tries := range latest {
		for try := 1; try <= q.Tries; try++ {
			if m, ok := tries[try]; ok && m.Value.Sort != scoring.NotSeen {
				out[e] = append(out[e], m.Value)
			}
		}
	}
	return out
}

func (n *naively) card(q *syllabus.Requirement) *card {
	c := &card{q: q, points: new(big.Rat)}
	marks := n.counting(q)
	if q.Kind == syllabus.Consent {
		for e, votes := range marks {
			last := votes[len(votes)-1]
			c.votes++
			if last.Sort == scoring.Number && last.Num > 0 {
				c.yes++
			} else if last.Sort == scoring.Number && e == n.w.c.Lead {
				c.leadNo = true
			}
		}
	} else if len(marks) > 0 {
		c.value = n.combine(q, marks)
	} else {
		for _, k := range n.w.c.Kept {
			if k.Requirement == q.ID && n.w.c.Day <= k.Until && (c.value == nil || asBest(q, rat(k.Value), c.value)) {
				c.value = rat(k.Value)
			}
		}
	}
	if c.value != nil {
		c.points = n.credit(c)
	}
	waived := slices.Contains(n.w.waived, q.ID) || slices.Contains(n.w.c.Waived, q.ID)
	c.waived = waived && !q.Bonus
	full := c.value != nil && c.points.Cmp(rat(q.Points)) >= 0 && n.expected(c)
	c.counted = q.Kind != syllabus.Consent && !q.ForRelease && !q.Bonus && (!waived || full)
	return c
}

func (n *naively) rule() ruling {
	k, c := n.w.rank(), &n.w.c
	r := ruling{base: new(big.Rat), of: new(big.Rat), met: map[string]bool{}}
	for _, x := range n.cards {
		if x.counted {
			r.base, r.of = plus(r.base, x.points), plus(r.of, rat(x.q.Points))
		}
	}
	r.bonus = n.bonus()
	switch c.Presence {
	case decide.Halted:
		r.outcome = syllabus.Stopped
		return r
	case decide.Away, decide.Unwell:
		r.outcome = syllabus.Absent
		if c.Presence == decide.Unwell {
			r.label = "unwell"
		}
		return r
	}
	for _, x := range n.cards {
		if x.q.Bonus || x.waived && !x.counted {
			continue
		}
		there := x.value != nil && !(x.q.ForRelease && x.value.Sign() == 0)
		if x.q.Kind == syllabus.Consent {
			there = x.votes > 0 && n.panelSize(k.Pass.Conditions, x.votes)
		}
		if !there {
			r.missing = append(r.missing, x.q.ID)
		}
	}
	if len(r.missing) > 0 {
		r.outcome = syllabus.Incomplete
		return r
	}
	short := map[string][]string{}
	for i := range k.Pass.Conditions {
		x := &k.Pass.Conditions[i]
		r.met[x.ID], short[x.ID] = n.test(x)
	}
	var res *syllabus.Result
	for i := range k.Pass.Results {
		x := &k.Pass.Results[i]
		if (x.Retries == 0 || c.Retries < x.Retries) && n.missed(r, x) == 0 {
			res = x
			break
		}
	}
	r.outcome, r.label = res.Outcome, res.Label
	list := func(x *syllabus.Result, also bool) {
		for _, id := range x.When {
			if !also && r.met[id] {
				continue
			}
			for _, s := range short[id] {
				if !slices.Contains(r.again, s) {
					r.again = append(r.again, s)
				}
			}
		}
	}
	if res.Outcome == syllabus.Promoted {
		if res.FollowUp > 0 {
			r.follow = c.Day + rankwright.Day(res.FollowUp)
			list(res, true)
		}
		for _, id := range k.Clearances {
			if n.w.syllabus.Clearance(id).Before == syllabus.BeforePromotion && !slices.Contains(c.Met, id) {
				r.outcome = syllabus.Held
			}
		}
		return r
	}
	if res.Within > 0 {
		r.until = c.Day + rankwright.Day(res.Within)
	}
	if r.whole = res.ShowAgain == syllabus.AgainAll; r.whole {
		return r
	}
	var near *syllabus.Result
	for i := range k.Pass.Results {
		if x := &k.Pass.Results[i]; x.Outcome == syllabus.Promoted && (near == nil || n.missed(r, x) < n.missed(r, near)) {
			near = x
		}
	}
	if near != nil {
		list(near, false)
	}
	return r
}

func (n *naively) missed(r ruling, x *syllabus.Result) int {
	out := 0
	for _, id := range x.When {
		if !r.met[id] {
			out++
		}
	}
	return out
}

// panelSize says whether some panel of the rules has so many votes, or no
// rule asks for votes.
func (n *naively) panelSize(cs []syllabus.Condition, votes int) bool {
	asked, ok := false, false
	var walk func(cs []syllabus.Condition)
	walk = func(cs []syllabus.Condition) {
		for _, c := range cs {
			for _, p := range c.Panels {
				asked, ok = true, ok || p.Size == votes
			}
			walk(c.Parts)
		}
	}
	walk(cs)
	return ok || !asked
}

func (n *naively) bonus() fraction {
	sum := new(big.Rat)
	for _, x := range n.cards {
		if x.q.Bonus {
			sum = plus(sum, x.points)
		}
	}
	if limit := rat(n.w.rank().BonusCap); sum.Cmp(limit) > 0 {
		return limit
	}
	return sum
}

// test says whether a condition is met, and what fell short of it.
func (n *naively) test(c *syllabus.Condition) (met bool, short []string) {
	switch c.Kind {
	case syllabus.OnTotal:
		var set []*card
		for _, x := range n.cards {
			if n.holds(c.Of, x, slices.Contains(n.before().Weak, x.q.ID)) {
				set = append(set, x)
			}
		}
		extra := new(big.Rat)
		if c.Bonus {
			extra = n.bonus()
		}
		return enough(c.Need, set, extra), nil
	case syllabus.OnSections:
		return n.sections(c)
	case syllabus.OnRequirements:
		return n.requirements(c)
	case syllabus.OnConsents:
		met = true
		for _, x := range n.cards {
			if x.q.Kind != syllabus.Consent || x.waived {
				continue
			}
			fits := false
			for _, p := range c.Panels {
				fits = fits || p.Size == x.votes && x.yes >= p.Consents
			}
			if !fits || c.Veto && x.leadNo {
				met, short = false, append(short, string(x.q.ID))
			}
		}
		return met, short
	case syllabus.OnRuns:
		row := 1
		for _, l := range n.before().Labels {
			if l != c.Label {
				break
			}
			row++
		}
		return row <= c.Most, nil
	}
	met = c.Kind == syllabus.OnAll
	for i := range c.Parts {
		ok, part := n.test(&c.Parts[i])
		if c.Kind == syllabus.OnAll {
			met = met && ok
		} else {
			met = met || ok
		}
		if !ok {
			short = append(short, part...)
		}
	}
	return met, short
}

func (n *naively) before() decide.Before {
	if n.w.c.Before == nil {
		return decide.Before{}
	}
	return *n.w.c.Before
}

// holds says whether a set holds a requirement that counts.
func (n *naively) holds(s syllabus.Set, x *card, weak bool) bool {
	named := len(s.Sections)+len(s.Only) == 0 || slices.Contains(s.Sections, x.q.Section) || slices.Contains(s.Only, x.q.ID)
	left := slices.Contains(s.Except, string(x.q.Section)) || slices.Contains(s.Except, string(x.q.ID))
	return !x.q.Bonus && x.q.Kind != syllabus.Consent && !x.q.ForRelease && named && !left && (!s.Musts || x.q.Must) && (!s.Weak || weak)
}

// enough says whether what was shown of a set of requirements is enough.
func enough(need syllabus.Need, set []*card, extra fraction) bool {
	got, of, full := extra, new(big.Rat), new(big.Rat)
	for _, x := range set {
		full = plus(full, rat(x.q.Points))
		if x.counted {
			got, of = plus(got, x.points), plus(of, rat(x.q.Points))
		}
	}
	if of.Sign() == 0 {
		return true
	}
	if need.Kind == syllabus.AmountNeed {
		asked := rat(need.Amount)
		if asked.Cmp(full) > 0 {
			asked = full
		}
		return got.Cmp(times(asked, over(of, full))) >= 0
	}
	shown := times(over(got, of), big.NewRat(100, 1))
	if need.HalfUp { // to the whole percent, half up
		up := plus(shown, big.NewRat(1, 2))
		shown = new(big.Rat).SetInt(new(big.Int).Quo(up.Num(), up.Denom()))
	}
	return shown.Cmp(times(percent(need.Share), big.NewRat(100, 1))) >= 0
}

// forgiven settles a condition from what it looked at.
func forgiven(a syllabus.Allow, looked, short int, grave bool) bool {
	most := a.UpTo
	if a.Percent > 0 {
		x := times(percent(a.Percent), big.NewRat(int64(looked), 1))
		most = int(new(big.Int).Quo(x.Num(), x.Denom()).Int64())
	}
	return short == 0 || !grave && short <= most
}

func (n *naively) sections(c *syllabus.Condition) (met bool, short []string) {
	looked, grave := 0, false
	for _, sec := range n.w.syllabus.Sections {
		weak := slices.Contains(n.before().WeakSections, sec.ID)
		var set []*card
		counted, never := false, false
		for _, x := range n.cards {
			if x.q.Section != sec.ID {
				continue
			}
			if n.holds(c.Of, x, weak) {
				set = append(set, x)
				counted = counted || x.counted && x.q.Points > 0
			}
			// A section is never forgiven where the set holds any of it.
			never = never || c.Allow.HasNever && inSet(c.Allow.Never, x.q, weak)
		}
		if !counted {
			continue
		}
		looked++
		if !enough(c.Need, set, new(big.Rat)) {
			short = append(short, string(sec.ID))
			grave = grave || never || c.Allow.HasFloor && !enough(c.Allow.Floor, set, new(big.Rat))
		}
	}
	return forgiven(c.Allow, looked, len(short), grave), short
}

func inSet(s syllabus.Set, q *syllabus.Requirement, weak bool) bool {
	named := len(s.Sections)+len(s.Only) == 0 || slices.Contains(s.Sections, q.Section) || slices.Contains(s.Only, q.ID)
	return named && (!s.Musts || q.Must) && (!s.Weak || weak)
}

func (n *naively) requirements(c *syllabus.Condition) (met bool, short []string) {
	looked, grave := 0, false
	for _, x := range n.cards {
		weak := slices.Contains(n.before().Weak, x.q.ID)
		if !x.counted || !n.holds(c.Of, x, weak) || x.waived && !n.reaches(c.Need, x) {
			continue
		}
		looked++
		if !n.reaches(c.Need, x) {
			short = append(short, string(x.q.ID))
			grave = grave || c.Allow.HasNever && inSet(c.Allow.Never, x.q, weak) || c.Allow.HasFloor && !n.reaches(c.Allow.Floor, x)
		}
	}
	return forgiven(c.Allow, looked, len(short), grave), short
}

func (n *naively) reaches(need syllabus.Need, x *card) bool {
	switch {
	case x.value == nil:
		return false
	case need.Kind == syllabus.Expected:
		return n.expected(x)
	case need.Kind == syllabus.ShareNeed:
		return x.points.Cmp(times(percent(need.Share), rat(x.q.Points))) >= 0
	}
	return asBest(x.q, x.value, rat(need.Amount))
}
