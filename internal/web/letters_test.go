package web_test

import (
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/words"
)

// signed signs the grading of the home: Zofia shows a section again, and the
// others are promoted as far as their papers are in.
func (h *home) signed(section string) {
	h.t.Helper()
	h.At("2026-10-11")
	h.must(h.App.Move(h.t.Context(), h.Owner, h.g, app.OnTheMat))
	h.must(h.App.Move(h.t.Context(), h.Owner, h.g, app.Deciding))
	for name, e := range h.entry {
		outcome, again := "promoted", []string(nil)
		if name == "Zofia" {
			outcome, again = "not_yet", []string{section}
		}
		h.must(h.App.Override(h.t.Context(), h.Owner, rankwright.EntryID(e), outcome, "seen in class", again))
	}
	h.must(h.App.Sign(h.t.Context(), h.Owner, h.g, ""))
}

// pages reads a PDF with poppler, page by page.
func pagesOf(t *testing.T, r reply) []string {
	t.Helper()
	if r.status != http.StatusOK || r.head.Get("Content-Type") != "application/pdf" {
		t.Fatalf("%d %s\n%s", r.status, r.head.Get("Content-Type"), r.body)
	}
	file := filepath.Join(t.TempDir(), "letters.pdf")
	if err := os.WriteFile(file, []byte(r.body), 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command("pdftotext", "-enc", "UTF-8", file, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext, of the Debian package poppler-utils: %v", err)
	}
	var out []string
	for _, p := range strings.Split(strings.TrimSuffix(string(text), "\f"), "\f") {
		out = append(out, strings.Join(strings.Fields(p), " "))
	}
	return out
}

func TestLettersArePrintedForAChildAFamilyOrAllAndAFamilyGetsItsOwn(t *testing.T) {
	h := newHome(t)
	owner := h.as(t, h.Owner)
	at := "/gradings/" + string(h.g) + "/letters"
	owner.get(at).says(t, http.StatusConflict, "There are no letters before the outcomes are signed.")
	h.signed("SM")
	page := owner.get(at)
	page.says(t, http.StatusOK, `<html lang="en"`, "Krajewik", "Zofia, Igor", "Each family&#39;s own", "not shown")
	for _, word := range []string{"promoted", "Promoted", "Held", "Not yet", "not yet"} {
		if strings.Contains(page.body, word) {
			t.Errorf("the page of all letters says what became of somebody: %q", word)
		}
	}
	all := pagesOf(t, owner.get(at+".pdf"))
	if len(all) != len(h.entry) {
		t.Fatalf("%d pages for %d children", len(all), len(h.entry))
	}
	zofia := -1
	for i, p := range all {
		n := 0
		for name := range h.entry {
			if strings.Contains(p, name) {
				n++
			}
		}
		if n != 1 {
			t.Errorf("page %d names %d children:\n%s", i+1, n, p)
		}
		if strings.Contains(p, "Zofia is on the way to Amber") {
			zofia = i
		}
	}
	if zofia < 0 || !strings.Contains(all[zofia], "This is shown again: • Stance and movement") || !strings.Contains(all[zofia], "Signed by Sefanaia Lindqvist-Amoako on Sunday 11 October 2026.") {
		t.Fatalf("no letter about Zofia:\n%s", all)
	}
	two := pagesOf(t, owner.get(at+".pdf?family=h4&second=es&paper=letter"))
	if len(two) != 4 || !strings.Contains(two[0], "Zofia is on the way") || !strings.Contains(two[1], "Zofia va camino de Amber") || !strings.Contains(two[3], "Igor mostró lo que pide Slate") {
		t.Errorf("the letters of a family in two languages:\n%s", two)
	}
	one := pagesOf(t, owner.get(at+".pdf?entry="+h.entry["Zofia"]))
	if len(one) != 1 || one[0] != all[zofia] {
		t.Errorf("the letter about one child:\n%s", one)
	}
	owner.get(at+".pdf?family=h99").says(t, http.StatusNotFound, "There is no letter for that.")
	owner.get("/entries/"+h.entry["Zofia"]).says(t, http.StatusOK, at+".pdf?entry="+h.entry["Zofia"])

	// The family's own, once it may see it, in its language; nobody else's.
	v := h.family("Krajewik")
	own := "/family/child/" + h.entry["Zofia"] + "/letter.pdf"
	v.get(own).says(t, http.StatusNotFound, "The result is not here yet.")
	h.must(h.App.ShowResults(t.Context(), h.Owner, h.g, "h4", true))
	if p := pagesOf(t, v.get(own)); len(p) != 1 || p[0] != all[zofia] {
		t.Errorf("the family prints another letter:\n%s", p)
	}
	v.get("/family/child/"+h.entry["Linh-Đan"]+"/letter.pdf").says(t, http.StatusNotFound, "The result is not here yet.")
	h.family("Phùng").get(own).says(t, http.StatusNotFound, "The result is not here yet.")
}

func TestANameThatCannotBeSetIsToldBeforeLettersArePrinted(t *testing.T) {
	h := newHome(t)
	h.Import("student_id,given_name,family_name,birth_date,household,ladder,rank,rank_since,classes_since_rank\na3,李小龙,Krajewik,2018-02-28,h4,youth,Reed,2026-07-11,27\n")
	h.signed("SM")
	owner := h.as(t, h.Owner)
	at := "/gradings/" + string(h.g) + "/letters"
	owner.get(at).says(t, http.StatusOK, "The name &#34;李小龙 Krajewik&#34; cannot be printed", "Add a font for Han")
	owner.get(at+".pdf").says(t, http.StatusUnprocessableEntity, "李小龙 Krajewik")
	pagesOf(t, owner.get(at+".pdf?entry="+h.entry["Igor"]))
}

func TestTheHeadInstructorPutsLettersAndMessagesIntoTheSchoolsWords(t *testing.T) {
	h := newHome(t)
	owner := h.as(t, h.Owner)
	owner.get("/school").says(t, http.StatusOK, `href="/school/wordings"`)
	owner.get("/school/wordings").says(t, http.StatusOK, "Not yet", "The link", `href="/school/wordings/not-yet/es"`, "usual words")
	at := "/school/wordings/not-yet/en"
	owner.get("/school/wordings/link/es").says(t, http.StatusOK, `<html lang="en"`, `lang="es"><h3>`, "Querida familia")
	owner.get(at).says(t, http.StatusOK, "<code>{again}</code>", "has to be named, a list", "may be empty", "Noor is on the way to Copper", "<li><bdi>Backward fall from standing</bdi></li>")

	// What was typed is kept beside what is wrong with it, and nothing is saved.
	wrong := url.Values{"subject": {"For {child}"}, "body": {"Dear <b>{child}</b>,\n\n{agian}"}, "do": {"save"}}
	for _, do := range []string{"save", "look"} {
		wrong.Set("do", do)
		owner.post(at, wrong).says(t, http.StatusUnprocessableEntity, "Text, line 3, column 1: {agian} names nothing in this wording.", "Did you mean {again}?",
			"Dear &lt;b&gt;{child}&lt;/b&gt;,\n\n{agian}</textarea>", `value="For {child}"`)
	}
	v, err := h.App.Wording(t.Context(), h.Owner, "not-yet", words.English)
	h.must(err)
	if v.Own {
		t.Error("what was wrong is kept")
	}
	// A look saves nothing either, and shows what it would be, never as markup.
	good := url.Values{"subject": {"For {child}"}, "body": {"Dear <b>{child}</b>,\r\n\r\nwe look again at:\r\n{again}"}, "do": {"look"}}
	owner.post(at, good).says(t, http.StatusOK, "<p>Dear &lt;b&gt;<bdi>Noor</bdi>&lt;/b&gt;,</p>", "<h3>For Noor</h3>", "usual words")
	good.Set("do", "save")
	if r := owner.post(at, good); r.status != http.StatusSeeOther || r.to != at {
		t.Fatalf("%d %s\n%s", r.status, r.to, r.body)
	}
	owner.get(at).says(t, http.StatusOK, "your own words, since Thursday 1 October 2026", "Take the usual words back")
	h.signed("SM")
	owner.get("/entries/"+h.entry["Zofia"]+"/family").says(t, http.StatusOK, "<h2>For Zofia</h2>", "<p>Dear &lt;b&gt;<bdi>Zofia</bdi>&lt;/b&gt;,</p>")
	owner.post(at, url.Values{"do": {"usual"}})
	owner.get(at).says(t, http.StatusOK, "usual words", "{child} is on the way to {rank}")
	for _, none := range []string{"/school/wordings/bill/en", "/school/wordings/not-yet/tlh"} {
		if r := owner.get(none); r.status != http.StatusNotFound && r.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", none, r.status)
		}
	}
}
