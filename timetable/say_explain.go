package timetable

import (
	"fmt"
	"slices"
	"strings"
)

// SayExplanation words an explanation with what would help: full sentences to
// the head instructor.
func (q *Prepared) SayExplanation(x *Explanation) string {
	text := q.SayWhy(x)
	if len(x.Remedies) > 0 {
		var help []string
		for _, r := range x.Remedies[:min(len(x.Remedies), 6)] {
			help = append(help, q.SayRemedy(r))
		}
		text += fmt.Sprintf(" Any one of these would help: %s.", strings.Join(help, "; "))
	}
	if !x.Dear && !x.Proven {
		text += " (Found by search, not proven.)"
	}
	return text
}

// SayWhy words why the entry waits, in one sentence.
func (q *Prepared) SayWhy(x *Explanation) string {
	name := upper(q.entryName(x.Entry))
	if x.Dear {
		if x.Dearer == nil {
			return fmt.Sprintf("%s could be placed, and no plan that does so was found in the time.", name)
		}
		var why []string
		before, after := x.costsBefore(q), q.Cost(x.Dearer)
		for a := range after.Aims {
			if d := after.Aims[a].Cost - before[a]; d > 0 && Aim(a) != AimPlaced {
				why = append(why, fmt.Sprintf("%s (%d)", Aim(a).Say(), d))
			}
		}
		if len(why) == 0 {
			return fmt.Sprintf("%s can be placed: plan once more.", name)
		}
		return fmt.Sprintf("%s could be placed, and waits because that would cost %d more: %s.", name, x.More, few(why))
	}
	return fmt.Sprintf("%s waits: %s.", name, strings.Join(q.clashSaid(x), "; "))
}

func (x *Explanation) costsBefore(q *Prepared) (out [AimCount]int64) {
	if x.before == nil {
		return out
	}
	for a, c := range q.Cost(x.before).Aims {
		out[a] = c.Cost
	}
	return out
}

// clashSaid words what clashes, the waiting family first.
func (q *Prepared) clashSaid(x *Explanation) []string {
	p := q.Problem
	own := q.EntryHousehold[x.Entry]
	var said []string
	var rooms, shut, least, panels []int
	var also, toldToo, locked []string
	for _, c := range x.Clash {
		switch c.Limit {
		case LimitAnswer:
			if c.Household == own {
				said = append(said, q.comesOnly(own))
			} else {
				also = append(also, first(p.Households[c.Household].Name, string(p.Households[c.Household].ID)))
			}
		case LimitTold:
			if c.Household == own {
				said = append(said, q.householdName(own)+" was told another time and has not said yes to a move")
			} else {
				toldToo = append(toldToo, first(p.Households[c.Household].Name, string(p.Households[c.Household].ID)))
			}
		case LimitLocked:
			locked = append(locked, q.entryName(c.Entry))
		case LimitRoom:
			rooms = append(rooms, c.Sitting)
		case LimitShut:
			shut = append(shut, c.Sitting)
		case LimitLeast:
			least = append(least, c.Sitting)
		case LimitPanel:
			panels = append(panels, c.Sitting)
		}
	}
	if len(rooms) > 0 {
		n := 0
		for _, w := range rooms {
			n += p.Sittings[w].Most
		}
		var names []string
		for _, w := range rooms {
			names = append(names, q.sittingName(w))
		}
		text := few(names) + " has room for "
		if len(rooms) > 1 {
			text = few(names) + " together have room for "
		}
		said = append(said, text+fmt.Sprint(n))
	}
	said = append(said, q.sharedSaid(x)...)
	if len(shut) > 0 {
		said = append(said, fmt.Sprintf("%s %s not take place", q.sittingsNamed(shut), verb(len(shut), "does", "do")))
	}
	said = append(said, q.leastSaid(least)...)
	if len(panels) > 0 {
		said = append(said, fmt.Sprintf("too few examiners are free and fit for %s", q.sittingsNamed(panels)))
	}
	if len(x.With) > 0 {
		var names []string
		for _, e := range x.With {
			names = append(names, q.entryName(e))
		}
		said = append(said, fmt.Sprintf("%s %s places there too", few(names), verb(len(names), "needs", "need")))
	}
	if len(also) > 0 {
		said = append(said, fmt.Sprintf("%s %s no other time possible either", few(also), verb(len(also), "says", "say")))
	}
	if len(toldToo) > 0 {
		said = append(said, fmt.Sprintf("%s %s told a time and %s not said yes to another", few(toldToo), verb(len(toldToo), "was", "were"), verb(len(toldToo), "has", "have")))
	}
	if len(locked) > 0 {
		said = append(said, fmt.Sprintf("%s %s locked", few(locked), verb(len(locked), "is", "are")))
	}
	if len(said) == 0 {
		said = append(said, "there is no sitting for this rank")
	}
	return said
}

// sharedSaid says which ranks cannot come where, and how far apart they may be:
// first what keeps the waiting entry out by itself.
func (q *Prepared) sharedSaid(x *Explanation) (said []string) {
	p := q.Problem
	rank := q.EntryRank[x.Entry]
	var out []int
	type kind struct {
		ranks string
		width int
	}
	var kinds []kind
	at := map[kind][]int{}
	for _, c := range x.Clash {
		if c.Limit != LimitShared {
			continue
		}
		s := &p.Sittings[c.Sitting]
		if !q.RankAllowed[c.Sitting][rank] {
			out = append(out, c.Sitting)
			continue
		}
		k := kind{width: s.Width}
		if len(s.Ranks) > 0 {
			k.ranks = ranksNamed(s.Ranks)
			if s.Width >= len(s.Ranks) {
				k.width = 0
			}
		}
		if at[k] == nil {
			kinds = append(kinds, k)
		}
		at[k] = append(at[k], c.Sitting)
	}
	if len(out) > 0 {
		said = append(said, fmt.Sprintf("%s may not come to %s", q.rankName(rank), q.sittingsNamed(out)))
	}
	for _, k := range kinds {
		where := q.sittingsNamed(at[k])
		if k.ranks != "" {
			said = append(said, fmt.Sprintf("only %s may come to %s", k.ranks, where))
		}
		if k.width > 0 {
			said = append(said, fmt.Sprintf("no more than %s may share %s", plural(k.width, "rank", "neighbouring ranks"), where))
		}
	}
	return said
}

func (q *Prepared) leastSaid(list []int) (said []string) {
	var leasts []int
	at := map[int][]int{}
	for _, w := range list {
		n := q.Problem.Sittings[w].Least
		if at[n] == nil {
			leasts = append(leasts, n)
		}
		at[n] = append(at[n], w)
	}
	for _, n := range leasts {
		said = append(said, fmt.Sprintf("%s %s place only with %d or more", q.sittingsNamed(at[n]), verb(len(at[n]), "takes", "take"), n))
	}
	return said
}

func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// comesOnly says to which sessions a household can come.
func (q *Prepared) comesOnly(h int) string {
	p := q.Problem
	house := &p.Households[h]
	var can []string
	times := house.From > 0 || house.Until > 0
	for s := range p.Sessions {
		if a := answerOf(p, house, p.Sessions[s].ID); a.Suits != No {
			can = append(can, q.sessionName(s))
			times = times || a.From > 0 || a.Until > 0
		}
	}
	text := q.householdName(h) + " can come only to " + listed(can)
	if len(can) == 0 {
		text = "no session suits " + q.householdName(h)
	} else if times {
		text += " and only within its times"
	}
	return text
}

// sittingsNamed joins sittings; where it is all of a session, that is said
// instead.
func (q *Prepared) sittingsNamed(list []int) string {
	var whole, names []string
	for s, order := range q.Order {
		var in []int
		all := 0
		for _, w := range order {
			if slices.Contains(list, w) {
				in = append(in, w)
			}
			if q.Problem.Sittings[w].Hold != Shut {
				all++
			}
		}
		if len(in) > 1 && len(in) >= all {
			whole = append(whole, q.sessionName(s))
			continue
		}
		for _, w := range in {
			names = append(names, q.sittingName(w))
		}
	}
	if len(whole) > 0 {
		names = append(names, "any sitting of "+strings.ReplaceAll(few(whole), " and ", " or "))
	}
	return few(names)
}

// SayRemedy words a remedy as what to do, without a full stop.
func (q *Prepared) SayRemedy(r Remedy) string {
	p := q.Problem
	switch r.Kind {
	case OpenSitting:
		return "let " + q.sittingName(r.Sitting) + " take place"
	case AddSitting:
		return fmt.Sprintf("hold one more sitting in %s, at %s on mat %s", q.sessionName(r.Session), r.New.Start, r.New.Mat)
	case RaiseMost:
		return fmt.Sprintf("let %d more into %s", r.By, q.sittingName(r.Sitting))
	case LowerLeast:
		return fmt.Sprintf("let %s take place with %d", q.sittingName(r.Sitting), p.Sittings[r.Sitting].Least-r.By)
	case WidenRanks:
		s := &p.Sittings[r.Sitting]
		wider := r.By > 0 && r.By != s.Width
		switch {
		case wider && len(s.Ranks) > 0 && !slices.Contains(s.Ranks, r.Rank):
			return fmt.Sprintf("let %s come to %s, and %d neighbouring ranks share it", r.Rank, q.sittingName(r.Sitting), r.By)
		case wider:
			return fmt.Sprintf("let %d neighbouring ranks share %s", r.By, q.sittingName(r.Sitting))
		}
		return fmt.Sprintf("let %s come to %s", r.Rank, q.sittingName(r.Sitting))
	case AskPresence:
		return fmt.Sprintf("ask %s to examine in %s", q.examinerName(r.Examiner), q.sessionName(r.Session))
	case FindExaminer:
		return fmt.Sprintf("find another examiner for %s, up to %s", q.sessionName(r.Session), r.Rank)
	case AskHousehold:
		return fmt.Sprintf("ask %s about %s", q.householdName(r.Household), q.sessionName(r.Session))
	case AskMove:
		return fmt.Sprintf("ask %s for a yes to another time", q.householdName(r.Household))
	case UnlockEntry:
		return "unlock " + q.entryName(r.Entry)
	}
	return string(r.Kind)
}

// Say is the aim in words, as something that a plan has of.
func (a Aim) Say() string {
	if a < AimCount {
		return aimWords[a]
	}
	return "unknown"
}

var aimWords = [AimCount]string{"entries without a sitting", "families moved from a time they were told", "entries where it suits only if need be",
	"wishes not met", "families that must come more than once", "families not back to back", "families in several sittings", "entries on make-up dates",
	"sessions held", "sittings held", "ranks mixed in a sitting", "uneven sittings", "waiting between sittings", "little ones late",
	"load on examiners", "changes to what was drawn up before"}
