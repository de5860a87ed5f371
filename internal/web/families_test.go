package web_test

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web"
	"rankwright/internal/words"
)

// home is a school whose grading is open to families, with words to sign,
// two sessions to choose from and a link for each family.
type home struct {
	*site
	t     *testing.T
	g     rankwright.GradingID
	at    string // of the families, at the desk
	entry map[string]string
	link  map[string]string // by family name
	when  []string          // sessions
}

func newHome(t *testing.T) *home {
	t.Helper()
	s, g := newTimes(t)
	h := &home{site: s, t: t, g: g, at: "/gradings/" + string(g) + "/families", entry: map[string]string{}, link: map[string]string{}}
	like := app.LikeUsual()
	like.Panel, like.Mixed, like.Least = 1, 3, 1
	for _, day := range []string{"2026-10-10", "2026-10-11"} {
		x, err := s.App.AddSession(t.Context(), s.Owner, g, app.SittingsRow{Day: rankwright.MustDay(day), From: 540, Until: 720, Mats: []string{"A"}, Minutes: 40, Like: like})
		h.must(err)
		h.when = append(h.when, x.ID)
	}
	h.must(s.App.Move(t.Context(), s.Owner, g, app.Families))
	h.must(s.App.WriteFamilySheet(t.Context(), s.Owner, g, "consent", "I agree that {child} takes part.\nI bring {child}."))
	h.must(s.App.WriteFamilySheet(t.Context(), s.Owner, g, "home_note", "I have read the home note for {rank}."))
	_, err := s.App.MakeLinks(t.Context(), s.Owner, g, nil, 0, false)
	h.must(err)
	h.links()
	v, err := s.App.Grading(t.Context(), s.Owner, g)
	h.must(err)
	for _, e := range v.Entries {
		h.entry[e.Student.GivenName] = string(e.Entry.ID)
	}
	return h
}

func (h *home) must(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

func (h *home) links() {
	h.t.Helper()
	v, err := h.App.Families(h.t.Context(), h.Owner, h.g)
	h.must(err)
	for _, x := range v.List {
		h.link[x.Name] = "/f/" + x.Secret
	}
}

// family is somebody who opened the link of a family.
func (h *home) family(name string) *visitor {
	h.t.Helper()
	v := h.visit(h.t)
	if r := v.post(h.link[name], nil); r.status != http.StatusSeeOther || r.to != "/family" {
		h.t.Fatalf("the link of %s leads to %d %s", name, r.status, r.to)
	}
	return v
}

// read fills in which words the page has shown.
func (h *home) read(v *visitor, form url.Values) {
	h.t.Helper()
	for _, m := range regexp.MustCompile(`name="(read [^"]+)" value="([0-9a-f]{64})"`).FindAllStringSubmatch(v.get("/family/sign").body, -1) {
		form.Set(m[1], m[2])
	}
}

// Every sentence that a page asks for is in the catalogue, and every sentence of
// the catalogue is asked for.
func TestEveryKeyOfASentenceIsInTheCatalogueAndUsed(t *testing.T) {
	var text strings.Builder
	for _, pattern := range []string{"*.go", "pages/*.html", "../words/*.go", "../guide/*.go", "../app/*.go", "../wording/*.go", "../award/*.go", "../../cmd/rankwright/*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %v, %v", pattern, files, err)
		}
		for _, f := range files {
			if strings.HasSuffix(f, "_test.go") {
				continue
			}
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			text.Write(b)
		}
	}
	catalogue := words.Catalogue(words.English)
	asked, begun := map[string]bool{}, map[string]bool{}
	for _, m := range regexp.MustCompile(`"([a-z][a-z0-9._-]*)"`).FindAllStringSubmatch(text.String(), -1) {
		asked[m[1]] = true
		if strings.HasSuffix(m[1], ".") || strings.HasSuffix(m[1], "-") { // the rest is put together
			begun[m[1]] = true
		}
	}
	for _, m := range regexp.MustCompile(`(?:say |It\(|Many\(|pick\(|Key\()"([a-z][a-z0-9._-]*)"`).FindAllStringSubmatch(text.String(), -1) {
		if _, ok := catalogue[words.Key(m[1])]; !ok && !begun[m[1]] {
			t.Errorf("nobody wrote %q", m[1])
		}
	}
	for key := range catalogue {
		k := string(key)
		used := asked[k] || strings.HasSuffix(k, ".month-first") || strings.Contains(k, ".before-") || strings.HasPrefix(k, "expect.") // forms of another
		for p := range begun {
			used = used || strings.HasPrefix(k, p)
		}
		if !used {
			t.Errorf("nobody asks for %q", key)
		}
	}
}

// Programs that look at mail follow links. Nothing changes, nobody's name is
// shown, and the link still works.
func TestLookingAtALinkChangesNothingAndShowsNobody(t *testing.T) {
	h := newHome(t)
	before := h.App.Generation()
	for i := range 25 {
		for _, method := range []string{http.MethodGet, http.MethodHead} {
			req, err := http.NewRequest(method, h.URL+h.link["Krajewik"], nil)
			h.must(err)
			req.Header.Set("User-Agent", fmt.Sprint("a scanner of mail ", i))
			r := h.visit(t).read(h.visit(t).c.Do(req))
			if r.status != http.StatusOK || r.head.Get("Set-Cookie") != "" {
				t.Fatalf("%s gives %d, cookie %q", method, r.status, r.head.Get("Set-Cookie"))
			}
			for _, name := range []string{"Zofia", "Igor", "Krajewik", "Autumn"} {
				if strings.Contains(r.body, name) {
					t.Fatalf("the door says %q", name)
				}
			}
			for key, want := range map[string]string{"Cache-Control": "no-store", "Referrer-Policy": "same-origin", "X-Robots-Tag": "noindex, nofollow, noarchive"} {
				if r.head.Get(key) != want {
					t.Errorf("%s is %q, want %q", key, r.head.Get(key), want)
				}
			}
		}
	}
	if h.App.Generation() != before {
		t.Error("looking at a link writes into the base")
	}
	h.At("2026-10-02") // another minute, for the pace
	v := h.family("Krajewik")
	r := v.get("/family")
	r.says(t, http.StatusOK, "For Zofia and Igor", "2 things are open.", "Saturday 10 October 2026")
	if strings.Contains(r.body, h.link["Krajewik"][3:]) {
		t.Error("what opens the page stands in it")
	}
}

// Wrong, old and withdrawn links, and no link at all, have one page, which says
// nothing about anybody.
func TestALinkThatOpensNothingHasOneKindPage(t *testing.T) {
	h := newHome(t)
	withdrawn := h.link["Fasanwe"]
	h.must(h.App.WithdrawLinks(t.Context(), h.Owner, h.g, "h1"))
	_, err := h.App.MakeLinks(t.Context(), h.Owner, h.g, []rankwright.HouseholdID{"h2"}, rankwright.MustDay("2026-10-03"), true)
	h.must(err)
	h.links()
	old := h.family("Quispaya")
	h.At("2026-10-04")
	same := ""
	for what, r := range map[string]reply{
		"wrong": h.visit(t).get("/f/made-up"), "wrong and pressed": h.visit(t).post("/f/made-up", nil),
		"old": h.visit(t).get(h.link["Quispaya"]), "old and pressed": h.visit(t).post(h.link["Quispaya"], nil),
		"withdrawn": h.visit(t).get(withdrawn), "none": h.visit(t).get("/family"), "opened while it was good": old.get("/family"),
		"none, for times": h.visit(t).get("/family/times"), "none, pressed": h.visit(t).post("/family/sign", url.Values{"name": {"Mai"}}),
	} {
		r.says(t, http.StatusNotFound, "This link does not open anything", "ask your school for a new one")
		body := regexp.MustCompile(`href="\?lang=es"`).ReplaceAllString(r.body, "")
		if same == "" {
			same = body
		}
		if body != same {
			t.Errorf("%s has another page:\n%s\nand not\n%s", what, body, same)
		}
		for _, name := range []string{"Autumn", "Fasanwe", "Quispaya", "Inti"} {
			if strings.Contains(r.body, name) {
				t.Errorf("%s: the page says %q", what, name)
			}
		}
	}
}

// A family's session opens that family's page and nothing else, whatever is
// asked for: every route, with the ids of another family.
func TestNoRouteGivesAFamilyAnythingOfAnother(t *testing.T) {
	h := newHome(t)
	v := h.family("Phùng")
	h.At("2026-10-02")
	zofia := h.entry["Zofia"]
	household := "h4"
	fill := strings.NewReplacer("{entry}", zofia, "{ladder}", "youth", "{student}", "a3", "{rank}", "amber", "{id}", string(h.g), "{secret}", "made-up", "{$}", "")
	forms := url.Values{"entry": {zofia}, "family": {household}, "key": {zofia + "/consent"}, "name": {"Mai Phùng"}, "said " + zofia + "/consent": {"signed"}, "read " + zofia + "/consent": {"x"},
		"suits." + h.when[0]: {"no"}, "body": {"May we?"}, "all": {"yes"}, "title": {"x"}, "to": {"mat"}, "student": {"a3"}, "students": {"a3"}, "reason": {"x"}}
	asked := 0
	for _, route := range web.Routes() {
		method, path, _ := strings.Cut(route.Pattern, " ")
		if path == "/family/leave" || path == "/sign-out" || path == "/look" {
			continue // these two would end the session; that one shows samples
		}
		at := fill.Replace(path)
		r := v.get(at)
		if method == http.MethodPost {
			r = v.post(at, forms)
		}
		asked++
		for _, secret := range []string{"Zofia", "Igor", "Krajewik", "Fasanwe", "Ayotomi", zofia} {
			if strings.Contains(strings.NewReplacer(at, "", url.QueryEscape(at), "").Replace(r.body), secret) {
				t.Errorf("%s gives a family %q", route.Pattern, secret)
			}
		}
		switch {
		case r.status >= 500:
			t.Errorf("%s: %d", route.Pattern, r.status)
		case !route.Open && r.status != http.StatusSeeOther && r.status != http.StatusUnauthorized, !route.Open && r.status == http.StatusSeeOther && !strings.HasPrefix(r.to, "/sign-in"):
			t.Errorf("%s answers a family with %d %s", route.Pattern, r.status, r.to)
		case strings.Contains(path, "/family/") && strings.Contains(path, "{entry}") && r.status != http.StatusNotFound && route.Open:
			t.Errorf("%s answers with %d for another family's child", route.Pattern, r.status)
		}
	}
	if asked < 100 {
		t.Errorf("only %d routes were asked for", asked)
	}
	// Nothing came of it for the other family; what was its own was done.
	view, err := h.App.Families(t.Context(), h.Owner, h.g)
	h.must(err)
	for _, x := range view.List {
		if x.ID == "h4" && (x.Signed != 0 || x.Answered() != 0 || x.Waits != 0 || x.Link == nil) {
			t.Errorf("something came of it: %+v", x)
		}
		if x.ID == "h5" && (x.Answered() != 1 || x.Waits != 1) {
			t.Errorf("of its own: %d answers, %d questions", x.Answered(), x.Waits)
		}
	}
}

func TestAFamilyReadsWhatIsAskedSignsWishesAndAsks(t *testing.T) {
	h := newHome(t)
	h.must(h.App.Waive(t.Context(), h.Owner, app.Waiver{Grading: h.g, Rank: "amber", Requirement: "AM-SM1", Reason: "no room"}))
	v := h.family("Krajewik")
	guide := v.get("/family/child/" + h.entry["Zofia"])
	guide.says(t, http.StatusOK, "What will be asked of Zofia", "Amber", "always needed", "Names things that belong in the bag", "at least 4 of 6, own words count", "at least 8 seconds",
		"What counts: chin tucked, round, arms place, breath out, own control", "Not asked this time", "Harbour stance both sides", "This month&#39;s theme: noticing.", "middle of the belt on the tummy",
		"Before you come in", "Hands are clean", "Falls, throws and work with a partner are for class", "Extra, if you like")
	if strings.Contains(guide.body, "Coach note") || strings.Contains(guide.body, "no room") {
		t.Error("the guide tells what is for the school alone")
	}
	plan := v.get("/family/child/" + h.entry["Zofia"] + "/practice")
	plan.says(t, http.StatusOK, "Zofia practises at home", "Say from memory:", "Left to class", "Settle-back from a squat", "Week of 28 Sep", "10 minutes")
	today, _, _ := strings.Cut(plan.body, "Week by week")
	if strings.Contains(today, "Settle-back") {
		t.Error("a fall is put into the plan for home")
	}

	// Times: one answer a session and a note; then on to what is still open.
	r := v.post("/family/times", url.Values{"suits." + h.when[0]: {"yes"}, "suits." + h.when[1]: {"no"}, "note": {"not before ten"}})
	if r.status != http.StatusSeeOther || r.to != "/family/sign" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	v.get("/family/times").says(t, http.StatusOK, "not before ten", `value="no" checked`)

	// Signing: nothing chosen and no name are told, and what was chosen stays.
	v.get("/family/sign").says(t, http.StatusOK, "I agree that Igor Krajewik takes part.", "I bring Zofia Krajewik.", "I would rather talk to you first")
	v.post("/family/sign", nil).says(t, http.StatusUnprocessableEntity, "Choose an answer for at least one.")
	form := url.Values{}
	for _, e := range []string{"Zofia", "Igor"} {
		for _, c := range []string{"consent", "home_note"} {
			form.Set("said "+h.entry[e]+"/"+c, "signed")
		}
	}
	form.Set("said "+h.entry["Igor"]+"/home_note", "talk")
	h.read(v, form)
	v.post("/family/sign", form).says(t, http.StatusUnprocessableEntity, "Write your own name as you sign", `value="talk" checked`)
	form.Set("name", "Ewa Krajewik")
	if r = v.post("/family/sign", form); r.status != http.StatusSeeOther || r.to != "/family" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	v.get("/family").says(t, http.StatusOK, "Thank you, that is signed.", "Everything is answered. Thank you.")
	v.get("/family/sign").says(t, http.StatusOK, "Signed by Ewa Krajewik on Thursday 1 October 2026 at 09:00.", "You would rather talk first.")
	if r = v.post("/family/sign/back", url.Values{"key": {h.entry["Zofia"] + "/consent"}}); r.to != "/family/sign" {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	v.get("/family").says(t, http.StatusOK, "One thing is open.", "one is open")
	// The words change between reading and signing.
	h.must(h.App.WriteFamilySheet(t.Context(), h.Owner, h.g, "consent", "Other words for {child}."))
	v.post("/family/sign", url.Values{"name": {"Ewa"}, "said " + h.entry["Zofia"] + "/consent": {"signed"}, "read " + h.entry["Zofia"] + "/consent": {form.Get("read " + h.entry["Zofia"] + "/consent")}}).
		says(t, http.StatusConflict, "The school has changed the words", "Back to the first page")

	// A question, its answer, and the desk's view of it all.
	v.post("/family/ask", url.Values{"body": {""}}).says(t, http.StatusUnprocessableEntity, "Write something first")
	if r = v.post("/family/ask", url.Values{"body": {"May her aunt <b>watch</b>?"}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d\n%s", r.status, r.body)
	}
	owner := h.as(t, h.Owner)
	owner.get("/").says(t, http.StatusOK, "1 family waits for an answer: Autumn grading", "1 family would rather talk to you before signing")
	owner.get(h.at).says(t, http.StatusOK, "Krajewik", "wants to talk first: Igor: Home note handed in", "Questions (1 without an answer)", "2 of 2", "2 of 4", "not before ten", "last used on Thursday 1 October 2026")
	owner.get("/gradings/"+string(h.g)+"/timetable/wishes").says(t, http.StatusOK, "not before ten")
	desk := h.as(t, h.Person("Perpetua Okwuosah", app.Assistant, ""))
	if r = desk.get(h.at); strings.Contains(r.body, "talk first") || strings.Contains(r.body, "asks") || !strings.Contains(r.body, h.link["Krajewik"]) {
		t.Errorf("the desk sees what is for the head instructor, or no links:\n%s", r.body)
	}
	owner.get(h.at+"/questions").says(t, http.StatusOK, "May her aunt &lt;b&gt;watch&lt;/b&gt;?", "waits for an answer")
	owner.post(h.at+"/questions", url.Values{"family": {"h4"}, "body": {" "}}).says(t, http.StatusUnprocessableEntity, "There is nothing to send.")
	owner.post(h.at+"/questions", url.Values{"family": {"h4"}, "body": {"Yes, gladly."}})
	v.get("/family/ask").says(t, http.StatusOK, "Yes, gladly.", "You")
	v.get("/family").says(t, http.StatusOK, "Questions and answers")
	v.post("/family/leave", nil).says(t, http.StatusOK, "Goodbye")
	v.get("/family").says(t, http.StatusNotFound, "This link does not open anything")
}

func TestTheDeskMakesPrintsAndWithdrawsLinks(t *testing.T) {
	h := newHome(t)
	v := h.as(t, h.Owner)
	letters := v.get(h.at + "/letters")
	letters.says(t, http.StatusOK, h.URL+h.link["Krajewik"], "This is the page for Zofia and Igor", "QR code with the address")
	if n := strings.Count(letters.body, "letters-letter"); n != 7 {
		t.Errorf("%d letters for seven families", n)
	}
	// The address in the links is the school's own, whatever a browser says.
	sc, err := h.App.School(t.Context())
	h.must(err)
	for _, wrong := range []string{"gradings.example.org", "ftp://x.example", "https://x.example/deep", "https://me@x.example"} {
		sc.Address = wrong
		if err := h.App.EditSchool(t.Context(), h.Owner, sc); rankwright.KindOf(err) != rankwright.Invalid || err == nil {
			t.Errorf("%s is taken: %v", wrong, err)
		}
	}
	sc.Address = "https://gradings.example.org/"
	h.must(h.App.EditSchool(t.Context(), h.Owner, sc))
	req, err := http.NewRequest(http.MethodGet, h.URL+h.at, nil)
	h.must(err)
	for _, c := range v.c.Jar.Cookies(req.URL) {
		req.AddCookie(c)
	}
	req.Host = "evil.example"
	v.read(v.c.Do(req)).says(t, http.StatusOK, "https://gradings.example.org"+h.link["Krajewik"])
	v.post(h.at+"/links", url.Values{"family": {"h4"}, "anew": {"yes"}})
	h.visit(t).get(h.link["Krajewik"]).says(t, http.StatusNotFound, "does not open anything")
	v.post(h.at+"/links", url.Values{"until": {"soon"}}).says(t, http.StatusUnprocessableEntity, "is not a day")
	v.post(h.at+"/withdraw", nil).says(t, http.StatusUnprocessableEntity, "No family was chosen.")
	v.post(h.at+"/withdraw", url.Values{"all": {"yes"}})
	v.get(h.at).says(t, http.StatusOK, "Make the links that are missing (7)", "Withdrawn.")
	v.post(h.at+"/links", nil)
	h.links()
	h.family("Krajewik").get("/family").says(t, http.StatusOK, "For Zofia and Igor")
	h.Now = h.Now.Add(31 * 60e9)
	if r := v.get(h.at); strings.Contains(r.body, h.link["Krajewik"]) {
		t.Error("a link is shown for longer than half an hour")
	}
	v.get(h.at+"/letters").says(t, http.StatusOK, "No link can be printed now")
	// The words to sign: what is wrong is told beside its field, and the rest is
	// kept.
	v.post(h.at+"/sheets", url.Values{"sheet.consent": {"For {who}"}, "sheet.home_note": {"Read."}}).says(t, http.StatusUnprocessableEntity, "names nothing", "For {who}")
	v.get(h.at+"/sheets").says(t, http.StatusOK, "I agree that {child} takes part.", "Read.")
}

func TestAFamilysPageSpeaksItsLanguage(t *testing.T) {
	h := newHome(t)
	v := h.visit(t)
	req, err := http.NewRequest(http.MethodGet, h.URL+h.link["Krajewik"], nil)
	h.must(err)
	req.Header.Set("Accept-Language", "es-MX,es;q=0.9")
	v.read(v.c.Do(req)).says(t, http.StatusOK, `<html lang="es">`, "Abrir nuestra página", "Ir al contenido", `href="?lang=en"`)
	v.get(h.link["Krajewik"]+"?lang=es").says(t, http.StatusOK, `action="`+h.link["Krajewik"]+`?lang=es"`)
	v.post(h.link["Krajewik"]+"?lang=es", nil)
	for at, text := range map[string]string{"/family": "Quedan 2 cosas pendientes.", "/family/times": "domingo 11 de octubre de 2026", "/family/sign": "Prefiero hablar antes con ustedes", "/family/ask": "Preguntas a la escuela",
		"/family/child/" + h.entry["Zofia"]: "siempre necesario", "/family/child/" + h.entry["Zofia"] + "/practice": "Semana del 28 sep"} {
		v.get(at).says(t, http.StatusOK, text, `<html lang="es">`)
	}
	// What is signed is in the school's own language, days in it too.
	h.must(h.App.WriteFamilySheet(t.Context(), h.Owner, h.g, "consent", "Zofia: {day}"))
	v.get("/family/sign").says(t, http.StatusOK, `lang="en"><p>Zofia: Saturday 10 October 2026</p>`)
	owner := h.as(t, h.Owner)
	owner.post("/school", url.Values{"school": {"Otterlight"}, "lang": {"tlh"}}).says(t, http.StatusUnprocessableEntity, "There is no language")
	owner.post("/school", url.Values{"school": {"Otterlight"}, "lang": {"es"}})
	v.get("/family/sign").says(t, http.StatusOK, `lang="es"><p>Zofia: sábado 10 de octubre de 2026</p>`)
	v.post("/family/ask", url.Values{"body": {""}}).says(t, http.StatusUnprocessableEntity, "Escriba primero algo", "Mire esto otra vez")
	v.get("/family/child/x").says(t, http.StatusNotFound, "Aquí no hay nada para su familia.")
	if r := v.post("/family/language", url.Values{"lang": {"en"}, "to": {"//evil.example"}}); r.to != "/family" {
		t.Errorf("leads to %q", r.to)
	}
	v.get("/family").says(t, http.StatusOK, "2 things are open.", `<html lang="en">`)
}

func TestWhoAsksWithoutEndIsAskedToWait(t *testing.T) {
	h := newHome(t)
	v := h.visit(t)
	for range 300 {
		v.get("/f/made-up")
	}
	v.get("/f/made-up").says(t, http.StatusTooManyRequests, "Please wait a moment")
	h.At("2026-10-02")
	v.get(h.link["Krajewik"]).says(t, http.StatusOK, "Welcome")
}

// A time that was told stands on the page with its calendar; a result only when
// the head instructor says so.
func TestATimeAndAResultComeToTheFamily(t *testing.T) {
	h := newHome(t)
	owner := h.as(t, h.Owner)
	sc, err := h.App.School(t.Context())
	h.must(err)
	sc.Zone = "Europe/London"
	h.must(h.App.EditSchool(t.Context(), h.Owner, sc))
	v := h.family("Krajewik")
	v.get("/family/calendar").says(t, http.StatusNotFound, "There is no time yet.")
	at := "/gradings/" + string(h.g) + "/timetable"
	h.planned(t, owner, at, h.g)
	h.must(h.App.PublishTimetable(t.Context(), h.Owner, h.g))
	v.get("/family").says(t, http.StatusOK, "mat A", "Please be there fifteen minutes before.", "Put it into the calendar")
	v.get("/family/calendar").says(t, http.StatusOK, "BEGIN:VCALENDAR", "Zofia")
	v.get("/family/times").says(t, http.StatusOK, "There are no times to choose from at present.")

	h.signed("SM")
	result := "/family/child/" + h.entry["Zofia"] + "/result"
	v.get(result).says(t, http.StatusNotFound, "The result is not here yet.")
	if r := v.get("/family"); strings.Contains(r.body, "result") {
		t.Errorf("a result is there before the head instructor says so:\n%s", r.body)
	}
	owner.get(h.at).says(t, http.StatusOK, "Let every family see its results", "Tell those first, in person")
	owner.post(h.at+"/results", nil).says(t, http.StatusUnprocessableEntity, "No family was chosen.")
	owner.post(h.at+"/results", url.Values{"family": {"h4"}})
	v.get("/family").says(t, http.StatusOK, result)
	v.get(result).says(t, http.StatusOK, "Zofia is on the way to Amber", "This is shown again:", "<li><bdi>Stance and movement</bdi></li>", "Signed by Sefanaia Lindqvist-Amoako on Sunday 11 October 2026.")
	v.get("/family/child/"+h.entry["Igor"]+"/result").says(t, http.StatusOK, "Igor showed what Slate asks", "<li><bdi>Home note handed in – read and sign it on the page of your family, or at the desk</bdi></li>")
	h.family("Phùng").get("/family/child/"+h.entry["Linh-Đan"]+"/result").says(t, http.StatusNotFound, "The result is not here yet.")
	// What is still missing can be signed after the day, and the promotion waits
	// for the head instructor no longer.
	form := url.Values{"name": {"Ewa Krajewik"}}
	for _, c := range []string{"consent", "home_note"} {
		form.Set("said "+h.entry["Igor"]+"/"+c, "signed")
	}
	h.read(v, form)
	v.post("/family/sign", form)
	v.get("/family/child/"+h.entry["Igor"]+"/result").says(t, http.StatusOK, "all of it is in, and the rank follows")
	h.must(h.App.Release(t.Context(), h.Owner, rankwright.EntryID(h.entry["Igor"])))
	v.get("/family/child/"+h.entry["Igor"]+"/result").says(t, http.StatusOK, "Igor has reached Slate")
	owner.post(h.at+"/results", url.Values{"family": {"h4"}, "show": {"no"}})
	v.get(result).says(t, http.StatusNotFound, "The result is not here yet.")
}

// What opens a link is in no log, also where something fails.
func TestNoLogHoldsWhatOpensALink(t *testing.T) {
	h := newHome(t)
	var log bytes.Buffer
	srv, err := web.New(h.App, web.Options{Log: slog.New(slog.NewTextHandler(&log, nil))})
	h.must(err)
	h.must(h.Store.Close())
	rec := httptest.NewRecorder()
	srv.ServeHTTP(rec, httptest.NewRequest(http.MethodPost, h.link["Krajewik"], nil))
	if rec.Code < 500 || log.Len() == 0 {
		t.Fatalf("nothing failed: %d", rec.Code)
	}
	if strings.Contains(log.String(), h.link["Krajewik"][3:]) {
		t.Errorf("the log says %s", log.String())
	}
}

// A draft is nobody's business until the desk asks; then the family says yes or
// no on its page, about exactly that change, and the desk takes it over.
func TestAFamilySaysYesToAnotherTimeOnItsPage(t *testing.T) {
	h := newHome(t)
	owner := h.as(t, h.Owner)
	at := "/gradings/" + string(h.g) + "/timetable"
	h.planned(t, owner, at, h.g)
	h.must(h.App.PublishTimetable(t.Context(), h.Owner, h.g))
	v, other := h.family("Krajewik"), h.family("Phùng")
	both := []rankwright.EntryID{rankwright.EntryID(h.entry["Zofia"]), rankwright.EntryID(h.entry["Igor"])}
	effects, err := h.App.Effects(t.Context(), h.Owner, h.g, both)
	h.must(err)
	now := func() (string, *app.Timetable) {
		tt, err := h.App.Timetable(t.Context(), h.Owner, h.g)
		h.must(err)
		return tt.Current().At(both[0]), tt
	}
	was, _ := now()
	moved := ""
	for _, e := range effects {
		if e.Sitting != "" && e.Sitting != was && len(e.Blocks)+len(e.Lacks) == 0 && moved == "" {
			if _, err := h.App.MoveEntries(t.Context(), h.Owner, h.g, both, e.Sitting); err == nil {
				moved = e.Sitting
			}
		}
	}
	if moved == "" {
		t.Fatalf("the family can be moved nowhere: %+v", effects)
	}
	home := v.get("/family")
	if strings.Contains(home.body, "May your time change?") {
		t.Fatal("a draft is shown before the desk asks")
	}
	v.post("/family/move", url.Values{"key": {"x"}, "said": {"yes"}}).says(t, http.StatusConflict, "The time that you were asked about is another by now.")
	owner.get(at+"/changes").says(t, http.StatusOK, "Ask on the families' own pages")
	if r := owner.post(h.at+"/moves", nil); r.to != at+"/changes" {
		t.Fatalf("%d %s", r.status, r.to)
	}
	owner.get(at+"/changes").says(t, http.StatusOK, "is asked on its own page", "They are asked on their own page.")
	page := v.get("/family")
	page.says(t, http.StatusOK, "May your time change?", "It stays as it is unless you say yes.", "Zofia: ", " instead of ", "No, we keep our time")
	if r := other.get("/family"); strings.Contains(r.body, "May your time change?") {
		t.Error("another family is asked")
	}
	key := regexp.MustCompile(`name="key" value="([0-9a-f]+)"`).FindStringSubmatch(page.body)[1]
	other.post("/family/move", url.Values{"key": {key}, "said": {"yes"}}).says(t, http.StatusConflict, "another by now")
	v.post("/family/move", url.Values{"key": {key}, "said": {"maybe"}}).says(t, http.StatusUnprocessableEntity, "This cannot be done just now.")
	v.post("/family/move", url.Values{"key": {key}, "said": {"no"}})
	v.get("/family").says(t, http.StatusOK, "You said no. Your time stays.", "Yes, we come then")
	h.Now = h.Now.Add(60e9)
	v.post("/family/move", url.Values{"key": {key}, "said": {"yes"}})
	v.get("/family").says(t, http.StatusOK, "You said yes.")
	owner.get(at+"/changes").says(t, http.StatusOK, "They said yes.", "Take these changes")
	h.must(h.App.PublishTimetable(t.Context(), h.Owner, h.g))
	if _, tt := now(); tt.ToldOf(both[0]).Sitting != moved {
		t.Errorf("told is %+v, not in %s", tt.ToldOf(both[0]), moved)
	}
	if r := v.get("/family"); strings.Contains(r.body, "May your time change?") {
		t.Error("the family is still asked")
	}
}
