package timetable

import (
	"slices"
	"strconv"
	"strings"

	"rankwright"
)

// Format is the number that a problem file bears.
const Format = 1

// keysOf are the keys of each kind of object, those that must be there first
// and how many of them there are.
var keysOf = map[string]struct {
	keys []string
	must int
}{
	"problem":   {[]string{"format", "ranks", "sessions", "sittings", "households", "entries", "examiners", "rules", "weights"}, 6},
	"session":   {[]string{"id", "day", "name", "makeup", "cost"}, 2},
	"sitting":   {[]string{"id", "session", "mat", "start", "minutes", "most", "least", "panel", "cost", "ranks", "width", "panel_for", "hold", "was_panel"}, 6},
	"household": {[]string{"id", "name", "answers", "from", "until", "may_move"}, 1},
	"answer":    {[]string{"session", "suits", "points", "from", "until"}, 2},
	"entry":     {[]string{"id", "household", "rank", "name", "age", "locked", "must_place", "was", "told", "asked"}, 3},
	"examiner":  {[]string{"id", "highest", "there", "name", "mats", "own", "most_session", "most_day", "in_a_row"}, 3},
	"presence":  {[]string{"session", "from", "until"}, 1},
	"rules":     {[]string{"unanswered", "pause", "rest", "little_age", "little_after", "little_clock"}, 0},
	"weights":   {aimNames[:], 0},
	"plan":      {[]string{"format", "sittings", "cost", "aims", "waiting", "bound", "proven", "gap"}, 2},
	"placed":    {[]string{"id", "panel", "entries"}, 1},
}

var (
	suitsNames = []string{"no", "if_need_be", "yes"}
	holdNames  = []string{"free", "held", "shut"}
)

// ReadProblem reads a problem file, which docs/timetable.md describes. Every
// fault is told with its line and column; the error is a rankwright.Faults. A
// problem that comes back without an error is one that Check accepts.
func ReadProblem(name string, data []byte) (*Problem, error) {
	s := newSource(name, data)
	root := s.parse()
	if root == nil {
		return nil, s.err()
	}
	p := (&reader{s}).problem(root)
	if len(s.faults) == 0 {
		for _, f := range check(p) {
			s.fault(find(root, f.place), f.Code, f.Do, "%s", f.Say)
		}
	}
	if err := s.err(); err != nil {
		return nil, err
	}
	return p, nil
}

// find is the offset of the nearest value to a place.
func find(root *node, p place) int64 {
	n := root
	step := func(next *node) bool {
		if next != nil {
			n = next
		}
		return next != nil
	}
	item := func(i int) *node {
		if i < 0 || i >= len(n.items) {
			return nil
		}
		return n.items[i]
	}
	if step(root.get(p.list)) && (p.at < 0 || step(item(p.at))) && p.key != "" && step(n.get(p.key)) && p.sub >= 0 {
		step(item(p.sub))
	}
	return n.at
}

type reader struct{ *source }

// object checks that a value is an object with the keys of its kind.
func (r *reader) object(n *node, kind string) bool {
	if n.kind != '{' {
		r.fault(n.at, "not_an_object", "write { … } with its keys", "%s should be an object, and is %s", kind, n.kindName())
		return false
	}
	k := keysOf[kind]
	for i, key := range n.keys {
		if !slices.Contains(k.keys, key) {
			r.fault(n.keysAt[i], "unknown_key", "remove it, or use one of: "+strings.Join(k.keys, ", "), "%s has no key %q", kind, cut(key))
		}
	}
	ok := true
	for _, key := range k.keys[:k.must] {
		if n.get(key) == nil {
			r.fault(n.at, "key_missing", "add it", "this %s has no %q", kind, key)
			ok = false
		}
	}
	return ok
}

// list is the values of a list behind a key; none where the key is not there.
func (r *reader) list(n *node, key string) []*node {
	v := n.get(key)
	if v == nil {
		return nil
	}
	if v.kind != '[' {
		r.fault(v.at, "not_a_list", "write [ … ]", "%q should be a list, and is %s", key, v.kindName())
		return nil
	}
	return v.items
}

// asText is a text that is not empty, or "".
func (r *reader) asText(v *node, key string) string {
	if v.kind != 's' || v.text == "" || len(v.text) > 200 || strings.ContainsFunc(v.text, func(c rune) bool { return c < ' ' || c == 0x7f }) {
		r.fault(v.at, "not_a_text", "write 1 to 200 letters between quotation marks, on one line", "%q should be a text, and is %s", key, v.kindName())
		return ""
	}
	return v.text
}

func (r *reader) text(n *node, key string) string {
	if v := n.get(key); v != nil {
		return r.asText(v, key)
	}
	return ""
}

func texts[T ~string](r *reader, n *node, key string) []T {
	var out []T
	for _, v := range r.list(n, key) {
		out = append(out, T(r.asText(v, key)))
	}
	return out
}

func (r *reader) number(n *node, key string, or int) int {
	v := n.get(key)
	if v == nil {
		return or
	}
	if v.kind == 'n' {
		if i, err := strconv.ParseInt(v.text, 10, 32); err == nil && v.text != "-0" {
			return int(i)
		}
	}
	r.fault(v.at, "not_a_number", "write a whole number, without quotation marks", "%q should be a whole number, and is %s", key, v.kindName())
	return or
}

func (r *reader) flag(n *node, key string) bool {
	v := n.get(key)
	if v == nil {
		return false
	}
	if v.kind != 'b' {
		r.fault(v.at, "not_a_flag", "write true or false, without quotation marks", "%q should be true or false, and is %s", key, v.kindName())
	}
	return v.flag
}

// ParseMinute reads a time of day such as 18:30; 24:00 is the day's end.
func ParseMinute(s string) (Minute, bool) {
	if len(s) != 5 || s[2] != ':' {
		return 0, false
	}
	for _, i := range []int{0, 1, 3, 4} {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
	}
	h, m := int(s[0]-'0')*10+int(s[1]-'0'), int(s[3]-'0')*10+int(s[4]-'0')
	if m > 59 || h > 24 || h == 24 && m > 0 {
		return 0, false
	}
	return Minute(h*60 + m), true
}

func (r *reader) minute(n *node, key string) Minute {
	v := n.get(key)
	if v == nil {
		return 0
	}
	if v.kind == 's' {
		if m, ok := ParseMinute(v.text); ok {
			return m
		}
	}
	r.fault(v.at, "not_a_time", `write hours and minutes of the 24-hour day, such as "18:30"`, "%q should be a time of day, and is %s", key, v.kindName())
	return 0
}

// until is a time of day at which something ends; midnight is 24:00.
func (r *reader) until(n *node) Minute {
	if v := n.get("until"); v != nil && v.kind == 's' && v.text == "00:00" {
		r.fault(v.at, "not_a_time", `write "24:00" for the end of the day, or leave it out`, "\"until\" is 00:00, the day's first minute")
		return 0
	}
	return r.minute(n, "until")
}

func (r *reader) day(n *node, key string) rankwright.Day {
	v := n.get(key)
	if v == nil {
		return 0
	}
	if v.kind == 's' {
		if d, err := rankwright.ParseDay(v.text); err == nil {
			return d
		}
	}
	r.fault(v.at, "not_a_day", `write year-month-day, such as "2026-10-31"`, "%q should be a day of the calendar, and is %s", key, v.kindName())
	return 0
}

// word is the place of a text in a list of words.
func (r *reader) word(n *node, key string, words []string, or int) int {
	v := n.get(key)
	if v == nil {
		return or
	}
	if v.kind == 's' {
		if i := slices.Index(words, v.text); i >= 0 {
			return i
		}
	}
	r.fault(v.at, "unknown_word", "write one of: "+strings.Join(words, ", "), "%q is %s", key, v.kindName())
	return or
}

func (r *reader) format(n *node) {
	if v := n.get("format"); v != nil && (v.kind != 'n' || v.text != strconv.Itoa(Format)) {
		r.fault(v.at, "format", "use a version of the program that knows this format, or write the file anew", "\"format\" should be %d, and is %s", Format, v.kindName())
	}
}

func (r *reader) problem(n *node) *Problem {
	p := &Problem{Rules: DefaultRules(), Weights: DefaultWeights()}
	r.object(n, "problem")
	r.format(n)
	p.Ranks = texts[rankwright.RankID](r, n, "ranks")
	for _, v := range r.list(n, "sessions") {
		p.Sessions = append(p.Sessions, r.session(v))
	}
	for _, v := range r.list(n, "sittings") {
		p.Sittings = append(p.Sittings, r.sitting(v))
	}
	for _, v := range r.list(n, "households") {
		p.Households = append(p.Households, r.household(v))
	}
	for _, v := range r.list(n, "entries") {
		p.Entries = append(p.Entries, r.entry(v))
	}
	for _, v := range r.list(n, "examiners") {
		p.Examiners = append(p.Examiners, r.examiner(v))
	}
	if v := n.get("rules"); v != nil && r.object(v, "rules") {
		d := p.Rules
		p.Rules = Rules{Unanswered: Suits(r.word(v, "unanswered", suitsNames, int(d.Unanswered))), Pause: r.number(v, "pause", d.Pause),
			Rest: r.number(v, "rest", d.Rest), LittleAge: r.number(v, "little_age", d.LittleAge), LittleAfter: r.number(v, "little_after", d.LittleAfter)}
		if p.Rules.LittleClock = d.LittleClock; v.get("little_clock") != nil {
			p.Rules.LittleClock = r.minute(v, "little_clock")
		}
	}
	if v := n.get("weights"); v != nil && r.object(v, "weights") {
		for a := range p.Weights {
			p.Weights[a] = r.number(v, aimNames[a], p.Weights[a])
		}
	}
	return p
}

func (r *reader) session(n *node) (s Session) {
	if r.object(n, "session") {
		s = Session{ID: SessionID(r.text(n, "id")), Name: r.text(n, "name"), Day: r.day(n, "day"), Makeup: r.flag(n, "makeup"), Cost: r.number(n, "cost", 1)}
	}
	return s
}

func (r *reader) sitting(n *node) (s Sitting) {
	if r.object(n, "sitting") {
		s = Sitting{ID: SittingID(r.text(n, "id")), Session: SessionID(r.text(n, "session")), Mat: MatID(r.text(n, "mat")), Start: r.minute(n, "start"),
			Minutes: r.number(n, "minutes", 0), Least: r.number(n, "least", 1), Most: r.number(n, "most", 0), Panel: r.number(n, "panel", 1),
			Cost: r.number(n, "cost", 1), Ranks: texts[rankwright.RankID](r, n, "ranks"), Width: r.number(n, "width", 0),
			PanelFor: rankwright.RankID(r.text(n, "panel_for")), Hold: Hold(r.word(n, "hold", holdNames, 0)),
			Was: texts[rankwright.ExaminerID](r, n, "was_panel")}
		if v := n.get("ranks"); v != nil && v.kind == '[' && len(v.items) == 0 {
			r.fault(v.at, "list_empty", "leave it out where every rank may come, or name those that may", "\"ranks\" is an empty list")
		}
	}
	return s
}

func (r *reader) household(n *node) (h Household) {
	if r.object(n, "household") {
		h = Household{ID: rankwright.HouseholdID(r.text(n, "id")), Name: r.text(n, "name"), From: r.minute(n, "from"), Until: r.until(n), MayMove: r.flag(n, "may_move")}
		for _, v := range r.list(n, "answers") {
			if r.object(v, "answer") {
				h.Answers = append(h.Answers, Answer{Session: SessionID(r.text(v, "session")), Suits: Suits(r.word(v, "suits", suitsNames, 0)),
					Points: r.number(v, "points", 0), From: r.minute(v, "from"), Until: r.until(v)})
			}
		}
	}
	return h
}

func (r *reader) entry(n *node) (e Entry) {
	if r.object(n, "entry") {
		e = Entry{ID: rankwright.EntryID(r.text(n, "id")), Name: r.text(n, "name"), Household: rankwright.HouseholdID(r.text(n, "household")),
			Rank: rankwright.RankID(r.text(n, "rank")), Age: r.number(n, "age", 0), Locked: SittingID(r.text(n, "locked")), MustPlace: r.flag(n, "must_place"),
			Was: SittingID(r.text(n, "was")), Told: r.flag(n, "told"), Asked: r.number(n, "asked", 0)}
	}
	return e
}

func (r *reader) examiner(n *node) (x Examiner) {
	if r.object(n, "examiner") {
		x = Examiner{ID: rankwright.ExaminerID(r.text(n, "id")), Name: r.text(n, "name"), Highest: rankwright.RankID(r.text(n, "highest")),
			Mats: texts[MatID](r, n, "mats"), Own: texts[rankwright.HouseholdID](r, n, "own"), MostSession: r.number(n, "most_session", 0),
			MostDay: r.number(n, "most_day", 0), InARow: r.number(n, "in_a_row", 0)}
		for _, v := range r.list(n, "there") {
			if r.object(v, "presence") {
				x.There = append(x.There, Presence{Session: SessionID(r.text(v, "session")), From: r.minute(v, "from"), Until: r.until(v)})
			}
		}
		if v := n.get("mats"); v != nil && v.kind == '[' && len(v.items) == 0 {
			r.fault(v.at, "list_empty", "leave it out where they examine on every mat, or name those on which they do", "\"mats\" is an empty list")
		}
	}
	return x
}
