package wording_test

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"rankwright"
	"rankwright/internal/wording"
	"rankwright/internal/words"
)

func TestEveryUsualWordingIsInOrderAndNamesOnlyWhatItMay(t *testing.T) {
	for _, k := range wording.Kinds() {
		if k.Title() == "" || k.When() == "" || len(k.Fields()) == 0 {
			t.Errorf("%s says nothing of itself", k)
		}
		for _, l := range words.Langs() {
			w, err := wording.Usual(k, l)
			if err != nil {
				t.Errorf("%s in %s: %v", k, l, err)
				continue
			}
			f, err := w.Fill(wording.Example(k, l))
			if err != nil {
				t.Errorf("%s in %s: %v", k, l, err)
				continue
			}
			if text := f.Subject + "\n" + f.Plain(); strings.ContainsAny(text, "{}") || strings.Contains(text, "wording.") {
				t.Errorf("%s in %s has something left in it:\n%s", k, l, text)
			}
			// A family of which nothing but the sure is known gets a whole text.
			least := wording.Example(k, l)
			for _, x := range k.Fields() {
				if !x.Sure {
					delete(least, x.Name)
				}
			}
			if f, err = w.Fill(least); err != nil || len(f.Blocks) == 0 {
				t.Errorf("%s in %s with the sure fields only: %v", k, l, err)
			}
		}
	}
}

func TestAWordingThatIsNotInOrderIsRefusedWithItsPlace(t *testing.T) {
	good := wording.Default(wording.NotYet, words.English)
	for _, tt := range []struct {
		name, subject, body string
		kind                wording.Kind
		in                  string
		line, column        int
		code, do            string
	}{
		{"a slip in a name", "", "A\nB {agian}", wording.NotYet, "text", 2, 3, "no_field", "did you mean {again}?"},
		{"a name in capitals", "", "{Again}", wording.NotYet, "text", 1, 1, "no_field", "did you mean {again}?"},
		{"a field of another kind", "", "{again} {link}", wording.NotYet, "text", 1, 9, "no_field", "write one of {child}, "},
		{"columns count characters", "", "äöü€ {x}", wording.NotYet, "text", 1, 6, "no_field", ""},
		{"a brace that is not closed", "", "{again}\nand {child and", wording.NotYet, "text", 2, 5, "open_brace", "write }"},
		{"a brace in a brace", "", "{aga{again}", wording.NotYet, "text", 1, 1, "open_brace", "write }"},
		{"a brace that closes nothing", "", "{again} }", wording.NotYet, "text", 1, 9, "no_brace", "take it away"},
		{"an empty brace", "", "{again} {}", wording.NotYet, "text", 1, 9, "no_field", "write one of"},
		{"no link in a message that is for one", "Hello", "Dear {children}", wording.Link, "text", 0, 0, "needed", "write {link}"},
		{"not what is shown again", "", "Dear family", wording.NotYet, "text", 0, 0, "needed", "write {again}"},
		{"nothing at all", "", " \n\n ", wording.NotYet, "text", 1, 1, "empty", "write something"},
		{"no line at the top", " ", "{again}", wording.NotYet, "subject", 1, 1, "empty", "write what it is about"},
		{"two lines at the top", "A\nBcc: x", "{again}", wording.NotYet, "subject", 2, 1, "many_lines", "write it in one line"},
		{"a list at the top", "{well}", "{again}", wording.NotYet, "subject", 1, 1, "not_here", "name it further down"},
		{"the link at the top", "See {link}", "{link}", wording.Link, "subject", 1, 5, "not_here", "name it further down"},
		{"a line at the top that is too long", strings.Repeat("ä", wording.MaxSubject+3), "{again}", wording.NotYet, "subject", 1, 1, "too_long", "shorten it by 3"},
		{"too long", "", "{again}" + strings.Repeat("ä", wording.MaxBody), wording.NotYet, "text", 1, 1, "too_long", "shorten it by 7"},
		{"a zero byte", "", "{again}\x00", wording.NotYet, "text", 1, 8, "hidden", "delete it"},
		{"text that is turned round", "", "{again} a\u202eb", wording.NotYet, "text", 1, 10, "hidden", "delete it"},
		{"broken UTF-8", "", "{again} \xff", wording.NotYet, "text", 1, 9, "hidden", "delete it"},
		{"everything may go", "", "{dates}\n\nOn {dates} again", wording.Absent, "text", 1, 1, "all_may_go", "write a paragraph without"},
	} {
		text := wording.Text{Subject: tt.subject, Body: tt.body}
		if tt.subject == "" {
			text.Subject = good.Subject
		}
		_, err := wording.Compile(tt.kind, words.English, text)
		var fs rankwright.Faults
		if !errors.As(err, &fs) || len(fs) == 0 {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if f := fs[0]; f.Where.File != tt.in || f.Where.Line != tt.line || f.Where.Column != tt.column || f.Code != tt.code || !strings.HasPrefix(f.Do, tt.do) || f.Kind != rankwright.Invalid {
			t.Errorf("%s: %+v", tt.name, f)
		}
	}
	if _, err := wording.Compile("bill", words.English, good); rankwright.KindOf(err) != rankwright.NotFound {
		t.Errorf("a kind that is none: %v", err)
	}
}

func fill(t *testing.T, k wording.Kind, body string, v wording.Values) *wording.Filled {
	t.Helper()
	w, err := wording.Compile(k, words.English, wording.Text{Subject: "For {child}", Body: body})
	if err != nil {
		t.Fatal(err)
	}
	sure := wording.Values{"child": {"Ana"}, "name": {"Ana Sol"}, "rank": {"Copper"}, "grading": {"Autumn"}, "day": {"Saturday"}, "school": {"Otterlight"}, "again": {"Front kick", "Promise"}}
	for name, list := range v {
		sure[name] = list
	}
	f, err := w.Fill(sure)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestParagraphsListsAndWhatIsLeftOut(t *testing.T) {
	for _, tt := range []struct {
		name, body, want string
		v                wording.Values
	}{
		{"a list alone on its line is a list", "Again:\n{again}\nThank you", "Again:\n- Front kick\n- Promise\nThank you\n", nil},
		{"a list in a sentence is joined", "Show {again}, {child}.", "Show Front kick and Promise, Ana.\n", nil},
		{"a paragraph goes with what is empty", "{again}\n\nUntil {until},\nno later.\n\nBye", "- Front kick\n- Promise\n\nBye\n", nil},
		{"and stays with what is not", "{again}\n\nUntil {until}.", "- Front kick\n- Promise\n\nUntil Monday.\n", wording.Values{"until": {"Monday"}}},
		{"an empty text is empty", "{again}\n\n{well}\n\nBye", "- Front kick\n- Promise\n\nBye\n", wording.Values{"well": {"", " "}}},
		{"many empty lines are one", "{child}\r\n\r\n \r\n\r\n{again}", "Ana\n\n- Front kick\n- Promise\n", nil},
		{"spaces in the brace are nothing", "{ child }: { again }", "Ana: Front kick and Promise\n", nil},
		{"a name cannot begin a paragraph", "{child}!\n{again}", "Ana - Bea!\n- Front kick\n- Promise\n", wording.Values{"child": {"Ana\n\n- Bea"}}},
		{"nor turn the line round", "{child}!\n{again}", "Ana!\n- Front kick\n- Promise\n", wording.Values{"child": {"\u202eAna\u2066\x00"}}},
		{"a part that is set apart stays so", "{child}!\n{again}", "\u2068Ana\u2069!\n- Front kick\n- Promise\n", wording.Values{"child": {"\u2068Ana\u2069"}}},
		{"but not one that ends nowhere", "{child}!\n{again}", "Ana!\n- Front kick\n- Promise\n", wording.Values{"child": {"\u2069Ana\u2068"}}},
		{"a brace in a name is a brace", "{child}\n{again}", "{name}\n- Front kick\n- Promise\n", wording.Values{"child": {"{name}"}}},
	} {
		if got := fill(t, wording.NotYet, tt.body, tt.v).Plain(); got != tt.want {
			t.Errorf("%s:\n%q, want\n%q", tt.name, got, tt.want)
		}
	}
	if got := fill(t, wording.NotYet, "{again}", wording.Values{"child": {"Ana\r\nBcc: everybody@example.org"}}).Subject; got != "For Ana Bcc: everybody@example.org" {
		t.Errorf("the line at the top became %q", got)
	}
}

func TestWhatCannotBeFilledInIsRefused(t *testing.T) {
	w, err := wording.Usual(wording.Link, words.English)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name  string
		field string
		value []string
	}{
		{"no link", "link", nil}, {"an address that runs", "link", []string{"javascript:alert(1)"}}, {"no host", "link", []string{"https:///f/x"}},
		{"an address with a blank", "link", []string{"https://x.example/a b"}}, {"no children", "children", []string{" "}},
		{"two days", "day", []string{"Monday", "Tuesday"}}, {"another kind's field", "well", []string{"a"}},
	} {
		v := wording.Example(wording.Link, words.English)
		v[tt.field] = tt.value
		if f, err := w.Fill(v); err == nil {
			t.Errorf("%s: filled in as %q", tt.name, f.Plain())
		}
	}
}

// hostile draws text that tries to be markup, a field or a header.
func hostile(name string) *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		parts := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"<", ">", "\"", "'", "&", "<b>", "</p>", "<script>", "&lt;", "javascript:", "{{.}}", "{{", "<!--", "]]>", "\n", "\r\n", "`", "<bdi>", "\u202e", "é", "x"})), 1, 6).Draw(t, name)
		return strings.Join(parts, "")
	})
}

// The elements that the template writes; whatever else an independent reader of
// HTML (golang.org/x/net/html) finds came out of a text.
var own = []string{"p", "br", "ul", "li", "a", "bdi"}

func TestNeitherASchoolNorANameEverBecomesMarkup(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := strings.NewReplacer("{", "(", "}", ")").Replace(hostile("school").Draw(t, "school"))
		name, item := hostile("name").Draw(t, "name"), hostile("item").Draw(t, "item")
		w, err := wording.Compile(wording.NotYet, words.English, wording.Text{Subject: "{child}", Body: "x" + text + "\n{child} {again}\n{again}"})
		if err != nil {
			return // a hidden character in the school's own text
		}
		v := wording.Example(wording.NotYet, words.English)
		v["child"], v["again"] = []string{"a" + name}, []string{"b" + item}
		f, err := w.Fill(v)
		if err != nil {
			t.Fatal(err)
		}
		page, err := f.HTML()
		if err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		z := html.NewTokenizer(strings.NewReader(string(page)))
		for z.Next() != html.ErrorToken {
			switch x := z.Token(); x.Type {
			case html.StartTagToken, html.EndTagToken, html.SelfClosingTagToken:
				if !slices.Contains(own, x.Data) || len(x.Attr) > 0 {
					t.Fatalf("%v in %s", x, page)
				}
				if x.Data == "br" || x.Type == html.EndTagToken && (x.Data == "p" || x.Data == "li") {
					said.WriteString(" ")
				}
			case html.TextToken:
				said.WriteString(x.Data)
			default:
				t.Fatalf("%v in %s", x, page)
			}
		}
		// And what is read out of it is what the plain text says.
		plain := strings.ReplaceAll("\n"+f.Plain(), "\n- ", "\n")
		if got, want := strings.Join(strings.Fields(said.String()), " "), strings.Join(strings.Fields(plain), " "); got != want {
			t.Fatalf("%q, want %q", got, want)
		}
		if strings.ContainsAny(f.Subject, "\r\n") {
			t.Fatalf("a line at the top with two lines: %q", f.Subject)
		}
	})
}

// FuzzCompile looks for a text that is neither refused in a sentence nor comes
// out whole.
func FuzzCompile(f *testing.F) {
	for _, s := range []string{"", "{child}", "{again}\n\n{well}", "{", "}", "{{again}}", "{again}\r\n{dates", "ä{\xff}", "a\u2066{again}"} {
		f.Add("{child}", s, "Ana")
	}
	f.Fuzz(func(t *testing.T, subject, body, name string) {
		w, err := wording.Compile(wording.NotYet, words.English, wording.Text{Subject: subject, Body: body})
		if err != nil {
			var fs rankwright.Faults
			if !errors.As(err, &fs) || len(fs) == 0 {
				t.Fatalf("no list of faults: %v", err)
			}
			tidy := wording.Text{Subject: subject, Body: body}.Tidy()
			for _, x := range fs {
				text := map[string]string{wording.InSubject: tidy.Subject, wording.InBody: tidy.Body}[x.Where.File]
				lines := strings.Split(text, "\n")
				if x.Say == "" || x.Do == "" || x.Where.Line > len(lines) || x.Where.Line > 0 && x.Where.Column > utf8.RuneCountInString(lines[x.Where.Line-1])+1 {
					t.Fatalf("%+v", x)
				}
			}
			return
		}
		v := wording.Example(wording.NotYet, words.English)
		v["child"] = []string{"x" + name}
		filled, err := w.Fill(v)
		if err != nil || len(filled.Blocks) == 0 || filled.Plain() == "" {
			t.Fatalf("%v: %q", err, body)
		}
		if _, err := filled.HTML(); err != nil {
			t.Fatal(err)
		}
	})
}

func TestTheManualHasTheFieldsOfEveryKind(t *testing.T) {
	text, err := os.ReadFile("../../docs/wordings.md")
	if err != nil {
		t.Fatal(err)
	}
	said := map[string][]string{}
	for _, m := range regexp.MustCompile("(?m)^\\| `\\{([a-z]+)\\}` \\| [^|]+ \\| ([a-z*, -]+) \\|$").FindAllStringSubmatch(string(text), -1) {
		said[m[1]] = strings.Split(m[2], ", ")
	}
	want := map[string][]string{}
	for _, k := range wording.Kinds() {
		for _, f := range k.Fields() {
			at := string(k)
			if f.Required {
				at = "**" + at + "**"
			}
			want[f.Name] = append(want[f.Name], at)
		}
	}
	for name, kinds := range want {
		if !slices.Equal(said[name], kinds) {
			t.Errorf("docs/wordings.md has {%s} in %v, want %v", name, said[name], kinds)
		}
	}
	if len(said) != len(want) {
		t.Errorf("docs/wordings.md has %d fields, and there are %d", len(said), len(want))
	}
}

func ExampleWording_Fill() {
	w, err := wording.Compile(wording.Link, words.English, wording.Text{Subject: "{grading}", Body: "Dear family of {children},\nlook here:\n{link}\n\nWe meet at {place}."})
	if err != nil {
		fmt.Println(err)
		return
	}
	f, err := w.Fill(wording.Values{"grading": {"Autumn grading"}, "children": {"Noor", "Sami"}, "day": {"Saturday 10 October 2026"}, "school": {"Otterlight"}, "link": {"https://gradings.example/f/1"}})
	fmt.Println(f.Subject, err)
	fmt.Print(f.Plain())
	// Output:
	// Autumn grading <nil>
	// Dear family of Noor and Sami,
	// look here:
	// https://gradings.example/f/1
}
