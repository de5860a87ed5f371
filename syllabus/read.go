package syllabus

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"rankwright"
)

// str reads text of at most limit characters; nil is "".
func (r *reader) str(n *node, what string, limit int) string {
	if n.empty() {
		return ""
	}
	if n.shape != scalar {
		r.fault(n, "not_text", "write it as one line of text", "%s should be text, not %s", what, n.describe())
		return ""
	}
	s := strings.TrimSpace(n.text)
	if utf8.RuneCountInString(s) > limit {
		r.fault(n, "too_long", "shorten it", "%s has more than %d characters", what, limit)
		return ""
	}
	if strings.IndexFunc(s, func(c rune) bool { return unicode.IsControl(c) && c != '\n' && c != '\t' }) >= 0 {
		r.fault(n, "bad_text", "remove it", "%s holds a character that cannot be seen", what)
		return ""
	}
	return s
}

// ident reads an identifier: letters, digits, - and _.
func (r *reader) ident(n *node, what string) string {
	s := r.str(n, what, 40)
	if s == "" && n != nil && n.shape == scalar && n.quoted {
		r.fault(n, "bad_id", "write a short id, such as id-1", "%s is empty", what)
	}
	for _, c := range s {
		if !(c == '-' || c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z') {
			do := "use letters, digits, - and _ only, such as " + strconv.Quote(identFrom(s))
			if i := strings.Index(s, ": "); i > 0 {
				do = "put a comma between the id and the key after it"
			}
			r.fault(n, "bad_id", do, "%s %q cannot be used as an id", what, s)
			return ""
		}
	}
	return s
}

func identFrom(s string) string {
	out := strings.Map(func(c rune) rune {
		switch {
		case c == '-' || c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z':
			return c
		case c == ' ' || c == '/' || c == '.':
			return '-'
		}
		return -1
	}, s)
	if out = strings.Trim(out, "-"); out == "" {
		return "id-1"
	}
	return out
}

// integer reads a whole number between lo and hi. 010 is refused: some
// readers take it for eight.
func (r *reader) integer(n *node, what string, lo, hi int) int {
	if n.empty() {
		return 0
	}
	v, ok := whole(n.text)
	if n.shape != scalar || !ok {
		r.fault(n, "not_whole", fmt.Sprintf("write a whole number from %d to %d", lo, hi), "%s should be a whole number, not %s", what, n.describe())
		return 0
	}
	if v < lo || v > hi {
		r.fault(n, "out_of_range", fmt.Sprintf("write a whole number from %d to %d", lo, hi), "%s is %d", what, v)
		return 0
	}
	return v
}

// whole reads a whole number without a sign other than - and without zeros
// in front.
func whole(s string) (int, bool) {
	v, err := strconv.Atoi(s)
	return v, err == nil && strconv.Itoa(v) == s
}

// amount reads a number with at most three decimals, not negative.
func (r *reader) amount(n *node, what string) rankwright.Amount {
	if n.empty() {
		return 0
	}
	a, err := rankwright.ParseAmount(n.text)
	if n.shape != scalar || err != nil || n.text[0] == '+' || (len(n.text) > 1 && n.text[0] == '0' && n.text[1] != '.') {
		r.fault(n, "not_number", "write a number such as 3 or 2.5", "%s should be a number, not %s", what, n.describe())
		return 0
	}
	if a < 0 {
		r.fault(n, "out_of_range", "write a number that is not negative", "%s is %s", what, n.text)
		return 0
	}
	return a
}

// share reads a percentage.
func (r *reader) share(n *node, what string) rankwright.Share {
	if n.empty() {
		return 0
	}
	s, err := rankwright.ParseShare(n.text)
	if n.shape != scalar || err != nil {
		r.fault(n, "not_share", "write it with the sign, such as 70%", "%s should be a percentage, not %s", what, n.describe())
		return 0
	}
	return s
}

// flag reads yes or no.
func (r *reader) flag(n *node, what string) bool {
	if n.empty() {
		return false
	}
	switch strings.ToLower(n.text) {
	case "yes", "true":
		return true
	case "no", "false":
		return false
	}
	r.fault(n, "not_yes_no", "write yes or no", "%s should be yes or no, not %s", what, n.describe())
	return false
}

// day reads a civil date.
func (r *reader) day(n *node, what string) rankwright.Day {
	if n.empty() {
		return 0
	}
	d, err := rankwright.ParseDay(n.text)
	if n.shape != scalar || err != nil {
		r.fault(n, "not_date", "write year-month-day, such as 2026-10-31", "%s should be a date, not %s", what, n.describe())
		return 0
	}
	return d
}

// choice reads one of a few words and returns its index.
func (r *reader) choice(n *node, what string, words ...string) int {
	if n.empty() {
		return 0
	}
	s := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(n.text)), "_", " ")
	for i, w := range words {
		if n.shape == scalar && s == w {
			return i
		}
	}
	do := "write one of: " + strings.Join(words, ", ")
	if near := rankwright.Nearest(s, words); near != "" {
		do = fmt.Sprintf("did you mean %q?", near)
	}
	r.fault(n, "unknown_word", do, "%s cannot be %s", what, n.describe())
	return 0
}

// each reads a list, or a single value as a list of one.
func (r *reader) each(n *node, what string) []*node {
	switch {
	case n.empty():
		return nil
	case n.shape == list:
		return n.items
	case n.shape == scalar:
		return []*node{n}
	}
	r.fault(n, "not_list", "begin each item with a dash", "%s should be a list, not %s", what, n.describe())
	return nil
}
