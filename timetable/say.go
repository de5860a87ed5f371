package timetable

import (
	"fmt"
	"strings"

	"rankwright"
)

// How entries, households and the rest are called in sentences.

func (q *Prepared) entryName(e int) string {
	x := &q.Problem.Entries[e]
	return first(x.Name, string(x.ID))
}

func (q *Prepared) householdName(h int) string {
	x := &q.Problem.Households[h]
	return "the " + first(x.Name, string(x.ID)) + " family"
}

func (q *Prepared) sessionName(s int) string { return sessionName(&q.Problem.Sessions[s]) }

func sessionName(s *Session) string { return first(s.Name, string(s.ID)) }

func (q *Prepared) examinerName(x int) string {
	e := &q.Problem.Examiners[x]
	return first(e.Name, string(e.ID))
}

// sittingName says session, time and, where there are several, mat.
func (q *Prepared) sittingName(w int) string {
	s := &q.Problem.Sittings[w]
	name := fmt.Sprintf("%s at %s", q.sessionName(q.SittingSession[w]), s.Start)
	for _, v := range q.Order[q.SittingSession[w]] {
		if q.Problem.Sittings[v].Mat != s.Mat {
			return name + " on mat " + string(s.Mat)
		}
	}
	return name
}

func (q *Prepared) rankName(r int) string { return string(q.Problem.Ranks[r]) }

func first(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// listed joins names as a sentence does.
func listed(names []string) string {
	switch n := len(names); {
	case n == 0:
		return "nobody"
	case n == 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

// few joins names as a sentence does, and counts those beyond a handful.
func few(names []string) string {
	if len(names) > 6 {
		names = append(names[:5:5], fmt.Sprintf("%d more", len(names)-5))
	}
	return listed(names)
}

// plural writes a number with its noun.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func ranksNamed(ranks []rankwright.RankID) string {
	out := make([]string, len(ranks))
	for i, r := range ranks {
		out[i] = string(r)
	}
	return listed(out)
}
