package roster

import (
	"fmt"
	"slices"
	"strings"

	"rankwright"
)

// manyNamesakes is how many students of one birth date are still compared
// letter by letter.
const manyNamesakes = 60

// nameKey is the name as it is compared: folded, in one piece, so that it
// plays no part where given and family name meet.
func nameKey(s Student) string { return Fold(s.FullName()) }

type born struct {
	name string
	day  rankwright.Day
}

// match finds for each row the student of the roster that it is about.
func (im *importing) match(drafts []*draft) {
	byID := map[rankwright.StudentID]*Student{}
	byBorn := map[born][]*Student{}
	byName := map[string][]*Student{}
	byDay := map[rankwright.Day][]*Student{}
	for i := range im.current {
		s := &im.current[i]
		byID[s.ID] = s
		k := nameKey(*s)
		byBorn[born{k, s.BirthDate}] = append(byBorn[born{k, s.BirthDate}], s)
		byName[k] = append(byName[k], s)
		byDay[s.BirthDate] = append(byDay[s.BirthDate], s)
	}
	claimed := map[rankwright.StudentID]bool{}
	claim := func(d *draft, s *Student) {
		d.was = s
		claimed[s.ID] = true
	}
	var rest []*draft
	for _, d := range drafts {
		answer := im.answers[rowQuestion(d.row.Line)]
		key := born{nameKey(d.given), d.given.BirthDate}
		if id, ok := strings.CutPrefix(answer, "is "); ok && byID[rankwright.StudentID(id)] != nil {
			claim(d, byID[rankwright.StudentID(id)])
			continue
		}
		if s := byID[d.given.ID]; s != nil && d.given.ID != "" {
			claim(d, s)
			im.checkSamePerson(d, s, answer)
			continue
		}
		if same := byBorn[key]; d.given.ID == "" && key.name != "" && key.day != 0 && len(same) == 1 && answer != "new" {
			claim(d, same[0])
			continue
		}
		if answer != "new" && key.name != "" {
			rest = append(rest, d)
		}
	}
	byNameAlone := len(im.at[StudentIDField]) == 0 && len(im.at[BirthDateField]) == 0
	if byNameAlone && len(im.current) > 0 {
		im.askByName()
	}
	for _, d := range rest {
		key := born{nameKey(d.given), d.given.BirthDate}
		free := func(ss []*Student) (out []*Student) {
			for _, s := range ss {
				if !claimed[s.ID] {
					out = append(out, s)
				}
			}
			return out
		}
		namesakes := free(byName[key.name])
		if d.troubled(BirthDateField, im) {
			if len(namesakes) == 1 {
				d.was = namesakes[0]
			}
			continue
		}
		if key.day == 0 && len(namesakes) == 0 {
			namesakes = byName[key.name] // so that a second row about one student is seen to be
		}
		if byNameAlone && len(namesakes) == 1 && im.answers[byNameQuestion] == "yes" {
			claim(d, namesakes[0])
			continue
		}
		near := namesakes
		if key.day != 0 && len(byDay[key.day]) <= manyNamesakes {
			for _, s := range free(byDay[key.day]) {
				if !slices.Contains(near, s) && alike(key.name, nameKey(*s)) {
					near = append(near, s)
				}
			}
		}
		if len(near) > 0 {
			d.candidates = near
			im.doubtMatch(d, key)
		}
	}
}

const byNameQuestion = "by_name"

func (im *importing) askByName() {
	if im.answers[byNameQuestion] != "" {
		return
	}
	im.plan.Questions = append(im.plan.Questions, Question{ID: byNameQuestion,
		Where: rankwright.Place{File: im.table.File},
		Ask:   "The file has neither a student id nor a birth date. May students be found by their name alone, where only one has it?",
		Choices: []Choice{
			{"yes", "yes, find them by name"},
			{"no", "no, ask for each row"},
		}})
}

// checkSamePerson doubts a row whose id belongs to quite another student.
func (im *importing) checkSamePerson(d *draft, s *Student, answer string) {
	if nameKey(d.given) == "" || answer == "accept" {
		return
	}
	otherDay := d.given.BirthDate != 0 && s.BirthDate != 0 && d.given.BirthDate != s.BirthDate
	if otherDay && !alike(nameKey(d.given), nameKey(*s)) {
		d.doubt(im, StudentIDField, "id_other", "accept it if the student is the same, or "+redo,
			"the id %s belongs to %s%s in the roster, and this row is %s%s",
			s.ID, s.FullName(), bornOn(s.BirthDate), d.given.FullName(), bornOn(d.given.BirthDate))
	}
}

func (im *importing) doubtMatch(d *draft, key born) {
	do := "say whether it is the same student"
	if len(d.candidates) > 1 {
		var who []string
		for _, c := range d.candidates {
			who = append(who, inRoster(*c))
		}
		d.doubt(im, GivenNameField, "match_several", "say which of them it is, if any", "%s could be %s", d.given.FullName(), firstFew(who))
		return
	}
	c := d.candidates[0]
	sameName, sameDay := nameKey(*c) == key.name, c.BirthDate == key.day
	switch {
	case sameName && sameDay:
		d.doubt(im, StudentIDField, "match_id", do, "%s is in the roster, and the row gives the id %s", inRoster(*c), d.given.ID)
	case sameName && key.day == 0:
		d.doubt(im, GivenNameField, "match_no_birth", do, "%s is in the roster, and the row has no birth date to be sure by", inRoster(*c))
	case sameName:
		d.doubt(im, BirthDateField, "match_birth", do, "%s is in the roster, and the row says born %s", inRoster(*c), short(key.day))
	default:
		d.doubt(im, GivenNameField, "match_name", do, "%s has the birth date of %s and almost the same name", d.given.FullName(), inRoster(*c))
	}
}

// alike says whether two folded names could be one name in two spellings: a
// slip of the pen, another order of words, or one with fewer words.
func alike(a, b string) bool {
	if a == "" || b == "" {
		return false
	}
	slips := 2
	if min(len(a), len(b)) < 8 {
		slips = 1
	}
	if distance(a, b, slips) <= slips {
		return true
	}
	x, y := strings.Fields(a), strings.Fields(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	if len(x) < 2 {
		return false
	}
	for _, w := range x {
		if !slices.Contains(y, w) {
			return false
		}
	}
	return true
}

// findDoubles looks for rows about the same student. A row that only repeats
// another is said to; rows that differ are refused, all of them, since the
// file does not say which is right.
func (im *importing) findDoubles(drafts []*draft) {
	groups := map[string][]*draft{}
	var order []string
	put := func(k string, d *draft) {
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], d)
	}
	for _, d := range drafts {
		if im.answers[rowQuestion(d.row.Line)] == "skip" {
			continue
		}
		switch {
		case d.was != nil:
			put("was "+string(d.was.ID), d)
		case d.given.ID != "":
			put("id "+string(d.given.ID), d)
		}
		if name := nameKey(d.given); name != "" && d.given.BirthDate != 0 {
			put(fmt.Sprintf("born %s\n%d", name, d.given.BirthDate), d)
		}
	}
	told := map[*draft]bool{}
	for _, kind := range []string{"was", "id", "born"} {
		for _, k := range order {
			if strings.HasPrefix(k, kind+" ") && len(groups[k]) > 1 {
				im.tellDoubles(kind, groups[k], told)
			}
		}
	}
}

func (im *importing) tellDoubles(kind string, g []*draft, told map[*draft]bool) {
	alikeRows, ids := true, map[rankwright.StudentID]bool{}
	for _, d := range g {
		alikeRows = alikeRows && im.sameCells(d, g[0])
		ids[d.given.ID] = true
	}
	if alikeRows {
		for _, d := range g[1:] {
			d.repeats = g[0].row.Line
		}
		return
	}
	for _, d := range g {
		if told[d] {
			continue
		}
		told[d] = true
		var others []string
		for _, o := range g {
			if o != d {
				others = append(others, fmt.Sprint(o.row.Line))
			}
		}
		lines := fmt.Sprintf("line%s %s", plural(len(others)), firstFew(others))
		switch {
		case kind == "born" && len(ids) == len(g) && !ids[""]:
			if d.was == nil {
				d.doubt(im, GivenNameField, "double_person", "accept it if there are two of them, or "+redo,
					"%s%s stands on %s too, with another id", d.given.FullName(), bornOn(d.given.BirthDate), lines)
			}
		case kind == "id":
			d.refuse(im, StudentIDField, "double_id", "keep one and correct the other in the spreadsheet, and choose the file again",
				"the id %s stands on %s too", d.given.ID, lines)
		default:
			d.refuse(im, GivenNameField, "double_row", "keep one of them in the spreadsheet and choose the file again",
				"%s stands on %s too, and the rows differ", d.title(), lines)
		}
	}
}

// sameCells says whether two rows say the same in every column that is read.
func (im *importing) sameCells(a, b *draft) bool {
	for _, cols := range im.at {
		for _, c := range cols {
			if cleanText(a.row.Text(c)) != cleanText(b.row.Text(c)) {
				return false
			}
		}
	}
	return true
}
