package web_test

import (
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A family leaves its child off the list on the door; the brother stays on it.
func TestTheListOnTheDoorLeavesOutWhoWantsIt(t *testing.T) {
	h := newHome(t)
	desk, at := h.as(t, h.Owner), "/gradings/"+string(h.g)+"/timetable"
	mother := h.family("Krajewik")
	mother.get("/family").says(t, 200, "The list on the door", "Leave Zofia off the list", "Leave Igor off the list", `name="off" value="`+h.entry["Zofia"]+`"`)
	if r := mother.post("/family/names", url.Values{"off": {h.entry["Zofia"], h.entry["Naveed"]}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d %s", r.status, r.body)
	}
	mother.get("/family").says(t, 200, "the list will be as you wish", `value="`+h.entry["Zofia"]+`" checked`)
	if r := desk.post(at+"/child", url.Values{"entry": {h.entry["Hanae"]}, "do": {"off-door"}}); r.status != http.StatusSeeOther {
		t.Fatalf("%d %s", r.status, r.body)
	}
	desk.get(at+"/child?entry="+h.entry["Hanae"]).says(t, 200, "not on the door", "The name may stand on the door")
	if err := h.App.SetAnswer(t.Context(), h.Owner, h.g, "h4", h.when[1], "no"); err != nil {
		t.Fatal(err)
	}
	h.planned(t, desk, at, h.g)
	if r := desk.post(at+"/publish", nil); r.status != http.StatusSeeOther {
		t.Fatalf("%d %s", r.status, r.body)
	}
	desk.get(at).says(t, 200, "kept off it)")
	text := ""
	for _, session := range h.when {
		r := desk.get(at + "/door-list.pdf?session=" + session)
		if r.status != 200 {
			continue // nobody stands on that day
		}
		file := filepath.Join(t.TempDir(), "door.pdf")
		if err := os.WriteFile(file, []byte(r.body), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("pdftotext", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		text += string(out)
	}
	for name, on := range map[string]bool{"Igor K.": true, "Naveed B.": true, "Zofia": false, "Hanae": false} {
		if strings.Contains(text, name) != on {
			t.Errorf("%s on the door: %t\n%s", name, !on, text)
		}
	}
}
