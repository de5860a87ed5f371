package decide_test

import (
	"flag"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"rankwright"
	"rankwright/decide"
	"rankwright/scoring"
	"rankwright/syllabus"
)

var update = flag.Bool("update", false, "write the outcomes of docs/rules.md anew; read them before you commit")

const rulesFile = "../docs/rules.md"

// An example of docs/rules.md: a name in a comment and three blocks.
var exampleForm = regexp.MustCompile("(?s)<!-- example: ([^\n]*) -->\n```yaml\n(.*?)```\n```marks\n(.*?)```\n```outcome\n(.*?)```")

// Every example of docs/rules.md comes out as the page says.
func TestTheRulesPage(t *testing.T) {
	page, err := os.ReadFile(rulesFile)
	if err != nil {
		t.Fatal(err)
	}
	text := string(page)
	_, head, _ := strings.Cut(text, "```yaml\n")
	head, _, _ = strings.Cut(head, "```")
	found := exampleForm.FindAllStringSubmatch(text, -1)
	if n := strings.Count(text, "<!-- example:"); n != len(found) || n < 15 {
		t.Fatalf("%d of %d examples can be read", len(found), n)
	}
	for _, m := range found {
		t.Run(m[1], func(t *testing.T) {
			s := fragment(t, head, m[2])
			j, err := decide.Compile(s, "yellow")
			if err != nil {
				t.Fatal(err)
			}
			got := told(j, telling(t, s, j, m[3]))
			if *update {
				text = strings.Replace(text, m[0], strings.Replace(m[0], "```outcome\n"+m[4]+"```", "```outcome\n"+got+"```", 1), 1)
			} else if got != m[4] {
				t.Errorf("comes out as\n%s\nbut the page says\n%s", got, m[4])
			}
		})
	}
	if *update {
		if err := os.WriteFile(rulesFile, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// fragment makes a file of a head and a fragment: asks and bonus_cap belong
// to its one rank, everything else to the top.
func fragment(t testing.TB, head, body string) *syllabus.Syllabus {
	t.Helper()
	top, rank, inRank := "", "", false
	for line := range strings.Lines(body) {
		if line[0] != ' ' {
			inRank = strings.HasPrefix(line, "asks:") || strings.HasPrefix(line, "bonus_cap:")
		}
		if inRank {
			rank += "    " + line
		} else {
			top += line
		}
	}
	s, err := syllabus.Parse("fragment", []byte(head+top+"ranks:\n  - id: yellow\n"+rank))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// telling reads a case: one fact a line.
func telling(t testing.TB, s *syllabus.Syllabus, j *decide.Judge, text string) decide.Case {
	t.Helper()
	c := decide.Case{Entry: "entry", Day: rankwright.MustDay("2026-10-10"), Band: -1}
	before := &decide.Before{}
	var marks []scoring.Mark
	number := func(w string) int {
		n, err := strconv.Atoi(w)
		if err != nil {
			t.Fatalf("%q is no number", w)
		}
		return n
	}
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, "#")
		w := strings.Fields(line)
		if len(w) == 0 {
			continue
		}
		rest := strings.Join(w[1:], " ")
		switch w[0] {
		case "age":
			c.Band = s.Band(number(w[1]))
		case "day":
			c.Day = rankwright.MustDay(w[1])
		case "lead":
			c.Lead = rankwright.ExaminerID(w[1])
		case "retries":
			c.Retries = number(w[1])
		case "waived":
			c.Waived = append(c.Waived, rankwright.RequirementID(w[1]))
		case "signed":
			c.Met = append(c.Met, rankwright.ClearanceID(w[1]))
		case "kept": // kept kick 2 until 2026-10-10
			c.Kept = append(c.Kept, decide.Kept{Requirement: rankwright.RequirementID(w[1]), Value: rankwright.Whole(number(w[2])), Until: rankwright.MustDay(w[4])})
		case "weak": // weak before kick
			before.Weak = append(before.Weak, rankwright.RequirementID(w[2]))
			before.WeakSections = append(before.WeakSections, rankwright.SectionID(w[2]))
			c.Before = before
		case "label": // label before provisional
			before.Labels = append(before.Labels, strings.Join(w[2:], " "))
			c.Before = before
		case "absent":
			c.Presence = decide.Away
		case "unwell":
			c.Presence = decide.Unwell
		case "stopped":
			c.Presence = decide.Halted
		default:
			q := j.Rank().Requirement(rankwright.RequirementID(w[0]))
			if q == nil {
				t.Fatalf("no requirement %q", w[0])
			}
			try := 1
			if w[1] == "try" {
				try, rest = number(w[2]), strings.Join(w[3:], " ")
			}
			for one := range strings.SplitSeq(rest, ", ") {
				who, value, named := strings.Cut(one, " ")
				if !named {
					who, value = "lead", who
				}
				v, err := scoring.ParseValue(q, value)
				if err != nil {
					t.Fatal(err)
				}
				marks = append(marks, scoring.Mark{Requirement: q.ID, Examiner: rankwright.ExaminerID(who), Try: try, Value: v, Clock: int64(len(marks) + 1)})
			}
		}
	}
	c.Card = j.Fold(marks)
	return c
}

// told writes an outcome as the page has it.
func told(j *decide.Judge, c decide.Case) string {
	v := j.Decide(c)
	var b strings.Builder
	b.WriteString(strings.ReplaceAll(v.Outcome.String(), "_", " "))
	if v.Label != "" {
		fmt.Fprintf(&b, " (%s)", v.Label)
	}
	b.WriteByte('\n')
	d := v.Document()
	line := func(r decide.ReasonDocument) {
		fmt.Fprintf(&b, "%s: asked %s; shown %s; %s\n", r.Rule, r.Asked, r.Shown, map[bool]string{true: "met", false: "not met"}[r.Met])
	}
	for _, r := range d.Reasons {
		line(r)
		for _, p := range r.Parts {
			line(p)
		}
		for _, s := range r.Short {
			fmt.Fprintf(&b, "  %s: asked %s; shown %s", s.ID, s.Asked, s.Shown)
			if s.Forgiven {
				b.WriteString("; forgiven")
			}
			b.WriteByte('\n')
		}
	}
	if len(d.Missing) > 0 {
		fmt.Fprintf(&b, "missing: %v\n", d.Missing)
	}
	if len(d.ToShow) > 0 {
		fmt.Fprintf(&b, "to show again: %s", strings.Join(d.ToShow, ", "))
		if d.ShowUntil != 0 {
			fmt.Fprintf(&b, ", until %s", d.ShowUntil)
		}
		b.WriteByte('\n')
	}
	if d.FollowUp != 0 {
		fmt.Fprintf(&b, "follow up: until %s\n", d.FollowUp)
	}
	for _, l := range d.SecondLook {
		fmt.Fprintf(&b, "second look: %s", l.Why)
		if l.Requirement != "" {
			fmt.Fprintf(&b, " %s", l.Requirement)
		}
		if l.From != "" && l.To != "" {
			fmt.Fprintf(&b, " %s to %s", l.From, l.To)
		}
		if l.Would != "" {
			fmt.Fprintf(&b, ": %s", strings.ReplaceAll(l.Would, "_", " "))
		}
		if l.Ask != "" {
			fmt.Fprintf(&b, ": %s", l.Ask)
		}
		b.WriteByte('\n')
	}
	if x := j.Change(c); x.Possible {
		fmt.Fprintf(&b, "%s\n", x.Words())
	}
	return b.String()
}
