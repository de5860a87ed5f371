package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rankwright"
	"rankwright/decide"
	"rankwright/examples"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/scoring"
	"rankwright/syllabus"
)

// The same grading is judged three ways: by the app, as its pages show it; by
// the command line on files; and by the Go packages alone. Every verdict must
// come out the same to the letter, reasons and all.
func TestOneGradingThreeWays(t *testing.T) {
	_, a := clubBase(t)
	who := app.CommandLine()
	gradings, err := a.Gradings(t.Context(), who)
	if err != nil {
		t.Fatal(err)
	}
	if len(gradings) != 3 {
		t.Fatalf("%d gradings", len(gradings))
	}
	halfWay(t, a, gradings[0].ID)
	for _, g := range gradings {
		v, outcomes, err := a.Outcomes(t.Context(), who, g.ID)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(v.Title, func(t *testing.T) {
			facts := collect(t, a, who, v, outcomes)
			pages, seen := map[rankwright.EntryID]string{}, map[string]int{}
			for _, o := range outcomes {
				if len(o.Case.Kept) > 0 && o.Case.Kept[0].Until >= v.Day {
					// What stands from an earlier grading has no place in the
					// three files; that it counts is tested with the app.
					seen["kept"]++
					continue
				}
				seen[o.Verdict.Outcome.String()]++
				doc := o.Verdict.Document()
				doc.SecondLook = slices.DeleteFunc(doc.SecondLook, func(l decide.LookDocument) bool { return l.Why == decide.KeptEnded })
				pages[o.Entry.Entry.ID] = asText(t, doc)
			}
			t.Log(seen)
			if len(seen) < 3 || seen["kept"] > 1 {
				t.Errorf("these entries prove little: %v", seen)
			}
			for way, got := range map[string]map[rankwright.EntryID]string{"files": byFiles(t, v, facts), "packages": byPackages(t, v, facts)} {
				for id, want := range pages {
					if got[id] != want {
						t.Errorf("entry %s by %s:\n%s\nby the app:\n%s", id, way, got[id], want)
					}
				}
			}
		})
	}
}

// halfWay takes the coming grading to the mat and gives most of its marks.
func halfWay(t *testing.T, a *app.App, coming rankwright.GradingID) {
	t.Helper()
	who := app.CommandLine()
	if err := a.Move(t.Context(), who, coming, app.OnTheMat); err != nil {
		t.Fatal(err)
	}
	v, err := a.Grading(t.Context(), who, coming)
	if err != nil {
		t.Fatal(err)
	}
	times, err := a.Timetable(t.Context(), who, coming)
	if err != nil {
		t.Fatal(err)
	}
	own := map[string][]rankwright.HouseholdID{} // whose children an examiner does not mark
	for _, x := range times.Examiners {
		own[x.Person] = x.Own
	}
	r := rand.New(rand.NewPCG(7, 7))
	var marks []scoring.Mark
	for i, e := range v.Entries {
		if i%9 == 4 {
			if err := a.SetPresence(t.Context(), who, e.Entry.ID, "absent"); err != nil {
				t.Fatal(err)
			}
			continue
		}
		rank, _ := v.Syllabus.Rank(e.Rank)
		for k := range rank.Requirements {
			q := &rank.Requirements[k]
			if i%5 == 3 && k == 2 {
				continue // left open
			}
			for _, p := range v.Panel[:1+i%3] {
				if slices.Contains(own[p.Person], e.Student.Household) {
					continue
				}
				if most := p.HighestRank; most != "" {
					if _, place := v.Syllabus.Rank(rankwright.RankID(most)); place < placeOf(v.Syllabus, e.Rank) {
						continue
					}
				}
				n := q.Expected(v.Syllabus.Band(e.Age)).Int() + r.IntN(3) - 1
				if q.Kind == syllabus.Tick {
					n = min(1, r.IntN(9))
				}
				if value := scoring.N(max(0, n)); scoring.Can(q, value.Num) {
					marks = append(marks, scoring.Mark{Entry: e.Entry.ID, Requirement: q.ID, Examiner: rankwright.ExaminerID(p.Person), Value: value})
				}
			}
		}
	}
	for batch := range slices.Chunk(marks, 1000) {
		answers, err := a.AddMarks(t.Context(), who, coming, batch)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range answers {
			if !x.Stored {
				t.Fatalf("a mark was not stored: %+v", x)
			}
		}
	}
}

func placeOf(s *syllabus.Syllabus, id rankwright.RankID) int {
	_, place := s.Rank(id)
	return place
}

// fact is what the base knows of one entry.
type fact struct {
	entry      app.EntryView
	marks      []scoring.Mark
	clearances []store.ClearanceRecord
	waived     []string // of the grading and of the entry
}

func collect(t *testing.T, a *app.App, who app.Actor, v app.GradingView, outcomes []app.Outcome) []fact {
	t.Helper()
	var out []fact
	for _, o := range outcomes {
		f := fact{entry: o.Entry}
		x, err := a.ExportStudent(t.Context(), who, o.Entry.Student.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range x.Marks {
			if m.Entry == o.Entry.Entry.ID {
				f.marks = append(f.marks, m.Mark)
			}
		}
		for _, c := range x.Clearances {
			if c.Entry == o.Entry.Entry.ID {
				f.clearances = append(f.clearances, c)
			}
		}
		for _, w := range v.Waivers {
			if w.Rank == o.Entry.Rank && (w.Entry == "" || w.Entry == o.Entry.Entry.ID) {
				f.waived = append(f.waived, string(w.Requirement))
			}
		}
		out = append(out, f)
	}
	return out
}

func byPackages(t *testing.T, v app.GradingView, facts []fact) map[rankwright.EntryID]string {
	t.Helper()
	out := map[rankwright.EntryID]string{}
	for _, f := range facts {
		var waived []rankwright.RequirementID
		for _, w := range f.waived {
			waived = append(waived, rankwright.RequirementID(w))
		}
		j, err := decide.Compile(v.Syllabus, f.entry.Rank, waived...)
		if err != nil {
			t.Fatal(err)
		}
		c := decide.Case{Entry: f.entry.Entry.ID, Day: v.Day, Band: v.Syllabus.Band(f.entry.Age), Card: j.Fold(f.marks), Lead: rankwright.ExaminerID(v.Lead),
			Presence: map[string]decide.Presence{"absent": decide.Away, "unwell": decide.Unwell, "stopped": decide.Halted}[f.entry.Presence]}
		met := map[rankwright.ClearanceID]bool{}
		for _, cl := range f.clearances { // the later ones count
			met[cl.Clearance] = cl.Met
		}
		for id, ok := range met {
			if ok {
				c.Met = append(c.Met, id)
			}
		}
		verdict := j.Decide(c)
		out[c.Entry] = asText(t, verdict.Document())
	}
	return out
}

func byFiles(t *testing.T, v app.GradingView, facts []fact) map[rankwright.EntryID]string {
	t.Helper()
	entries := [][]string{{"entry", "rank", "age_on_day", "lead", "status", "waived"}}
	marks := [][]string{{"entry", "requirement", "examiner", "value", "at", "mark_id", "device", "seq", "note"}}
	clearances := [][]string{{"entry", "clearance", "met", "at"}}
	moment := func(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339Nano) }
	for _, f := range facts {
		id, status := string(f.entry.Entry.ID), f.entry.Presence
		if status == "expected" {
			status = "present"
		}
		entries = append(entries, []string{id, string(f.entry.Rank), strconv.Itoa(f.entry.Age), v.Lead, status, strings.Join(f.waived, " ")})
		rank, _ := v.Syllabus.Rank(f.entry.Rank)
		for _, m := range f.marks {
			marks = append(marks, []string{id, string(m.Requirement), string(m.Examiner), m.Value.Format(rank.Requirement(m.Requirement).Kind),
				moment(m.At), string(m.ID), string(m.Device), strconv.FormatInt(m.Seq, 10), m.Note})
		}
		for _, c := range f.clearances {
			clearances = append(clearances, []string{id, string(c.Clearance), map[bool]string{true: "yes", false: "no"}[c.Met], moment(int64(c.At))})
		}
	}
	dir := t.TempDir()
	text, err := examples.Files.ReadFile("otterlight.yaml")
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "syllabus.yaml"), text)
	for name, rows := range map[string][][]string{"entries.csv": entries, "marks.csv": marks, "clearances.csv": clearances} {
		var b bytes.Buffer
		if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, name), b.Bytes())
	}
	var stdout, stderr bytes.Buffer
	code := run(t.Context(), []string{"decide", "--syllabus", filepath.Join(dir, "syllabus.yaml"), "--entries", filepath.Join(dir, "entries.csv"),
		"--marks", filepath.Join(dir, "marks.csv"), "--clearances", filepath.Join(dir, "clearances.csv"), "--on", v.Day.String(), "--json"},
		strings.NewReader(""), &stdout, &stderr)
	if code != done || stderr.Len() > 0 {
		t.Fatalf("decide ended with %d: %s", code, stderr.String())
	}
	var doc struct{ Entries []json.RawMessage }
	if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	out := map[rankwright.EntryID]string{}
	for _, raw := range doc.Entries {
		var e decide.EntryDocument
		if err := json.Unmarshal(raw, &e); err != nil {
			t.Fatal(err)
		}
		out[e.Entry] = string(raw)
	}
	return out
}

func asText(t *testing.T, doc decide.EntryDocument) string {
	t.Helper()
	b, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
