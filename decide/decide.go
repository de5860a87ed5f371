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
	s := j.newState(&c)
	v := Verdict{Entry: c.Entry, Rank: j.rank.ID, Line: -1}
	s.scores(&v)
	switch c.Presence {
	case Away, Unwell:
		v.Outcome = syllabus.Absent
		word := "did not come"
		if c.Presence == Unwell {
			v.Label, word = "unwell", "not examined, unwell"
		}
		v.Reasons = []Reason{{Rule: "presence", Kind: AboutPresence, Asked: Fact{Word: "present"}, Shown: Fact{Word: word}, Decides: true}}
		return v
	case Halted:
		v.Outcome = syllabus.Stopped
		v.Reasons = []Reason{{Rule: "presence", Kind: AboutPresence, Asked: Fact{Word: "examined to the end"}, Shown: Fact{Word: "stopped for safety"}, Decides: true}}
		return v
	}
	s.missing(&v)
	met := make([]bool, len(j.rules))
	v.Reasons = s.reasons(met, len(v.Missing) > 0)
	s.doubts(&v)
	if len(v.Missing) > 0 {
		v.Outcome = syllabus.Incomplete
		v.Reasons = append([]Reason{{Rule: "marks", Kind: AboutMarks, Asked: Fact{Unit: InRequirements, Num: rankwright.Whole(s.wanted())},
			Shown: Fact{Unit: InRequirements, Num: rankwright.Whole(s.wanted() - len(v.Missing))}, Decides: true}}, v.Reasons...)
		v.SecondLook = append(v.SecondLook, Look{Key: MissingMarks})
		return v
	}
	v.Line = s.result(met)
	res := j.results[v.Line].res
	v.Outcome, v.Label = res.Outcome, res.Label
	if res.Ask != "" {
		v.SecondLook = append(v.SecondLook, Look{Key: AskHead, Ask: res.Ask})
	}
	if v.Outcome == syllabus.Promoted {
		if res.FollowUp > 0 {
			v.FollowUp = c.Day + rankwright.Day(res.FollowUp)
			s.again(&v, v.Line)
		}
	} else {
		s.notYet(&v, res, met)
	}
	line := v.Line
	if v.Outcome != syllabus.Promoted {
		line = s.nearestPromotion(met)
	}
	if line >= 0 {
		for _, w := range s.j.results[line].when {
			v.Reasons[w].Decides = true
		}
	}
	s.flips(&v)
	s.clear(&v)
	return v
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
	v.Bonus = s.bonus()
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
			lacks = s.panelShort(t.yes + t.no + t.abstain)
		}
		if lacks {
			v.Missing = append(v.Missing, q.ID)
		}
	}
}

// panelShort says whether n votes are fewer than some panel of the rules
// has, and no panel has just n.
func (s *state) panelShort(n int) bool {
	short := false
	for i := range s.j.rules {
		for _, p := range s.j.rules[i].c.Panels {
			if p.Size == n {
				return false
			}
			short = short || n < p.Size
		}
	}
	return short
}

// result finds the first result whose conditions hold. The last one always
// does: the syllabus ends every rule with it.
func (s *state) result(met []bool) int {
	for i := range s.j.results {
		if s.holds(i, met) {
			return i
		}
	}
	return len(s.j.results) - 1
}

func (s *state) holds(i int, met []bool) bool {
	r := &s.j.results[i]
	if r.res.Retries > 0 && s.c.Retries >= r.res.Retries {
		return false
	}
	for _, w := range r.when {
		if !met[w] {
			return false
		}
	}
	return true
}

// doubts lists what makes a mark doubtful: examiners far apart, a lead's mark
// asked for and not there, an earlier mark that ended.
func (s *state) doubts(v *Verdict) {
	for i := range s.j.asked {
		a := &s.j.asked[i]
		seen := s.c.Card.Seen[i]
		if !s.in[i] || a.q.Kind == syllabus.Consent {
			continue
		}
		if len(seen) == 0 {
			for _, k := range s.c.Kept {
				if k.Requirement == a.q.ID && s.c.Day > k.Until {
					v.SecondLook = append(v.SecondLook, Look{Key: KeptEnded, Requirement: a.q.ID, From: k.Value})
				}
			}
			continue
		}
		low, high, lead, examiners := seen[0].Value.Num, seen[0].Value.Num, false, 0
		for k, m := range seen {
			low, high = min(low, m.Value.Num), max(high, m.Value.Num)
			lead = lead || m.Examiner == s.c.Lead && s.c.Lead != ""
			if k == 0 || seen[k-1].Examiner != m.Examiner {
				examiners++
			}
		}
		if examiners < 2 || low == high {
			continue
		}
		method := a.combine.Method
		if examiners == 2 {
			method = a.combine.OfTwo
		}
		if a.combine.Apart > 0 && high-low >= a.combine.Apart || method == syllabus.Single {
			v.SecondLook = append(v.SecondLook, Look{Key: MarksApart, Requirement: a.q.ID, From: low, To: high})
		}
		if (method == syllabus.Lead || method == syllabus.Single) && !lead {
			v.SecondLook = append(v.SecondLook, Look{Key: NoLead, Requirement: a.q.ID, From: low, To: high})
		}
	}
}

// clear holds a promotion while a clearance is missing.
func (s *state) clear(v *Verdict) {
	for _, id := range s.j.rank.Clearances {
		met := slices.Contains(s.c.Met, id)
		if v.Outcome != syllabus.Promoted && v.Outcome != syllabus.Held {
			return
		}
		name := string(id)
		if c := s.j.syl.Clearance(id); c != nil {
			name = c.Name
		}
		word := "not there yet"
		if met {
			word = "there"
		} else {
			v.Outcome = syllabus.Held
		}
		v.Reasons = append(v.Reasons, Reason{Rule: "clearance:" + string(id), Kind: AboutClearance, Name: name,
			Asked: Fact{Word: "before promotion"}, Shown: Fact{Word: word}, Met: met, Decides: true})
	}
}

// notYet says what is shown again and until when.
func (s *state) notYet(v *Verdict, res *syllabus.Result, met []bool) {
	if res.Within > 0 {
		v.AgainUntil = s.c.Day + rankwright.Day(res.Within)
	}
	if res.ShowAgain == syllabus.AgainAll {
		v.Whole = true
		return
	}
	s.again(v, s.nearestPromotion(met))
	if len(v.ShowAgain)+len(v.ShowAgainSections) == 0 {
		v.SecondLook = append(v.SecondLook, Look{Key: NameAgain})
	}
}

// nearestPromotion is the promoting result of which the fewest conditions
// fail; the first of several.
func (s *state) nearestPromotion(met []bool) int {
	best, fewest := -1, 0
	for i := range s.j.results {
		r := &s.j.results[i]
		if r.res.Outcome != syllabus.Promoted {
			continue
		}
		fails := 0
		for _, w := range r.when {
			if !met[w] {
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
		r := &s.j.rules[w]
		if v.Outcome != syllabus.Promoted && s.test(r, nil).met {
			continue
		}
		s.collect(v, r)
	}
}

func (s *state) collect(v *Verdict, r *rule) {
	for i := range r.parts {
		if !s.test(&r.parts[i], nil).met {
			s.collect(v, &r.parts[i])
		}
	}
	switch r.c.Kind {
	case syllabus.OnConsents:
		for _, i := range s.j.votes {
			if s.in[i] {
				v.ShowAgain = insert(v.ShowAgain, s.j.asked[i].q.ID)
			}
		}
	case syllabus.OnSections:
		s.test(r, func(_ *rule, place int, _ bool) {
			v.ShowAgainSections = insert(v.ShowAgainSections, s.j.sections[place])
		})
	case syllabus.OnRequirements:
		s.test(r, func(_ *rule, place int, _ bool) { v.ShowAgain = insert(v.ShowAgain, s.j.asked[place].q.ID) })
	}
}

func insert[T comparable](list []T, x T) []T {
	if slices.Contains(list, x) {
		return list
	}
	return append(list, x)
}
