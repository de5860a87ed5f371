package roster

import (
	"slices"
	"strings"

	"rankwright"
)

// Household is the students who come together.
type Household struct {
	ID       rankwright.HouseholdID
	Students []rankwright.StudentID
}

// Households lists the households of a roster by id, with their students by
// id. Students without a household are left out; see FillHouseholds.
func Households(students []Student) []Household {
	at := map[rankwright.HouseholdID]int{}
	var hs []Household
	for _, s := range students {
		if s.Household == "" {
			continue
		}
		i, ok := at[s.Household]
		if !ok {
			i = len(hs)
			at[s.Household] = i
			hs = append(hs, Household{ID: s.Household})
		}
		hs[i].Students = append(hs[i].Students, s.ID)
	}
	for _, h := range hs {
		slices.Sort(h.Students)
	}
	slices.SortFunc(hs, func(a, b Household) int { return strings.Compare(string(a.ID), string(b.ID)) })
	return hs
}

// Siblings lists the other students of a student's household, by id.
func Siblings(students []Student, id rankwright.StudentID) []rankwright.StudentID {
	for _, h := range Households(students) {
		if i := slices.Index(h.Students, id); i >= 0 {
			return slices.Delete(slices.Clone(h.Students), i, i+1)
		}
	}
	return nil
}

// FillHouseholds returns a copy of the roster in which everybody has a
// household. A household that is written down is never changed, and two of
// them are never joined: parents may live apart. Students without one are put
// together when they share a guardian, which is the same e-mail address, the
// same telephone number, or the same guardian's name beside the same family
// name; then they join the one written household that shares a guardian with
// them. Where two do, they get one of their own and a remark. A new id is
// "h-" and the first student's id, so the order of the roster plays no part.
func FillHouseholds(students []Student) ([]Student, rankwright.Faults) {
	out := slices.Clone(students)
	groups := newGroups(len(out))
	links := map[string][]int{}
	for i, s := range out {
		for _, k := range guardianKeys(s) {
			links[k] = append(links[k], i)
		}
	}
	for _, who := range links {
		first := -1
		for _, i := range who {
			if out[i].Household != "" {
				continue
			}
			if first < 0 {
				first = i
			}
			groups.join(first, i)
		}
	}
	written := map[int][]rankwright.HouseholdID{}
	for _, who := range links {
		for _, i := range who {
			if out[i].Household != "" {
				continue
			}
			g := groups.of(i)
			for _, j := range who {
				if h := students[j].Household; h != "" && !slices.Contains(written[g], h) {
					written[g] = append(written[g], h)
				}
			}
		}
	}

	taken := map[rankwright.HouseholdID]bool{}
	members := map[int][]int{}
	for i, s := range out {
		if s.Household != "" {
			taken[s.Household] = true
		} else {
			g := groups.of(i)
			members[g] = append(members[g], i)
		}
	}
	var order []int
	for g, m := range members {
		slices.SortFunc(m, func(a, b int) int { return strings.Compare(string(out[a].ID), string(out[b].ID)) })
		order = append(order, g)
	}
	slices.SortFunc(order, func(a, b int) int {
		return strings.Compare(string(out[members[a][0]].ID), string(out[members[b][0]].ID))
	})
	var remarks rankwright.Faults
	for _, g := range order {
		near := written[g]
		slices.Sort(near)
		id := rankwright.HouseholdID("h-" + string(out[members[g][0]].ID))
		for taken[id] {
			id += "x"
		}
		if len(near) == 1 {
			id = near[0]
		}
		if len(near) > 1 {
			remarks = append(remarks, rankwright.Faultf(rankwright.Invalid, "two_households",
				"choose the household on the student's page if one of them is right",
				"%s shares a guardian with the households %s and got one of their own",
				out[members[g][0]].FullName(), listOf(near)))
		}
		taken[id] = true
		for _, i := range members[g] {
			out[i].Household = id
		}
	}
	return out, remarks
}

// guardianKeys are the texts by which a student's guardians are known again.
func guardianKeys(s Student) []string {
	var keys []string
	for _, g := range s.Guardians {
		if e := emailKey(g.Email); e != "" {
			keys = append(keys, "e "+e)
		}
		if p := phoneKey(g.Phone); p != "" {
			keys = append(keys, "p "+p)
		}
		if n, f := Fold(g.Name), Fold(s.FamilyName); n != "" && f != "" {
			keys = append(keys, "n "+n+"\n"+f)
		}
	}
	return keys
}

func emailKey(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// phoneKey is the digits of a number, with 00 and + written alike; a number
// of fewer than six digits tells nobody apart.
func phoneKey(s string) string {
	var b strings.Builder
	for _, r := range s {
		if r >= '0' && r <= '9' {
			b.WriteRune(r)
		}
	}
	d := b.String()
	if strings.HasPrefix(strings.TrimSpace(s), "+") {
		d = "00" + d
	}
	if len(strings.TrimPrefix(d, "00")) < 6 {
		return ""
	}
	return d
}

// groups is a forest of disjoint sets (Galler and Fischer 1964).
type groups []int

func newGroups(n int) groups {
	g := make(groups, n)
	for i := range g {
		g[i] = i
	}
	return g
}

func (g groups) of(i int) int {
	for g[i] != i {
		g[i] = g[g[i]]
		i = g[i]
	}
	return i
}

func (g groups) join(i, j int) { g[g.of(i)] = g.of(j) }

// listOf writes "a", "a and b", "a, b and c".
func listOf[T ~string](items []T) string {
	var b strings.Builder
	for i, it := range items {
		switch {
		case i > 0 && i == len(items)-1:
			b.WriteString(" and ")
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(string(it))
	}
	return b.String()
}
