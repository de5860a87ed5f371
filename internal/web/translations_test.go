package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"rankwright/examples"
	"rankwright/internal/app"
)

// A school takes the file, fills it in, puts it back with a mistake and once
// more without; a family that reads Spanish sees the words on its pages.
func TestASchoolTranslatesItsTextsAndAFamilyReadsThem(t *testing.T) {
	h := newHome(t)
	g, err := h.App.Grading(t.Context(), h.Owner, h.g)
	h.must(err)
	owner := h.as(t, h.Owner)
	at := "/syllabus/version/" + g.Version
	owner.get(at).says(t, http.StatusOK, `href="`+at+`/translations"`)
	owner.get(at+"/translations").says(t, http.StatusOK, "Español", "0 of ", "What is missing")
	file := owner.get(at + "/translations/es/file")
	if file.status != http.StatusOK || !strings.Contains(file.body, `KI: {from: "Kicks", to: ""}`) {
		t.Fatalf("%d %s", file.status, file.body)
	}
	b, err := examples.Translations.ReadFile("translations/otterlight.es.yaml")
	h.must(err)
	spanish := string(b)

	bad := strings.Replace(spanish, `{from: "Kicks", to: "Patadas"}`, "Patadas", 1)
	owner.post(at+"/translations/es", url.Values{"from": {"text"}, "text": {bad}}).says(t, http.StatusUnprocessableEntity, "Nothing was saved", "Line 14: Sections/KI should be a group of keys", "Equipo y cinturón")
	owner.post(at+"/translations/es", url.Values{"from": {"text"}, "text": {strings.Replace(spanish, "language: es", "language: en", 1)}}).says(t, http.StatusUnprocessableEntity, "Nothing was saved", "language: en")
	owner.post(at+"/translations/es", url.Values{"from": {"file"}}).says(t, http.StatusUnprocessableEntity, "No file was chosen")
	family := h.family("Krajewik")
	family.post("/family/language", url.Values{"lang": {"es"}, "to": {"/family"}})
	guide := "/family/child/" + h.entry["Zofia"]
	family.get(guide).says(t, http.StatusOK, "Kicks", "siempre necesario")

	if r := owner.upload(at+"/translations/es", "youth.es.yaml", b, url.Values{"from": {"file"}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d %s", r.status, r.body)
	}
	owner.get(at+"/translations").says(t, http.StatusOK, "Kept on ", "And ")
	family.get(guide).says(t, http.StatusOK, "Patadas", "Revisión del equipo", "siempre necesario", "Ámbar")
	family.get(guide+"/practice").says(t, http.StatusOK, "Saltos de estrella en 30 s")
	family.get("/family").says(t, http.StatusOK, "Ámbar")
	english := h.family("Phùng")
	english.get("/family/child/"+h.entry["Linh-Đan"]).says(t, http.StatusOK, "Kicks")

	desk := h.as(t, h.Person("Perpetua Okwuosah", app.Assistant, ""))
	desk.get(at+"/translations").says(t, http.StatusOK, "Take the file")
	if r := desk.post(at+"/translations/es", url.Values{"text": {spanish}}); r.status != http.StatusForbidden {
		t.Errorf("the desk translates: %d", r.status)
	}
}

// What the family chose stands at the desk, and what the desk writes down the
// family reads.
func TestALanguageIsChosenByTheFamilyAndAtTheDesk(t *testing.T) {
	h := newHome(t)
	desk := h.as(t, h.Person("Perpetua Okwuosah", app.Assistant, ""))
	desk.get("/roster/a3").says(t, http.StatusOK, `<option value="" selected>not said: English</option>`)
	family := h.visit(t)
	family.post(h.link["Krajewik"]+"?lang=es", nil)
	desk.get("/roster/a3").says(t, http.StatusOK, `<option value="es" selected>Español</option>`)
	desk.get("/roster/a4").says(t, http.StatusOK, `<option value="es" selected>Español</option>`) // the household's
	// The letter with its link is in that language, the others' are not.
	letters := desk.get(h.at + "/letters")
	letters.says(t, http.StatusOK, `lang="es"><div><h2><bdi>Krajewik</bdi></h2>`, "Esta es la página de Zofia e Igor:", "This is the page for Linh-Đan:")
	if r := desk.post("/roster/a4/language", url.Values{"lang": {"en"}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d", r.status)
	}
	family.get("/family").says(t, http.StatusOK, `<html lang="en">`)
	desk.post("/roster/a4/language", url.Values{"lang": {"tlh"}}).says(t, http.StatusUnprocessableEntity, "There is no language")
}

// Where weeks begin on Sunday the plan has it first, narrow, since nobody
// practises then, and times are said by the clock of the country.
func TestThePlanAndTheTimesAreThoseOfTheCountry(t *testing.T) {
	h := newHome(t)
	v := h.family("Krajewik")
	v.get("/family/times").says(t, http.StatusOK, "Saturday 10 October 2026, 09:00–12:00")
	h.as(t, h.Owner).post("/school", url.Values{"school": {"Otterlight"}, "country": {"us"}})
	v.get("/family/times").says(t, http.StatusOK, "Saturday, October 10, 2026, 9:00\u00a0am–12:00\u00a0pm")
	v.get("/family/child/"+h.entry["Zofia"]+"/practice").says(t, http.StatusOK, `<td></td><th scope="col" class="family-off">Sun</th><th scope="col">Mon</th>`)
	h.as(t, h.Owner).post("/school", url.Values{"school": {"Otterlight"}, "country": {"XB"}}).says(t, http.StatusUnprocessableEntity, "There is no country")
}
