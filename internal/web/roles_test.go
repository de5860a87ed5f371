package web_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web"
	"rankwright/scoring"
)

const four = `student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank
a1,Ayotomi,Fasanwe,2021-02-14,h1,youth,,2026-07-25,15
a2,Inti,Quispaya,2020-11-30,h2,youth,,2026-08-01,12
a3,"<b>Maélle",Vandestraete,2020-12-03,h3,youth,,2026-08-22,14
a4,Zofia,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27
`

// filled is a site with a signed grading and one on the mat.
type filled struct {
	*site
	people       map[app.Role]app.Actor
	signed, open rankwright.GradingID
	entry        rankwright.EntryID // of the open one
	old          rankwright.EntryID
	version      string
	message      string // of the open one
	picture      string // the id of one at a requirement of Reed
}

func newFilled(t *testing.T) *filled {
	t.Helper()
	f := &filled{site: newSite(t), people: map[app.Role]app.Actor{}}
	f.version = f.Publish("otterlight.yaml").ID
	f.Import(four)
	f.people[app.Owner] = f.Owner
	f.people[app.Instructor] = f.Person("Tomek Wielgosek", app.Instructor, "")
	f.people[app.Examiner] = f.Person("Anahera Ropatini", app.Examiner, "")
	f.people[app.Assistant] = f.Person("Perpetua Okwuosah", app.Assistant, "")
	f.signed, f.old = f.grading(t, "Summer grading", "2026-10-03", "a4")
	sheet, err := f.App.Sheet(f.Ctx(), f.Owner, f.signed, "amber")
	if err != nil {
		t.Fatal(err)
	}
	var marks []scoring.Mark
	for _, q := range sheet.Rank.Requirements {
		marks = append(marks, scoring.Mark{Entry: f.old, Requirement: q.ID, Value: scoring.N(1)})
	}
	f.At("2026-10-03")
	steps := []error{}
	_, err = f.App.AddMarks(f.Ctx(), f.Owner, f.signed, marks)
	steps = append(steps, err, f.App.Move(f.Ctx(), f.Owner, f.signed, app.Deciding),
		f.App.SetClearance(f.Ctx(), f.Owner, f.old, "consent", true), f.App.SetClearance(f.Ctx(), f.Owner, f.old, "home_note", true),
		f.App.Override(f.Ctx(), f.Owner, f.old, "promoted", "seen in class last week", nil), f.App.Sign(f.Ctx(), f.Owner, f.signed, ""))
	for _, err := range steps {
		if err != nil {
			t.Fatal(err)
		}
	}
	f.picture = addedPicture(t, f.site, "requirement RE-SM1", "picture").ID
	f.open, f.entry = f.grading(t, "Autumn grading", "2026-10-10", "a1", "a2")
	f.messages(t)
	return f
}

// messages sets one out to hand over and leaves another prepared.
func (f *filled) messages(t *testing.T) {
	t.Helper()
	write := func(subject string) app.OutboxView {
		_, err := f.App.Prepare(f.Ctx(), f.Owner, f.open, app.Preparing{Kind: app.FreeWord, Subject: subject, Body: "Behind the hall."})
		if err != nil {
			t.Fatal(err)
		}
		v, err := f.App.Outbox(f.Ctx(), f.Owner, f.open)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	m := write("Parking").Drafts[0]
	f.message = m.ID
	if _, _, err := f.App.Agree(f.Ctx(), f.Owner, f.open, m.Batch, []string{m.ID}); err != nil {
		t.Fatal(err)
	}
	write("Parking again")
}

func (f *filled) grading(t *testing.T, title, on string, students ...rankwright.StudentID) (rankwright.GradingID, rankwright.EntryID) {
	t.Helper()
	g, err := f.App.CreateGrading(f.Ctx(), f.Owner, app.NewGrading{Title: title, Day: rankwright.MustDay(on), Ladder: "youth"})
	for _, err := range []error{err, f.App.SetPanel(f.Ctx(), f.Owner, g.ID, []string{f.Owner.ID, f.people[app.Examiner].ID}, f.Owner.ID),
		f.App.Enter(f.Ctx(), f.Owner, g.ID, students), f.App.Move(f.Ctx(), f.Owner, g.ID, app.OnTheMat)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	v, err := f.App.Grading(f.Ctx(), f.Owner, g.ID)
	if err != nil {
		t.Fatal(err)
	}
	return g.ID, v.Entries[0].Entry.ID
}

// addresses turns a pattern into addresses that exist.
func (f *filled) addresses(pattern string) []string {
	_, path, _ := strings.Cut(pattern, " ")
	path = strings.TrimSuffix(path, "{$}")
	if strings.Contains(path, "{secret}") {
		return []string{strings.Replace(path, "{secret}", "made-up", 1)}
	}
	path = strings.NewReplacer("{entry}", string(f.entry), "{ladder}", "youth", "{student}", "a1", "{rank}", "reed", "{picture}", f.picture, "{lang}", "es", "{kind}", "not-yet").Replace(path)
	if strings.HasSuffix(path, "/messages/read") {
		path += "?message=" + f.message
	}
	if strings.Contains(path, "/version/{id}") {
		return []string{strings.Replace(path, "{id}", f.version, 1)}
	}
	if strings.Contains(path, "/people/{id}") {
		return []string{strings.Replace(path, "{id}", f.people[app.Assistant].ID, 1)}
	}
	if strings.Contains(path, "{id}") {
		return []string{strings.Replace(path, "{id}", string(f.open), 1), strings.Replace(path, "{id}", string(f.signed), 1)}
	}
	return []string{path}
}

// Every address answers every role with a page, a way on, or a kind refusal,
// and never breaks; the refusals are those of the table.
func TestEveryAddressForEveryRole(t *testing.T) {
	f := newFilled(t)
	visitors := map[string]*visitor{"nobody": f.visit(t)}
	for role, who := range f.people {
		visitors[string(role)] = f.as(t, who)
	}
	for _, r := range web.Routes() {
		if !strings.HasPrefix(r.Pattern, "GET ") {
			continue
		}
		for _, at := range f.addresses(r.Pattern) {
			if strings.Contains(at, "{") {
				t.Fatalf("the test does not know how to visit %s", r.Pattern)
			}
			for role, v := range visitors {
				got := v.get(at)
				switch {
				case got.status >= 500:
					t.Errorf("%s as %s: %d\n%s", at, role, got.status, got.body)
				case !r.Open && role == "nobody" && got.status != http.StatusSeeOther && got.status != http.StatusUnauthorized:
					t.Errorf("%s is answered to nobody with %d", at, got.status)
				case !r.Open && role != "nobody" && r.Act != "" && app.Role(role).May(r.Act) == (got.status == http.StatusForbidden):
					t.Errorf("%s as %s: %d, the table says %v", at, role, got.status, app.Role(role).May(r.Act))
				}
				if strings.HasPrefix(got.head.Get("Content-Type"), "text/html") && got.status != http.StatusSeeOther {
					sound(t, at+" as "+role, got.body)
					if who := f.people[app.Role(role)].Name; role != "nobody" && !strings.Contains(got.body, "<span>"+html.EscapeString(who)+", ") {
						t.Errorf("%s as %s: the head of the page does not say who is signed in", at, role)
					}
				}
			}
		}
	}
}

var twice = regexp.MustCompile(`&amp;(amp|lt|gt|quot|#\d+);`)

// sound checks what no page may have: a name that runs as markup, text escaped
// twice, an id twice, a style or script written into the page.
func sound(t *testing.T, at, body string) {
	t.Helper()
	if strings.Contains(body, "<b>Maélle") {
		t.Errorf("%s: a name runs as markup", at)
	}
	if m := twice.FindString(body); m != "" {
		t.Errorf("%s: text is escaped twice: %s", at, m)
	}
	doc, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Errorf("%s: %v", at, err)
		return
	}
	ids := map[string]bool{}
	h1 := 0
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode {
			if n.Data == "h1" {
				h1++
			}
			for _, a := range n.Attr {
				switch {
				case a.Key == "id" && ids[a.Val]:
					t.Errorf("%s: the id %q stands there twice", at, a.Val)
				case a.Key == "id":
					ids[a.Val] = true
				case a.Key == "style" || strings.HasPrefix(a.Key, "on"):
					t.Errorf("%s: %s=%q would be stopped by the content security policy", at, a.Key, a.Val)
				}
			}
			if n.Data == "script" && n.FirstChild != nil && !hasType(n, "application/json") {
				t.Errorf("%s: a script is written into the page", at)
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(doc)
	if h1 != 1 && !strings.HasPrefix(at, "/look") { // which shows a title among its samples
		t.Errorf("%s: %d main headings, want one", at, h1)
	}
}

func hasType(n *html.Node, want string) bool {
	for _, a := range n.Attr {
		if a.Key == "type" && a.Val == want {
			return true
		}
	}
	return false
}

// A crawl from the first page reaches no dead end.
func TestNoLinkLeadsNowhere(t *testing.T) {
	f := newFilled(t)
	v := f.as(t, f.Owner)
	seen, todo := map[string]bool{"/": true}, []string{"/"}
	link := regexp.MustCompile(`(?:href|src|action)="(/[^"#]*)`)
	for len(todo) > 0 {
		at := todo[0]
		todo = todo[1:]
		got := v.get(at)
		if got.status >= 400 {
			t.Errorf("%s: %d", at, got.status)
		}
		for _, m := range link.FindAllStringSubmatch(got.body, -1) {
			next := html.UnescapeString(m[1])
			if strings.Contains(m[0], "action=") || next == "/sign-out" || seen[next] || len(seen) > 400 {
				continue
			}
			seen[next] = true
			todo = append(todo, next)
		}
	}
	if len(seen) < 40 {
		t.Errorf("the crawl found only %d addresses", len(seen))
	}
}
