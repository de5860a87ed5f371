package roster

import (
	"slices"
	"strings"

	"rankwright"
)

const ladderQuestion = "ladder"

// noRank are the words for holding no rank yet, folded. A rank of the ladder
// that bears such a name goes before.
var noRank = map[string]bool{"none": true, "no": true, "no rank": true, "no belt": true, "not yet": true, "beginner": true, "new": true,
	"unranked": true, "ninguno": true, "ninguna": true, "sin cinturon": true, "sin grado": true, "principiante": true, "nuevo": true, "nueva": true}

// rank reads ladder, rank and its date.
func (im *importing) rank(d *draft) {
	s := &d.student
	ladderText, rankText := im.cell(d, LadderField), im.cell(d, RankField)
	since := im.date(d, RankSinceField)
	rankBefore, ladderBefore := s.Rank, s.Ladder
	if !since.IsZero() {
		s.RankSince = since
	}
	if len(im.school.Ladders) == 0 {
		if ladderText != "" {
			s.Ladder = rankwright.LadderID(ladderText)
		}
		if rankText != "" {
			s.Rank = rankwright.RankID(rankText)
		}
	} else {
		l := im.ladder(d, ladderText, rankText)
		if l == nil {
			return
		}
		s.Ladder = l.ID
		if rankText != "" {
			im.rankOn(d, l, rankText)
		}
		im.doubtStep(d, l, ladderBefore, rankBefore)
	}
	if d.was != nil && s.Rank != rankBefore && since.IsZero() && !d.troubled(RankSinceField, im) {
		d.doubt(im, RankField, "since_missing", "accept it, or add the date in the spreadsheet and choose the file again",
			"the rank changes, and the row does not say since when")
	}
}

// doubtStep doubts a rank taken back: an old spreadsheet must not undo a
// promotion.
func (im *importing) doubtStep(d *draft, l *Ladder, ladderBefore rankwright.LadderID, before rankwright.RankID) {
	s := d.student
	if d.was == nil || before == "" || before == s.Rank || ladderBefore != l.ID {
		return
	}
	was, is := l.index(before), l.index(s.Rank)
	if was < 0 || is > was {
		return
	}
	d.doubt(im, RankField, "rank_back", "accept it only if the roster is wrong",
		"%s holds %s in the roster, and the row says %s, which is lower", s.FullName(), l.title(before), l.title(s.Rank))
}

func (l *Ladder) index(r rankwright.RankID) int {
	return slices.IndexFunc(l.Ranks, func(n RankName) bool { return n.ID == r })
}

func (l *Ladder) title(r rankwright.RankID) string {
	if r == "" {
		return "no rank"
	}
	if i := l.index(r); i >= 0 {
		return l.Ranks[i].title()
	}
	return string(r)
}

func (r RankName) title() string {
	if len(r.Names) > 0 {
		return r.Names[0]
	}
	return string(r.ID)
}

// ladder finds the row's ladder: as written, else the student's, else the
// only one, else as answered, else the only one that has such a rank.
func (im *importing) ladder(d *draft, text, rankText string) *Ladder {
	ls := im.school.Ladders
	if text != "" {
		names := map[string]int{}
		for i, l := range ls {
			for _, n := range append([]string{string(l.ID)}, l.Names...) {
				names[Fold(n)] = i + 1
			}
		}
		for i := range ls {
			if string(ls[i].ID) == text {
				return &ls[i]
			}
		}
		if i := names[Fold(text)]; i > 0 {
			return &ls[i-1]
		}
		d.refuse(im, LadderField, "ladder_unknown", redo, "there is no ladder called %s, and %s", cut(text), suggest(text, ladderTitles(ls)))
		return nil
	}
	find := func(id string) *Ladder {
		for i := range ls {
			if string(ls[i].ID) == id {
				return &ls[i]
			}
		}
		return nil
	}
	if d.student.Ladder != "" {
		if l := find(string(d.student.Ladder)); l != nil {
			return l
		}
	}
	if len(ls) == 1 {
		return &ls[0]
	}
	if l := find(im.answers[ladderQuestion]); l != nil {
		return l
	}
	var only *Ladder
	for i := range ls {
		if _, ok := ls[i].find(rankText); ok && rankText != "" {
			if only != nil {
				only = nil
				break
			}
			only = &ls[i]
		}
	}
	if only != nil {
		return only
	}
	im.askLadder()
	d.wait(im, RankField, "the row does not say on which ladder %s is", d.title())
	return nil
}

func (im *importing) askLadder() {
	if slices.ContainsFunc(im.plan.Questions, func(q Question) bool { return q.ID == ladderQuestion }) {
		return
	}
	q := Question{ID: ladderQuestion, Where: rankwright.Place{File: im.table.File},
		Ask: "On which ladder are the students of whom the file does not say it?"}
	for _, l := range im.school.Ladders {
		q.Choices = append(q.Choices, Choice{string(l.ID), l.titleOf()})
	}
	im.plan.Questions = append(im.plan.Questions, q)
}

func (l Ladder) titleOf() string {
	if len(l.Names) > 0 {
		return l.Names[0]
	}
	return string(l.ID)
}

func ladderTitles(ls []Ladder) []string {
	var out []string
	for _, l := range ls {
		out = append(out, l.titleOf())
	}
	return out
}

func (im *importing) rankOn(d *draft, l *Ladder, text string) {
	id, ok := l.find(text)
	if !ok {
		var titles []string
		for _, r := range l.Ranks {
			titles = append(titles, r.title())
		}
		d.refuse(im, RankField, "rank_unknown", redo, "there is no rank %s on the ladder %s, and %s",
			cut(text), l.titleOf(), suggest(rankKey(text), titles))
		return
	}
	d.student.Rank = id
}

// find looks a rank up by its id or any of its names. The word for a belt
// beside the name plays no part.
func (l *Ladder) find(text string) (rankwright.RankID, bool) {
	if l.index(rankwright.RankID(text)) >= 0 {
		return rankwright.RankID(text), true
	}
	key := rankKey(text)
	for _, r := range l.Ranks {
		for _, n := range append([]string{string(r.ID)}, r.Names...) {
			if rankKey(n) == key {
				return r.ID, true
			}
		}
	}
	return "", noRank[Fold(text)]
}

func rankKey(s string) string {
	words := strings.Fields(Fold(s))
	kept := words[:0:0]
	for _, w := range words {
		if w != "belt" && w != "cinturon" && w != "cinta" && w != "rank" {
			kept = append(kept, w)
		}
	}
	if len(kept) == 0 {
		return strings.Join(words, " ")
	}
	return strings.Join(kept, " ")
}

// suggest names the nearest of some names, or all of them if none is near.
func suggest(text string, names []string) string {
	key := Fold(text)
	limit := max(1, len([]rune(key))/3)
	best, at := limit+1, ""
	for _, n := range names {
		if d := distance(key, rankKey(n), limit); d < best {
			best, at = d, n
		}
	}
	if at != "" {
		return "the nearest is " + at
	}
	return "the names are " + firstFewNames(names)
}

func firstFewNames(names []string) string {
	if len(names) > 12 {
		return listOf(append(names[:11:11], "more"))
	}
	return listOf(names)
}
