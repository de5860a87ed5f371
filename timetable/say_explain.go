package timetable

import (
	"fmt"
	"slices"
	"strings"
)

// SayExplanation words an explanation: full sentences to the head instructor.
func (q *Prepared) SayExplanation(x *Explanation) string {
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
	var b strings.Builder
	fmt.Fprintf(&b, "%s waits: %s.", name, strings.Join(q.clashSaid(x), "; "))
	if len(x.Remedies) > 0 {
		var help []string
		for _, r := range x.Remedies {
			help = append(help, q.SayRemedy(r))
		}
		if len(help) > 6 {
			help = help[:6]
		}
		fmt.Fprintf(&b, " Any one of these would help: %s.", strings.Join(help, "; "))
	}
	if !x.Proven {
		b.WriteString(" (Found by search, not proven.)")
	}
	return b.String()
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
		text := q.sittingsNamed(rooms) + " has room for "
		if len(rooms) > 1 {
			text = q.sittingsNamed(rooms) + " together have room for "
		}
		said = append(said, text+fmt.Sprint(n))
	}
	for _, c := range x.Clash {
		if s := c.Sitting; c.Limit == LimitShared {
			var parts []string
			if len(p.Sittings[s].Ranks) > 0 {
				parts = append(parts, "only "+ranksNamed(p.Sittings[s].Ranks)+" may come to "+q.sittingName(s))
			}
			if width := p.Sittings[s].Width; width > 0 && (len(parts) == 0 || width < len(p.Sittings[s].Ranks)) {
				parts = append(parts, fmt.Sprintf("no more than %s may share %s", plural(width, "rank", "neighbouring ranks"), q.sittingName(s)))
			}
			said = append(said, parts...)
		}
	}
	for _, w := range shut {
		said = append(said, q.sittingName(w)+" does not take place")
	}
	for _, w := range least {
		said = append(said, fmt.Sprintf("%s takes place only with %d or more", q.sittingName(w), p.Sittings[w].Least))
	}
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

// sittingsNamed joins sittings, session by session.
func (q *Prepared) sittingsNamed(list []int) string {
	list = slices.Clone(list)
	slices.Sort(list)
	var names []string
	for _, w := range list {
		names = append(names, q.sittingName(w))
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
		if r.By > 0 && r.By != p.Sittings[r.Sitting].Width {
			return fmt.Sprintf("let %d neighbouring ranks share %s", r.By, q.sittingName(r.Sitting))
		}
		return fmt.Sprintf("let %s come to %s", r.Rank, q.sittingName(r.Sitting))
	case AskPresence:
		return fmt.Sprintf("ask %s to examine in %s", q.examinerName(r.Examiner), q.sessionName(r.Session))
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
