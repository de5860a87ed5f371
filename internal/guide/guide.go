// Package guide words the guide of a rank for families: what is asked, how
// much of it is enough, and what comes later, in the language of the reader.
// What the school wrote itself is taken from the syllabus as it is handed in,
// which may be a translated one. Pages and papers show the same Sheet.
package guide

import (
	"strings"

	"rankwright"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

// Sheet is the guide of one rank, in sentences.
type Sheet struct {
	Rank             rankwright.RankID
	Lang             words.Lang
	Title, Lead      string
	RankName         string
	Belt             syllabus.Belt
	Sections         []Section
	Extras           *Section // nil where there are none
	Needed           *List    // clearances; nil where there are none
	Bring            *List    // the list at the door; nil where there is none
	Levels           []Levels
	LevelsHead       string
	Pass             []Result
	PassHead         string
	Cautions         *Cautions // nil where nothing needs one
	Next             *Next
	MustWord, Foot   string
	ShowWord         string // unfolds what comes next
	ClipWord, NoClip string // that there is a clip, on paper; that it cannot be played, on a page
}

// Section is a group of things asked.
type Section struct {
	ID       rankwright.SectionID
	Name     string
	Note     string
	Pictures []Picture
	Asked    []Asked
}

// Asked is one requirement.
type Asked struct {
	ID        rankwright.RequirementID
	Show      string
	Must      bool
	Enough    []string // how much of it is enough, a line for each age that differs
	Notes     []string
	Parts     []string
	PartsHead string
	Ordered   bool // the parts come in this order
	Later     []string
	Pictures  []Picture
}

// Picture is a picture or a short clip that the school added.
type Picture struct {
	ID            string
	Clip          bool
	Type          string // such as image/jpeg
	Width, Height int
	Alt, Caption  string
}

// List is a heading with lines under it.
type List struct {
	Head, Note string
	Lines      []string
}

// Levels is what the levels of one scale look like.
type Levels struct {
	Name  string
	Lines []string
}

// Result is one line of the pass rule.
type Result struct {
	Head  string
	Lines []string
	After []string
}

// Cautions are the usual ones for practice at home, local rules first.
type Cautions struct {
	Title, Local string
	Lines        []string
	People       string
}

// Next is what comes at the rank after this one.
type Next struct {
	Rank       rankwright.RankID
	Head, Note string
	Sections   []Section
}

// School is what the school itself adds to every guide.
type School struct {
	Name             string
	Bring            []string // the list at the door
	Cautions, People string   // its own sentence and its first aider, first and last among the cautions
}

// Pictures finds what the school added to a section or a requirement of the
// ladder; the one that is not asked about is "".
type Pictures func(rankwright.SectionID, rankwright.RequirementID) []Picture

// New words the guide of a rank; pictures may be nil. It is nil where the
// ladder has no such rank.
func New(say *words.Say, s *syllabus.Syllabus, rank rankwright.RankID, sc School, pictures Pictures) *Sheet {
	g := syllabus.NewGuide(s, rank)
	if g == nil {
		return nil
	}
	if pictures == nil {
		pictures = func(rankwright.SectionID, rankwright.RequirementID) []Picture { return nil }
	}
	w := worder{say, s, pictures}
	of := words.Set{Name: "Rank", Value: g.Rank.Name}
	x := &Sheet{Rank: rank, Lang: say.Lang(), Title: say.It("rank.title", of), Lead: say.It("rank.lead"), RankName: g.Rank.Name, Belt: g.Rank.Belt,
		MustWord: say.It("guide.must"), ShowWord: say.It("rank.show"), ClipWord: say.It("rank.clip"), NoClip: say.It("rank.no-clip"), PassHead: say.It("rank.pass"), Foot: s.Name}
	if sc.Name != "" {
		x.Foot = sc.Name + " · " + s.Name
	}
	for _, sec := range g.Sections {
		x.Sections = append(x.Sections, w.section(sec, true))
	}
	if len(g.Extras) > 0 {
		sec := w.section(syllabus.GuideSection{Items: g.Extras}, true)
		sec.Name, sec.Note = say.It("guide.extras"), say.It("guide.extras-what")
		if g.Rank.BonusCap > 0 {
			sec.Note += " " + say.It("rank.extras-cap", words.Set{Name: "Points", Value: w.points(g.Rank.BonusCap)})
		}
		x.Extras = &sec
	}
	x.Needed = w.needed(g)
	if len(sc.Bring) > 0 {
		x.Bring = &List{Head: say.It("guide.bring"), Lines: sc.Bring}
	}
	if len(g.Scales) > 0 {
		x.LevelsHead = say.It("rank.levels")
	}
	for _, scale := range g.Scales {
		x.Levels = append(x.Levels, levels(scale))
	}
	x.Pass = w.pass(&g.Rank.Pass)
	x.Cautions = cautions(say, g.Cautions, sc)
	if g.Next != nil && len(g.New) > 0 {
		x.Next = &Next{Rank: g.Next.ID, Head: say.It("rank.next", words.Set{Name: "Rank", Value: g.Next.Name}), Note: say.It("rank.next-what")}
		for _, sec := range g.New {
			x.Next.Sections = append(x.Next.Sections, w.section(sec, false))
		}
	}
	return x
}

type worder struct {
	say      *words.Say
	s        *syllabus.Syllabus
	pictures Pictures
}

func (w worder) section(g syllabus.GuideSection, whole bool) Section {
	x := Section{ID: g.Section.ID, Name: g.Section.Name}
	if whole && x.ID != "" {
		x.Pictures = w.pictures(x.ID, "")
	}
	for _, item := range g.Items {
		if whole {
			x.Asked = append(x.Asked, w.asked(item))
		} else {
			x.Asked = append(x.Asked, Asked{ID: item.ID, Show: item.Show, Must: item.Must})
		}
	}
	return x
}

func (w worder) asked(q syllabus.GuideItem) Asked {
	x := Asked{ID: q.ID, Show: q.Show, Must: q.Must, Enough: w.enough(q.Requirement, q.Enough), Parts: q.Parts, Pictures: w.pictures("", q.ID)}
	if len(q.Parts) > 0 {
		x.PartsHead, x.Ordered = w.say.It("rank.list"), q.Kind == syllabus.Steps
		if x.Ordered {
			x.PartsHead = w.say.It("rank.steps")
		}
	}
	note := func(s string) { x.Notes = append(x.Notes, s) }
	switch q.Kind {
	case syllabus.Timed:
		note(w.say.It("rank.clock"))
	case syllabus.Consent:
		note(w.say.It("rank.consent"))
	case syllabus.Leveled:
		if q.Scale.Name != "" {
			note(w.say.It("rank.scale", words.Set{Name: "Scale", Value: q.Scale.Name}))
		}
	}
	if len(q.Credit) > 1 {
		note(w.say.It("rank.part"))
	}
	if q.Points > 0 {
		note(w.say.It("rank.worth", words.Set{Name: "Points", Value: w.points(q.Points)}))
	}
	if q.Tries > 1 {
		note(w.say.Many([]words.Key{syllabus.KeepBest: "rank.tries.best", syllabus.KeepLast: "rank.tries.last", syllabus.KeepFirst: "rank.tries.first"}[q.Keep], q.Tries))
	}
	if q.Themed {
		note(w.say.It("rank.themed"))
	}
	if q.Before {
		note(w.say.It("guide.before"))
	}
	if !homely(q.Cautions) {
		note(w.say.It("rank.in-class"))
	}
	for _, l := range q.Later {
		x.Later = append(x.Later, w.later(q.Requirement, l))
	}
	return x
}

// homely says whether nothing among the cautions keeps it for class.
func homely(cs []syllabus.Caution) bool {
	for _, c := range cs {
		if c != syllabus.Fitness {
			return false
		}
	}
	return true
}

// points says a number of points.
func (w worder) points(a rankwright.Amount) string {
	if a == rankwright.One {
		return w.say.It("rank.point")
	}
	return w.say.It("rank.points", words.Set{Name: "N", Value: a})
}

// enough says how much counts as shown: one line for everybody, or one for
// each age that differs.
func (w worder) enough(q *syllabus.Requirement, spans []syllabus.Span) (out []string) {
	for _, sp := range spans {
		much := Enough(w.say, q, sp.Want)
		if much == "" {
			continue
		}
		switch {
		case sp.From == 0 && sp.To == 0:
		case sp.From == sp.To:
			much = w.say.It("rank.at-age", words.Set{Name: "Age", Value: sp.From}, words.Set{Name: "Much", Value: much})
		default:
			much = w.say.It("rank.at-ages", words.Set{Name: "From", Value: sp.From}, words.Set{Name: "To", Value: sp.To}, words.Set{Name: "Much", Value: much})
		}
		out = append(out, much)
	}
	return out
}

// later says what changes at a higher rank: other words, other amounts, or
// that it can no longer be made up for.
func (w worder) later(q *syllabus.Requirement, l syllabus.Growth) string {
	var parts []string
	if l.As.Show != q.Show {
		parts = append(parts, l.As.Show)
	}
	parts = append(parts, w.enough(l.As, l.Enough)...)
	if l.As.Must && !q.Must {
		parts = append(parts, w.say.It("guide.must"))
	}
	if len(parts) == 0 {
		parts = []string{l.As.Show}
	}
	return w.say.It("rank.later", words.Set{Name: "Rank", Value: l.Rank.Name}, words.Set{Name: "What", Value: strings.Join(parts, "; ")})
}

func (w worder) needed(g *syllabus.Guide) *List {
	if len(g.Clearances) == 0 {
		return nil
	}
	x := &List{Head: w.say.It("rank.needed"), Note: w.say.It("rank.needed-what")}
	for _, c := range g.Clearances {
		key := words.Key("rank.before-promotion")
		if c.Before == syllabus.BeforeEntry {
			key = "rank.before-entry"
		}
		x.Lines = append(x.Lines, w.say.It(key, words.Set{Name: "Name", Value: c.Name}))
	}
	return x
}

func levels(s *syllabus.Scale) Levels {
	x := Levels{Name: s.Name}
	for _, l := range s.Levels {
		x.Lines = append(x.Lines, rankwright.Whole(l.Value).String()+": "+l.Words)
	}
	return x
}

func cautions(say *words.Say, cs []syllabus.Caution, sc School) *Cautions {
	if len(cs) == 0 {
		return nil
	}
	x := &Cautions{Title: say.It("caution.title"), Local: sc.Cautions, Lines: CautionLines(say), People: sc.People}
	for _, c := range cs {
		if c == syllabus.Fitness {
			tired := say.It("plan.how-tired")
			if homely(cs) { // nothing of falls and partners: then nothing is said of them
				x.Title, x.Lines = say.It("rank.caution-effort"), []string{say.It("caution.first")}
			}
			x.Lines = append(x.Lines, tired)
		}
	}
	return x
}

// CautionLines are the usual cautions for falls and partner work at home.
func CautionLines(say *words.Say) []string { return say.FallCautions() }

// Enough says how much of a requirement counts as shown; "" where it is simply
// shown.
func Enough(say *words.Say, q *syllabus.Requirement, want rankwright.Amount) string {
	if want == 0 {
		return ""
	}
	n := words.Set{Name: "N", Value: want}
	of := words.Set{Name: "Of", Value: max(q.Of, len(q.Parts))}
	switch q.Kind {
	case syllabus.Steps, syllabus.Recall:
		kind := "expect." + q.Kind.String()
		if want == rankwright.Whole(max(q.Of, len(q.Parts))) {
			return say.It(words.Key(kind+".all"), of)
		}
		return say.It(words.Key(kind), n, of)
	case syllabus.Timed:
		if q.AtMost {
			return say.It("expect.time.most", n)
		}
		return say.It("expect.time", n)
	case syllabus.Count:
		switch {
		case q.AtMost:
			return say.It("expect.count.most", n)
		case q.Of > 0 && want == rankwright.Whole(q.Of):
			return say.It("expect.count.all", words.Set{Name: "Of", Value: q.Of})
		case q.Of > 0:
			return say.It("expect.count.of", n, words.Set{Name: "Of", Value: q.Of})
		}
		return say.It("expect.count", n)
	case syllabus.Leveled:
		if q.Scale != nil {
			for _, l := range q.Scale.Levels {
				if rankwright.Whole(l.Value) == want {
					return say.It("expect.level", words.Set{Name: "Words", Value: l.Words})
				}
			}
		}
	}
	return ""
}
