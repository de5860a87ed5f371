package roster

import "strings"

// NameRule says how a whole name in one column is split. A comma always
// decides: what stands before it is the family name.
type NameRule string

// The rules. Under NameUnknown two words are given and family name, particles
// such as "van" or "de la" belong to the family name, and longer names are
// doubtful: a third word may be a second given or a second family name.
const (
	NameUnknown  NameRule = ""
	FamilyLast   NameRule = "family_last"
	FamilyTwo    NameRule = "family_two"
	FamilyFirst  NameRule = "family_first"
	nameQuestion          = "names"
)

func (n NameRule) label() string {
	switch n {
	case FamilyLast:
		return "the last word is the family name"
	case FamilyTwo:
		return "the last two words are the family name"
	case FamilyFirst:
		return "the first word is the family name"
	}
	return ""
}

var particles = func() map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields("van von der den de del della di da do dos das du la las los le el al bin ibn ben bint ap ab mac mc st san santa ter ten zu y") {
		m[w] = true
	}
	return m
}()

// splitName parts a whole name. It is not sure of a name of one word, and
// under NameUnknown not of one that could be split in two places.
func splitName(full string, rule NameRule) (given, family string, sure bool) {
	full = cleanLine(full)
	if f, g, ok := strings.Cut(full, ","); ok {
		given, family = cleanLine(g), cleanLine(f)
		return given, family, given != "" && family != ""
	}
	w := strings.Fields(full)
	if len(w) < 2 {
		return full, "", false
	}
	cut := len(w) - 1
	switch rule {
	case FamilyFirst:
		return strings.Join(w[1:], " "), w[0], true
	case FamilyTwo:
		cut = max(1, len(w)-2)
	}
	for cut > 1 && particles[Fold(w[cut-1])] {
		cut--
	}
	given, family = strings.Join(w[:cut], " "), strings.Join(w[cut:], " ")
	return given, family, rule != NameUnknown || cut == 1
}

// askNames asks once for the column when a name could be split in two ways.
func (im *importing) askNames(col int) {
	im.names = im.mapping.NameRule
	switch r := NameRule(im.answers[nameQuestion]); r {
	case FamilyLast, FamilyTwo, FamilyFirst:
		im.names = r
	}
	var open []string
	first := ""
	for _, r := range im.body {
		s := cleanLine(unguard(cleanLine(r.Text(col))))
		if _, _, sure := splitName(s, im.names); !sure && len(strings.Fields(s)) > 2 && !strings.Contains(s, ",") && len(open) < 2 {
			open = append(open, s)
		}
		if first == "" && len(strings.Fields(s)) > 1 {
			first = s
		}
	}
	if first != "" {
		g, f, _ := splitName(first, im.names)
		im.plan.Notes = append(im.plan.Notes, `names in column "`+cleanLine(im.head.Text(col))+`" are split: `+
			first+" is given name "+g+", family name "+f)
	}
	if len(open) == 0 {
		return
	}
	q := &Question{ID: nameQuestion, Where: im.table.place(im.head, im.head, col),
		Ask: "Some names have more than two words. Which words are the family name?"}
	for _, r := range []NameRule{FamilyLast, FamilyTwo, FamilyFirst} {
		var examples []string
		for _, s := range open {
			g, f, _ := splitName(s, r)
			examples = append(examples, s+" is "+g+" of the family "+f)
		}
		q.Choices = append(q.Choices, Choice{Value: string(r), Label: r.label() + ": " + listOf(examples)})
	}
	im.plan.Questions = append(im.plan.Questions, *q)
}
