package decide

import (
	"slices"

	"rankwright"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// Decide applies the pass rule to one entry.
//
// In this order: who was not there or was stopped has that as outcome; where
// marks are missing it is incomplete; else the first result whose conditions
// all hold; and a promotion with a clearance missing is held.
func (j *Judge) Decide(c Case) Verdict {
	if c.Card == nil {
		c.Card = &scoring.Card{}
	}
	if len(c.Card.Seen) != len(j.asked) {
		c.Card = &scoring.Card{Seen: make([][]scoring.Seen, len(j.asked)), Strays: c.Card.Strays}
	}
	s := j.state(&c)
	defer s.done()
	v := s.verdict()
	v.SecondLook = append(v.SecondLook, s.looks...)
	return v
}

func (s *state) verdict() Verdict {
	j, c := s.j, &s.c
	v := Verdict{Entry: c.Entry, Rank: j.rank.ID, Line: -1}
	s.scores(&v)
	switch c.Presence {
	case Away:
		v.Outcome = syllabus.Absent
		v.Reasons = presence("present", "did not come")
		return v
	case Unwell:
		v.Outcome, v.Label = syllabus.Absent, "unwell"
		v.Reasons = presence("present", "not examined, unwell")
		return v
	case Halted:
		v.Outcome = syllabus.Stopped
		v.Reasons = presence("examined to the end", "stopped for safety")
		return v
	}
	s.missing(&v)
	s.doubts()
	if len(v.Missing) > 0 {
		v.Outcome = syllabus.Incomplete
		v.Reasons = []Reason{{Rule: "marks", Kind: AboutMarks, Asked: Fact{Unit: InRequirements, Num: rankwright.Whole(s.wanted())},
			Shown: Fact{Unit: InRequirements, Num: rankwright.Whole(s.wanted() - len(v.Missing))}, Decides: true}}
		s.looks = append(s.looks, Look{Key: MissingMarks})
		return v
	}
	v.Reasons = s.reasons()
	v.Line = s.result(s.met)
	res := j.results[v.Line].res
	v.Outcome, v.Label = res.Outcome, res.Label
	if res.Ask != "" {
		s.looks = append(s.looks, Look{Key: AskHead, Ask: res.Ask})
	}
	line := v.Line
	if v.Outcome == syllabus.Promoted {
		if res.FollowUp > 0 {
			v.FollowUp = c.Day + rankwright.Day(res.FollowUp)
			s.again(&v, line)
		}
	} else {
		line = s.nearestPromotion()
		s.notYet(&v, res, line)
	}
	if line >= 0 {
		for _, w := range j.results[line].when {
			v.Reasons[w].Decides = true
		}
	}
	v.Reasons = s.spent(v.Reasons, v.Line)
	s.flips(&v)
	s.clear(&v)
	return v
}

func presence(asked, shown string) []Reason {
	return []Reason{{Rule: "presence", Kind: AboutPresence, Asked: Fact{Word: asked}, Shown: Fact{Word: shown}, Decides: true}}
}

// scores fills in the totals and the section scores.
func (s *state) scores(v *Verdict) {
	v.Sections = make([]SectionScore, len(s.j.sections))
	for i, id := range s.j.sections {
		v.Sections[i].Section = id
	}
	for i := range s.j.asked {
		a := &s.j.asked[i]
		if !a.counts || !s.in[i] {
			continue
		}
		v.Base += s.points[i]
		v.Of += a.q.Points
		v.Sections[a.section].Points += s.points[i]
		v.Sections[a.section].Of += a.q.Points
	}
	v.Bonus = s.capped()
	v.Points = v.Base + v.Bonus
}

// needed says whether requirement i must have been marked.
func (s *state) needed(i int) bool { return s.in[i] && !s.j.asked[i].q.Bonus }

func (s *state) wanted() int {
	n := 0
	for i := range s.j.asked {
		if s.needed(i) {
			n++
		}
	}
	return n
}

func (s *state) missing(v *Verdict) {
	for i := range s.j.asked {
		q := s.j.asked[i].q
		if !s.needed(i) {
			continue
		}
		lacks := !s.have[i] || q.ForRelease && s.value[i] == 0
		if q.Kind == syllabus.Consent && s.have[i] {
			t := s.votes[i]
			lacks = !s.j.panelOf(t.yes + t.no + t.abstain)
		}
		if lacks {
			v.Missing = append(v.Missing, q.ID)
		}
	}
}

// panelOf says whether n votes are those of a whole panel, of any shape that
// the rules have. Where no rule asks for consents any number is.
func (j *Judge) panelOf(n int) bool {
	return len(j.panels) == 0 || slices.ContainsFunc(j.panels, func(p syllabus.Panel) bool { return p.Size == n })
}

// result finds the first result whose conditions hold. The last one always
// does: the syllabus ends every rule with it.
func (s *state) result(met []bool) int {
	for i := range s.j.results {
		if s.open(i) && all(met, s.j.results[i].when) {
			return i
		}
	}
	return len(s.j.results) - 1
}

// open says whether a result may still be reached after so many retries.
func (s *state) open(i int) bool {
	n := s.j.results[i].res.Retries
	return n == 0 || s.c.Retries < n
}

func all(met []bool, when []int) bool {
	for _, w := range when {
		if !met[w] {
			return false
		}
	}
	return true
}

// doubts lists what makes a mark doubtful: examiners far apart, a lead's mark
// asked for and not there, an earlier mark that ended.
func (s *state) doubts() {
	for i := range s.j.asked {
		a := &s.j.asked[i]
		seen := s.c.Card.Seen[i]
		if !s.in[i] || a.q.Kind == syllabus.Consent {
			continue
		}
		if len(seen) == 0 {
			for _, k := range s.c.Kept {
				if k.Requirement == a.q.ID && s.c.Day > k.Until {
					s.looks = append(s.looks, Look{Key: KeptEnded, Requirement: a.q.ID, From: k.Value})
				}
			}
			continue
		}
		counted := a.tries(seen)
		if len(counted) < len(seen) {
			s.looks = append(s.looks, Look{Key: ExtraTry, Requirement: a.q.ID, To: rankwright.Whole(a.q.Tries)})
		}
		low, high, lead, examiners := rankwright.Amount(0), rankwright.Amount(0), false, 0
		for rest := counted; len(rest) > 0; examiners++ {
			value, n := a.one(rest)
			if examiners == 0 {
				low, high = value, value
			}
			low, high = min(low, value), max(high, value)
			lead = lead || rest[0].Examiner == s.c.Lead && s.c.Lead != ""
			rest = rest[n:]
		}
		if examiners < 2 || low == high {
			continue
		}
		method := a.method(examiners)
		if a.combine.Apart > 0 && high-low >= a.combine.Apart || method == syllabus.Single {
			s.looks = append(s.looks, Look{Key: MarksApart, Requirement: a.q.ID, From: low, To: high})
		}
		if (method == syllabus.Lead || method == syllabus.Single) && !lead {
			s.looks = append(s.looks, Look{Key: NoLead, Requirement: a.q.ID, From: low, To: high})
		}
	}
}

// clear holds a promotion while a clearance is missing. One that is needed
// before entry was settled at entry.
func (s *state) clear(v *Verdict) {
	if v.Outcome != syllabus.Promoted {
		return
	}
	for _, id := range s.j.rank.Clearances {
		name := string(id)
		if c := s.j.syl.Clearance(id); c != nil {
			if c.Before != syllabus.BeforePromotion {
				continue
			}
			name = c.Name
		}
		met, word := slices.Contains(s.c.Met, id), "there"
		if !met {
			v.Outcome, word = syllabus.Held, "not there yet"
		}
		v.Reasons = append(v.Reasons, Reason{Rule: "clearance:" + string(id), Kind: AboutClearance, Name: name,
			Asked: Fact{Word: "before promotion"}, Shown: Fact{Word: word}, Met: met, Decides: true})
	}
}

// notYet says what is shown again and until when.
func (s *state) notYet(v *Verdict, res *syllabus.Result, nearest int) {
	if res.Within > 0 {
		v.AgainUntil = s.c.Day + rankwright.Day(res.Within)
	}
	if res.ShowAgain == syllabus.AgainAll {
		v.Whole = true
		return
	}
	s.again(v, nearest)
	if len(v.ShowAgain)+len(v.ShowAgainSections) == 0 {
		s.looks = append(s.looks, Look{Key: NameAgain})
	}
}

// nearestPromotion is the promoting result of which the fewest conditions
// fail; the first of several.
func (s *state) nearestPromotion() int {
	best, fewest := -1, 0
	for i := range s.j.results {
		r := &s.j.results[i]
		if r.res.Outcome != syllabus.Promoted {
			continue
		}
		fails := 0
		for _, w := range r.when {
			if !s.met[w] {
				fails++
			}
		}
		if best < 0 || fails < fewest {
			best, fewest = i, fails
		}
	}
	return best
}

// again collects what fell short of a result's conditions. For a promotion
// with a follow-up that is what its own conditions forgave.
func (s *state) again(v *Verdict, line int) {
	if line < 0 {
		return
	}
	for _, w := range s.j.results[line].when {
		if v.Outcome == syllabus.Promoted || !s.met[w] {
			s.collect(v, &s.j.rules[w])
		}
	}
}

func (s *state) collect(v *Verdict, r *rule) {
	for i := range r.parts {
		if !s.holds(&r.parts[i]) {
			s.collect(v, &r.parts[i])
		}
	}
	switch r.c.Kind {
	case syllabus.OnConsents:
		for _, i := range s.j.votes {
			if s.in[i] && !s.agreed(r, i) {
				v.ShowAgain = insert(v.ShowAgain, s.j.asked[i].q.ID)
			}
		}
	case syllabus.OnSections:
		s.short(r, func(_ *rule, place int, _ bool) {
			v.ShowAgainSections = insert(v.ShowAgainSections, s.j.sections[place])
		})
	case syllabus.OnRequirements:
		s.short(r, func(_ *rule, place int, _ bool) { v.ShowAgain = insert(v.ShowAgain, s.j.asked[place].q.ID) })
	}
}

func insert[T comparable](list []T, x T) []T {
	if slices.Contains(list, x) {
		return list
	}
	return append(list, x)
}
