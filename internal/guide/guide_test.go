package guide_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/guide"
	"rankwright/internal/paper"
	"rankwright/internal/words"
	"rankwright/syllabus"
)

func parsed(t *testing.T, file string) *syllabus.Syllabus {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	s, err := syllabus.Parse(file, text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// texts lists every text within a value.
func texts(v reflect.Value) (out []string) {
	switch v.Kind() {
	case reflect.String:
		out = append(out, v.String())
	case reflect.Pointer:
		if !v.IsNil() {
			out = texts(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			out = append(out, texts(v.Field(i))...)
		}
	case reflect.Slice:
		for i := range v.Len() {
			out = append(out, texts(v.Index(i))...)
		}
	}
	return out
}

var school = guide.School{Name: "Otterlight", Bring: []string{"Hands are clean"}, Cautions: "Our own rule comes first.", People: "First aider: Perpetua Okwuosah"}

// Whatever a syllabus of the examples asks, its guide is whole sentences in each
// language, with every requirement that is asked in it once.
func TestEveryExampleHasGuidesInWholeSentences(t *testing.T) {
	unsaid := regexp.MustCompile(`\{\{|<no value>|%!|^(rank|pass|guide|expect|caution|plan)\.[a-z]|“”|\s$|  |: *$`)
	ranks := 0
	for _, pattern := range []string{"../../examples/*.yaml", "../../examples/rules/*.yaml", "../../examples/regulations/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatal(pattern, err)
		}
		for _, file := range files {
			if text, err := os.ReadFile(file); err != nil || syllabus.IsTranslation(text) {
				continue
			}
			s := parsed(t, file)
			for i := range s.Ranks {
				ranks++
				k := &s.Ranks[i]
				for _, l := range words.Langs() {
					x := guide.New(words.In(l), s, k.ID, school, nil)
					shown := map[rankwright.RequirementID]int{}
					sections := x.Sections
					if x.Extras != nil {
						sections = append(sections, *x.Extras)
					}
					for _, sec := range sections {
						for _, a := range sec.Asked {
							shown[a.ID]++
						}
					}
					for _, q := range k.Requirements {
						want := 1
						if q.ForRelease {
							want = 0
						}
						if shown[q.ID] != want {
							t.Errorf("%s, %s, %s: %s stands there %d times, want %d", file, k.Name, l, q.ID, shown[q.ID], want)
						}
					}
					if len(x.Pass) < 2 {
						t.Errorf("%s, %s: the pass rule is not said: %v", file, k.Name, x.Pass)
					}
					for _, line := range texts(reflect.ValueOf(*x)) {
						if head := strings.HasSuffix(line, ":"); unsaid.MatchString(line) && !head {
							t.Errorf("%s, %s, %s: %q", file, k.Name, l, line)
						}
					}
				}
			}
		}
	}
	if ranks < 60 {
		t.Errorf("only %d ranks were looked at", ranks)
	}
}

const rules = `rankwright: syllabus 1
ladder: kids
name: Kids
sections: {KI: Kicks, FA: Falls, TH: Theme}
ranks:
  - id: white
    name: White
    bonus_cap: 1
    asks:
      - {id: k1, section: KI, show: Front kick, kind: tick, points: 4, must: yes}
      - {id: k2, section: KI, show: Side kick, kind: tick, points: 4}
      - {id: f1, section: FA, show: Falls back, kind: tick, points: 4, must: yes}
      - {id: t1, section: TH, show: A talk, kind: tick, points: 4}
      - {id: b1, section: KI, show: Helped, kind: tick, points: 1, bonus: yes}
    pass:
      conditions:
        musts: {name: M, musts: all}
        total: {name: T, total: {at_least: 70%}}
        base: {name: B, total: {at_least: 9, bonus: does not count}}
        sections: {name: S, sections: {at_least: 50%, except: [TH], may_fall_short: {up_to: 1, at_least: 40%, never: [FA]}}}
      results:
        - {outcome: promoted, label: gold, when: [musts, base]}
        - {outcome: promoted, when: [musts, total]}
        - {outcome: promoted, label: later, when: [sections], follow_up: 14 days}
        - {outcome: not yet, show_again: what was short, within: 1 day}
`

func TestThePassRuleIsSaidInPlainWordsTheUsualOneFirst(t *testing.T) {
	s, err := syllabus.Parse("kids.yaml", []byte(rules))
	if err != nil {
		t.Fatal(err)
	}
	want := []guide.Result{
		{Head: "The rank is given when all of this holds:", Lines: []string{"What is always needed: shown as it is asked", "At least 70% of the points for everything that is asked, extras included"}},
		{Head: "“gold”, when all of this holds:", Lines: []string{"What is always needed: shown as it is asked", "At least 9 points for everything that is asked, extras left aside"}},
		{Head: "“later”, when all of this holds:", Lines: []string{"At least 50% of the points in every section, except “Theme”; up to 1 may fall short, but not below 40% of the points, and never “Falls”"},
			After: []string{"What was short is looked at once more within 14 days; the certificate comes then."}},
		{Head: "When it is not enough yet:", Lines: []string{"Only what was short is shown again. That is possible within one day; the rest stands until then."}},
	}
	if got := guide.New(words.In(words.English), s, "white", guide.School{}, nil).Pass; !reflect.DeepEqual(got, want) {
		t.Errorf("it is said as\n%q\nwant\n%q", got, want)
	}
}

func TestAGuideSaysHowMuchIsEnoughAndWhatComesLater(t *testing.T) {
	s := parsed(t, "../../examples/otterlight.yaml")
	x := guide.New(words.In(words.English), s, "amber", school, nil)
	find := func(id rankwright.RequirementID) guide.Asked {
		for _, sec := range x.Sections {
			for _, a := range sec.Asked {
				if a.ID == id {
					return a
				}
			}
		}
		t.Fatalf("%s is not there", id)
		return guide.Asked{}
	}
	belt := find("AM-KB2")
	if strings.Join(belt.Enough, "|") != "aged 6 to 7: at least the first 4 of 6 steps in the right order|aged 8 to 10: at least the first 5 of 6 steps in the right order|aged 11 to 15: all 6 steps in the right order" {
		t.Errorf("the belt: %q", belt.Enough)
	}
	if !belt.Ordered || len(belt.Parts) != 6 || belt.PartsHead != "The steps in their order" {
		t.Errorf("its steps: %+v", belt)
	}
	if len(belt.Later) == 0 || !strings.HasPrefix(belt.Later[0], "later, at Slate: ") {
		t.Errorf("what comes later: %q", belt.Later)
	}
	fall := find("AM-BF1")
	if !fall.Must || !strings.Contains(strings.Join(fall.Notes, " "), "practised in class only") {
		t.Errorf("a fall: %+v", fall)
	}
	if x.Cautions == nil || x.Cautions.Local != school.Cautions || x.Cautions.People != school.People || len(x.Cautions.Lines) != 6 {
		t.Errorf("the cautions: %+v", x.Cautions)
	}
	if x.Next == nil || x.Next.Rank != "slate" {
		t.Errorf("what comes next: %+v", x.Next)
	}
	if guide.New(words.In(words.English), s, "indigo", school, nil).Next != nil {
		t.Error("something comes after the highest rank")
	}
	if guide.New(words.In(words.English), s, "black", school, nil) != nil {
		t.Error("a rank that is not there has a guide")
	}
}

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		t.Fatalf("%s: %v (Debian packages poppler-utils and qpdf)", name, err)
	}
	return string(out)
}

// On paper everything is there, read back by poppler and qpdf: the words, the
// picture with what it shows, a line for the clip, a way through the headings.
func TestAGuideOnPaperIsReadBackWhole(t *testing.T) {
	s := parsed(t, "../../examples/otterlight.yaml")
	var pic bytes.Buffer
	if err := jpeg.Encode(&pic, image.NewRGBA(image.Rect(0, 0, 90, 60)), nil); err != nil {
		t.Fatal(err)
	}
	pictures := func(sec rankwright.SectionID, q rankwright.RequirementID) []guide.Picture {
		switch {
		case sec == "KI":
			return []guide.Picture{{ID: "p", Alt: "The knee comes first", Caption: "From the side", Type: "image/jpeg"}, {ID: "gone", Alt: "lost"}}
		case q == "AM-BF1":
			return []guide.Picture{{ID: "c", Clip: true, Alt: "A fall"}, {ID: "p", Alt: "Chin tucked"}}
		}
		return nil
	}
	data := func(id string) []byte {
		if id == "p" {
			return pic.Bytes()
		}
		return nil
	}
	for _, tt := range []struct {
		lang  words.Lang
		sheet paper.Sheet
		size  string
		clip  string
	}{{words.English, paper.A4, "595.276 x 841.89 pts (A4)", "There is a short clip of this on the page."}, {words.Spanish, paper.Letter, "612 x 792 pts (letter)", "En la página hay un vídeo corto de esto."}} {
		say := words.In(tt.lang)
		x := guide.New(say, s, "amber", school, pictures)
		var b bytes.Buffer
		if err := paper.WriteGuides(&b, x.Title, []paper.Guide{x.Paper(data)}, paper.Options{Paper: tt.sheet, Lang: string(tt.lang), PageOf: guide.PageOf(say)}); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "guide.pdf")
		if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if keep := os.Getenv("RANKWRIGHT_KEEP"); keep != "" {
			if err := os.WriteFile(filepath.Join(keep, "guide-"+string(tt.lang)+".pdf"), b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if out := tool(t, "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") {
			t.Errorf("qpdf: %s", out)
		}
		if out := tool(t, "pdfinfo", file); !strings.Contains(out, tt.size) || !strings.Contains(out, "Tagged:          yes") {
			t.Errorf("pdfinfo: %s", out)
		}
		flat := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
		text := flat(tool(t, "pdftotext", "-enc", "UTF-8", "-raw", file, "-"))
		text = regexp.MustCompile(`(`+flat(school.Name+" · "+s.Name)+` )?(page|página) \d+ (of|de) \d+( `+flat(x.Title)+`)?`).ReplaceAllString(text, "")
		text = strings.Join(strings.Fields(text), " ")
		for _, sec := range x.Sections {
			for _, a := range sec.Asked {
				for _, line := range append(append([]string{a.Show}, a.Enough...), a.Parts...) {
					if !strings.Contains(text, flat(line)) {
						t.Errorf("%s: on paper there is no %q", tt.lang, line)
					}
				}
			}
		}
		for _, line := range []string{tt.clip, "From the side", school.Cautions, school.People, x.PassHead, x.Next.Head} {
			if !strings.Contains(text, flat(line)) {
				t.Errorf("%s: on paper there is no %q", tt.lang, line)
			}
		}
		if strings.Contains(text, "coach note") {
			t.Error("what is for the school alone is on paper")
		}
		if out := tool(t, "pdfimages", "-list", file); strings.Count(out, " jpeg ") != 2 || strings.Count(out, "90    60") != 2 {
			t.Errorf("pdfimages: %s", out)
		}
		if out := tool(t, "pdfinfo", "-struct", file); strings.Count(out, "Figure") != 2 || !strings.Contains(out, "H1") || !strings.Contains(out, "LBody") {
			t.Errorf("the structure: %s", out)
		}
		raw := tool(t, "qpdf", "--qdf", "--object-streams=disable", file, "-")
		for _, want := range []string{"/Alt (The knee comes first)", "/Alt (Chin tucked)", "/Type /Outlines", "/Title (Amber)"} {
			if !strings.Contains(raw, want) {
				t.Errorf("%s: the file does not hold %q", tt.lang, want)
			}
		}
	}
}

// A list that is longer than a page goes on on the next, and a picture that is
// none is told before anything is printed.
func TestALongGuideGoesOnAndABadPictureIsTold(t *testing.T) {
	long := paper.Guide{Title: "Guide to Amber", Rank: "Amber", Must: "always needed", Parts: []paper.GuidePart{{Head: "Kicks", Asked: []paper.GuideAsked{{Show: "The long form", PartsHead: "The steps", Ordered: true}}}}}
	for range 150 {
		long.Parts[0].Asked[0].Parts = append(long.Parts[0].Asked[0].Parts, "a step")
	}
	var b bytes.Buffer
	if err := paper.WriteGuides(&b, "t", []paper.Guide{long}, paper.Options{}); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "long.pdf")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(tool(t, "pdftotext", file, "-"), "a step"); n != 150 {
		t.Errorf("%d of 150 steps are on paper", n)
	}
	if out := tool(t, "pdfinfo", file); !regexp.MustCompile(`Pages: +[34]\n`).MatchString(out) {
		t.Errorf("%s", out)
	}
	long.Parts[0].Pictures = []paper.GuidePicture{{Data: []byte("hello"), Alt: "A kick"}}
	b.Reset()
	if err := paper.WriteGuides(&b, "t", []paper.Guide{long}, paper.Options{}); err == nil || !strings.Contains(err.Error(), "A kick") || b.Len() > 0 {
		t.Errorf("%v, and %d bytes", err, b.Len())
	}
	if err := paper.WriteGuides(&b, "t", nil, paper.Options{}); err == nil {
		t.Error("no guide is printed")
	}
}
