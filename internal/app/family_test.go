package app_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/store"
	"rankwright/scoring"
)

// families is a grading that is open to families, with a link for each.
type families struct {
	*times
	secret map[rankwright.HouseholdID]string
}

const consentWords = "I agree that {child} takes part in the {grading} on {day} for {rank}."

func newFamilies(t *testing.T) *families {
	t.Helper()
	f := &families{times: newTimes(t)}
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.Families))
	f.must(f.App.WriteFamilySheet(f.Ctx(), f.Owner, f.g, "consent", consentWords))
	f.must(f.App.WriteFamilySheet(f.Ctx(), f.Owner, f.g, "home_note", "I have read the home note."))
	n, err := f.App.MakeLinks(f.Ctx(), f.desk, f.g, nil, 0, false)
	f.must(err)
	if n != 7 {
		t.Fatalf("%d links for seven households", n)
	}
	f.links()
	return f
}

// links reads what opens the links, as the desk prints them.
func (f *families) links() {
	f.t.Helper()
	f.secret = map[rankwright.HouseholdID]string{}
	for _, x := range f.desk1().List {
		f.secret[x.ID] = x.Secret
	}
}

func (f *families) desk1() app.FamiliesView {
	f.t.Helper()
	v, err := f.App.Families(f.Ctx(), f.desk, f.g)
	f.must(err)
	return v
}

func (f *families) open(h rankwright.HouseholdID) app.Actor {
	f.t.Helper()
	who, err := f.App.OpenLink(f.Ctx(), f.secret[h])
	f.must(err)
	return who
}

func (f *families) page(who app.Actor) *app.FamilyPage {
	f.t.Helper()
	p, err := f.App.FamilyPage(f.Ctx(), who)
	f.must(err)
	return p
}

func (f *families) recalled(who app.Actor) bool {
	f.t.Helper()
	_, ok, err := f.App.RecallFamily(f.Ctx(), who.ID)
	f.must(err)
	return ok
}

func TestALinkOpensOneFamilysPageUntilItEnds(t *testing.T) {
	f := newFamilies(t)
	for h, secret := range f.secret {
		if len(secret) != 32 { // 160 bits in letters of five bits
			t.Fatalf("the link of %s has %q", h, secret)
		}
	}
	// Programs that look at mail change nothing; the base has no link in it.
	for range 50 {
		f.must(f.App.CheckLink(f.Ctx(), f.secret["h4"]))
	}
	if l := f.desk1().List[0].Link; l.Used != 0 {
		t.Errorf("looking at a link counts as its use: %s", l.Used)
	}
	f.must(f.Store.Checkpoint(f.Ctx()))
	base, err := os.ReadFile(filepath.Join(f.Dir, "rankwright.db"))
	f.must(err)
	sum := sha256.Sum256([]byte(f.secret["h4"]))
	if strings.Contains(string(base), f.secret["h4"]) || !strings.Contains(string(base), hex.EncodeToString(sum[:])) {
		t.Error("the base holds the link itself, or not its hash")
	}

	who := f.open("h4")
	p := f.page(who)
	var given []string
	for _, c := range p.Children {
		given = append(given, c.Student.GivenName)
	}
	if !slices.Equal(given, []string{"Zofia", "Igor"}) || p.Grading.ID != f.g {
		t.Errorf("the page shows %v", given)
	}
	for _, wrong := range []string{"", "x", f.secret["h4"][1:], strings.ToUpper(f.secret["h4"])} {
		f.fails("link_ended", f.App.CheckLink(f.Ctx(), wrong))
		_, err := f.App.OpenLink(f.Ctx(), wrong)
		f.fails("link_ended", err)
	}

	// A new one ends the old one, and who was in is out.
	n, err := f.App.MakeLinks(f.Ctx(), f.desk, f.g, []rankwright.HouseholdID{"h4"}, 0, true)
	f.must(err)
	if n != 1 || f.recalled(who) {
		t.Errorf("%d made; the old link still works: %v", n, f.recalled(who))
	}
	f.fails("link_ended", f.App.CheckLink(f.Ctx(), f.secret["h4"]))
	f.links()
	who = f.open("h4")
	if n, err = f.App.MakeLinks(f.Ctx(), f.desk, f.g, nil, 0, false); n != 0 || err != nil {
		t.Errorf("%d more were made: %v", n, err)
	}
	f.must(f.App.WithdrawLinks(f.Ctx(), f.desk, f.g, "h4"))
	if f.recalled(who) || !f.recalled(f.open("h1")) {
		t.Error("one link was to be withdrawn, and the others not")
	}
	f.must(f.App.WithdrawLinks(f.Ctx(), f.desk, f.g, ""))
	f.fails("link_ended", f.App.CheckLink(f.Ctx(), f.secret["h1"]))

	// One with a last day, and one that ends sixty days after the grading.
	_, err = f.App.MakeLinks(f.Ctx(), f.desk, f.g, []rankwright.HouseholdID{"h1"}, rankwright.MustDay("2026-10-20"), false)
	f.must(err)
	_, err = f.App.MakeLinks(f.Ctx(), f.desk, f.g, []rankwright.HouseholdID{"h2"}, 0, false)
	f.must(err)
	f.links()
	one, two := f.open("h1"), f.open("h2")
	for _, at := range []struct {
		day      string
		one, two bool
	}{{"2026-10-20", true, true}, {"2026-10-21", false, true}, {"2026-12-09", false, true}, {"2026-12-10", false, false}} {
		f.At(at.day)
		if f.recalled(one) != at.one || f.recalled(two) != at.two {
			t.Errorf("on %s the links work: %v, %v", at.day, f.recalled(one), f.recalled(two))
		}
	}
	_, err = f.App.MakeLinks(f.Ctx(), f.desk, f.g, nil, rankwright.MustDay("2026-12-09"), false)
	f.fails("until", err)
	if f.desk1().List[0].Secret != "" {
		t.Error("what opens a link is shown for longer than half an hour")
	}
}

// Whatever a family asks for, it reaches nothing but its own page.
func TestAFamilyReachesNothingOfAnother(t *testing.T) {
	f := newFamilies(t)
	who := f.open("h5")
	f.fails("no_entry", f.App.SignFamily(f.Ctx(), who, "Mai Phùng", []app.Signing{{Entry: f.entry["a3"], Clearance: "consent", Read: "x", Said: app.Signed}}))
	f.fails("no_entry", f.App.SignFamily(f.Ctx(), who, "Mai Phùng", []app.Signing{{Entry: f.entry["a5"], Clearance: "consent", Read: f.page(who).Children[0].Sheets[0].Hash, Said: app.Signed}, {Entry: "e-nobody", Clearance: "consent", Read: "x", Said: app.Signed}}))
	if s := f.page(who).Children[0].Sheets[0]; s.State != "" {
		t.Errorf("half of a refused signing was kept: %+v", s)
	}
	_, timetable := f.App.Timetable(f.Ctx(), who, f.g)
	_, grading := f.App.Grading(f.Ctx(), who, f.g)
	_, roster := f.App.Students(f.Ctx(), who)
	_, desk := f.App.Families(f.Ctx(), who, f.g)
	_, inbox := f.App.Inbox(f.Ctx(), who, f.g)
	_, made := f.App.MakeLinks(f.Ctx(), who, f.g, nil, 0, false)
	_, _, outcomes := f.App.Outcomes(f.Ctx(), who, f.g)
	_, _, outcome := f.App.OneOutcome(f.Ctx(), who, f.entry["a5"])
	_, export := f.App.ExportStudent(f.Ctx(), who, "a5")
	for i, err := range []error{timetable, grading, roster, desk, inbox, made, outcomes, outcome, export,
		f.App.SetAnswer(f.Ctx(), who, f.g, "h5", "s1", "no"), f.App.SetClearance(f.Ctx(), who, f.entry["a5"], "consent", true),
		f.App.WithdrawLinks(f.Ctx(), who, f.g, ""), f.App.ShowResults(f.Ctx(), who, f.g, "", true), f.App.EraseStudent(f.Ctx(), who, "a5")} {
		if rankwright.KindOf(err) != rankwright.Forbidden || err == nil {
			t.Errorf("act %d of a family gives %v", i, err)
		}
	}
	// And nobody else has a family's page.
	for _, other := range []app.Actor{f.Owner, f.tomek, f.desk, {}} {
		if _, err := f.App.FamilyPage(f.Ctx(), other); err == nil {
			t.Errorf("%q sees a family's page", other.Role)
		}
	}
}

func TestWhatIsSignedIsKeptWordForWordAndSettlesTheClearance(t *testing.T) {
	f := newFamilies(t)
	who := f.open("h4")
	sheets := func(child int) []app.FamilySheet { return f.page(who).Children[child].Sheets }
	met := func(s rankwright.StudentID) bool {
		v, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
		f.must(err)
		for _, e := range v.Entries {
			if e.Student.ID == s {
				return e.Clearances["consent"]
			}
		}
		return false
	}
	words := sheets(0)[0]
	if words.Body != "I agree that Zofia Krajewik takes part in the Autumn grading on Saturday 10 October 2026 for Amber." || words.Name == "" {
		t.Errorf("the words are %q", words.Body)
	}
	read := map[rankwright.StudentID]string{}
	reads := func() { read["a3"], read["a4"] = sheets(0)[0].Hash, sheets(1)[0].Hash }
	reads()
	sign := func(name, said string, children ...rankwright.StudentID) error {
		var list []app.Signing
		for _, c := range children {
			list = append(list, app.Signing{Entry: f.entry[c], Clearance: "consent", Read: read[c], Said: said})
		}
		return f.App.SignFamily(f.Ctx(), who, name, list)
	}
	f.fails("name", sign("  ", app.Signed, "a3"))
	f.fails("said", sign("Ewa", "maybe", "a3"))
	f.must(sign(" Ewa  Krajewik", app.Signed, "a3", "a4"))
	if !met("a3") || !met("a4") {
		t.Fatal("what is signed does not settle the clearance")
	}
	got := sheets(0)[0]
	if got.State != app.Signed || got.Last.Name != "Ewa Krajewik" || got.Last.Body != words.Body || int64(got.Last.At) != f.Now.UnixMilli() {
		t.Errorf("kept is %+v", got.Last)
	}
	sum := sha256.Sum256([]byte(fmt.Sprintf("%d:%s,%d:%s,", len("Ewa Krajewik"), "Ewa Krajewik", len(words.Body), words.Body)))
	if got.Last.Hash != hex.EncodeToString(sum[:]) {
		t.Error("the hash is not that of the name and the words")
	}

	// Taken back as easily, for one child; the other stays.
	f.must(sign("", app.Withdrawn, "a3"))
	if met("a3") || !met("a4") || sheets(0)[0].State != "" {
		t.Errorf("taken back: %+v", sheets(0)[0])
	}
	// Other words from now on: what was read before cannot be signed, what was
	// signed before stays.
	f.must(f.App.WriteFamilySheet(f.Ctx(), f.Owner, f.g, "consent", consentWords+" I bring {child}."))
	f.fails("other_words", sign("Ewa Krajewik", app.Signed, "a3"))
	reads()
	f.must(f.App.EditGrading(f.Ctx(), f.Owner, f.g, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-10-11"), Ladder: "youth"}))
	f.fails("other_words", sign("Ewa Krajewik", app.Signed, "a3")) // the day in them is another
	f.must(f.App.EditGrading(f.Ctx(), f.Owner, f.g, app.NewGrading{Title: "Autumn grading", Day: rankwright.MustDay("2026-10-10"), Ladder: "youth"}))
	if s := sheets(1)[0]; s.State != app.Signed || s.Last.Body == s.Body {
		t.Errorf("the brother's is %+v", s)
	}
	f.fails("consent", f.App.WriteFamilySheet(f.Ctx(), f.Owner, f.g, "consent", "For {name}"))

	// Rather talk first: it holds, only the head instructor sees it, and only
	// the head instructor settles it.
	f.must(sign("", app.TalkFirst, "a3"))
	talks := func(by app.Actor) int {
		v, err := f.App.Families(f.Ctx(), by, f.g)
		f.must(err)
		n := 0
		for _, x := range v.List {
			n += len(x.Talk)
		}
		return n
	}
	if talks(f.Owner) != 1 || talks(f.desk) != 0 || talks(f.tomek) != 0 {
		t.Errorf("seen by head, desk, instructor: %d, %d, %d", talks(f.Owner), talks(f.desk), talks(f.tomek))
	}
	for _, by := range []app.Actor{f.desk, f.tomek} {
		f.fails("ask_first", f.App.SetClearance(f.Ctx(), by, f.entry["a3"], "consent", true))
		x, err := f.App.ExportStudent(f.Ctx(), f.tomek, "a3")
		f.must(err)
		if slices.ContainsFunc(x.Signatures, func(s store.Signature) bool { return s.Said == app.TalkFirst }) || len(x.Signatures) != 2 {
			t.Errorf("the export of an instructor has %d signatures", len(x.Signatures))
		}
	}
	f.must(f.App.SetClearance(f.Ctx(), f.Owner, f.entry["a3"], "consent", true))
	if !met("a3") || sheets(0)[0].State != "settled" {
		t.Errorf("settled by the head instructor: %+v", sheets(0)[0])
	}
	f.must(f.App.SetClearance(f.Ctx(), f.desk, f.entry["a3"], "consent", true)) // as it is

	// Erased: the words and the name go from the disk, the hash stays.
	x, err := f.App.ExportStudent(f.Ctx(), f.Owner, "a4")
	f.must(err)
	text, err := json.Marshal(x)
	f.must(err)
	if !strings.Contains(string(text), "Ewa Krajewik") {
		t.Error("the export of a child lacks what was signed for it")
	}
	f.must(f.App.EraseStudent(f.Ctx(), f.Owner, "a4"))
	f.must(f.App.EraseStudent(f.Ctx(), f.Owner, "a3"))
	base, err := os.ReadFile(filepath.Join(f.Dir, "rankwright.db"))
	f.must(err)
	if strings.Contains(string(base), "Ewa") || strings.Contains(string(base), "takes part in the Autumn grading on") || !strings.Contains(string(base), got.Last.Hash) {
		t.Error("erasing leaves words, or takes the hash")
	}
	f.fails("link_ended", f.App.CheckLink(f.Ctx(), f.secret["h4"]))
}

func TestAFamilySaysWhatSuitsAsksAndIsAnswered(t *testing.T) {
	f := newFamilies(t)
	s := f.row("2026-10-10", 540, 660, false, "A")
	who := f.open("h1")
	f.must(f.App.FamilyWishes(f.Ctx(), who, map[string]string{s.ID: "if_need_be"}, "after ten, please"))
	f.fails("suits", f.App.FamilyWishes(f.Ctx(), who, map[string]string{s.ID: "perhaps"}, ""))
	f.fails("note", f.App.FamilyWishes(f.Ctx(), who, nil, strings.Repeat("é", 301)))
	p := f.page(who)
	if got := p.Family.SuitsOf(s.ID); got != "if_need_be" || p.Family.Note != "after ten, please" {
		t.Errorf("kept is %q, %q", got, p.Family.Note)
	}
	if x := f.look().Family("h1"); x.SuitsOf(s.ID) != "if_need_be" || f.look().Family("h2").Answered() != 0 {
		t.Error("the timetable does not know what the family said")
	}

	f.fails("body", f.App.AskSchool(f.Ctx(), who, " \n"))
	f.fails("body", f.App.AskSchool(f.Ctx(), who, strings.Repeat("a", 1001)))
	for i := range 10 {
		f.must(f.App.AskSchool(f.Ctx(), who, fmt.Sprint("Question ", i)))
	}
	f.fails("many_questions", f.App.AskSchool(f.Ctx(), who, "One more"))
	if _, err := f.App.Inbox(f.Ctx(), f.desk, f.g); rankwright.KindOf(err) != rankwright.Forbidden {
		t.Errorf("the desk reads the inbox: %v", err)
	}
	f.must(f.App.AskSchool(f.Ctx(), f.open("h2"), "Where do we park?"))
	f.must(f.App.AnswerFamily(f.Ctx(), f.Owner, f.g, "h1", "Yes to all."))
	inbox, err := f.App.Inbox(f.Ctx(), f.Owner, f.g)
	f.must(err)
	if len(inbox) != 2 || inbox[0].Family.ID != "h2" || inbox[0].Waits != 1 || inbox[1].Waits != 0 || len(inbox[1].Messages) != 11 {
		t.Errorf("the inbox is %+v", inbox)
	}
	if m := f.page(who).Messages; len(m) != 11 || m[10].Body != "Yes to all." {
		t.Errorf("the family reads %d messages", len(m))
	}
	if m := f.page(f.open("h2")).Messages; len(m) != 1 {
		t.Errorf("another family reads %+v", m)
	}
}

func TestAWaivedRequirementIsNotAskedAndAResultComesWhenTheHeadInstructorSays(t *testing.T) {
	f := newFamilies(t)
	f.must(f.App.Waive(f.Ctx(), f.Owner, app.Waiver{Grading: f.g, Rank: "amber", Requirement: "AM-SM1", Reason: "no room"}))
	f.must(f.App.Waive(f.Ctx(), f.Owner, app.Waiver{Grading: f.g, Rank: "amber", Requirement: "AM-KI1", Entry: f.entry["a3"], Reason: "ankle"}))
	who, other := f.open("h4"), f.open("h5") // Zofia and Linh-Đan are for Amber both
	asks := func(p *app.FamilyPage, id rankwright.RequirementID) (asked, waived bool) {
		for _, q := range p.Children[0].Asked {
			asked = asked || q.ID == id
		}
		for _, q := range p.Children[0].NotAsked {
			waived = waived || q.ID == id
		}
		return asked, waived
	}
	for _, want := range []struct {
		who           app.Actor
		id            rankwright.RequirementID
		asked, waived bool
	}{{who, "AM-SM1", false, true}, {other, "AM-SM1", false, true}, {who, "AM-KI1", false, true}, {other, "AM-KI1", true, false}, {who, "AM-CN1", false, false}} {
		if asked, waived := asks(f.page(want.who), want.id); asked != want.asked || waived != want.waived {
			t.Errorf("%s: asked %v, waived %v", want.id, asked, waived)
		}
	}

	f.At("2026-10-10")
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.OnTheMat))
	v, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		var marks []scoring.Mark
		for _, q := range k.Requirements {
			value := 1
			if e.Student.ID == "a3" && q.Section == "SM" {
				value = 0
			}
			marks = append(marks, scoring.Mark{Entry: e.Entry.ID, Requirement: q.ID, Value: scoring.N(value)})
		}
		_, err := f.App.AddMarks(f.Ctx(), f.Owner, f.g, marks)
		f.must(err)
	}
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.Deciding))
	f.fails("wrong_state", f.App.ShowResults(f.Ctx(), f.Owner, f.g, "", true))
	f.must(f.App.Sign(f.Ctx(), f.Owner, f.g, ""))
	result := func(who app.Actor) string {
		if o := f.page(who).Children[0].Result; o != nil {
			return o.Stands().String()
		}
		return ""
	}
	if result(who) != "" {
		t.Error("a result is shown before the head instructor says so")
	}
	f.must(f.App.ShowResults(f.Ctx(), f.Owner, f.g, "h4", true))
	if result(who) == "" || result(other) != "" {
		t.Errorf("shown: %q, %q", result(who), result(other))
	}
	f.must(f.App.ShowResults(f.Ctx(), f.Owner, f.g, "", true))
	f.must(f.App.ShowResults(f.Ctx(), f.Owner, f.g, "h4", false))
	if result(who) != "" || result(other) == "" {
		t.Errorf("shown: %q, %q", result(who), result(other))
	}
	f.fails("wrong_state", f.App.FamilyWishes(f.Ctx(), who, nil, "too late"))
	for _, at := range []struct {
		day  string
		open bool
	}{{"2026-11-09", true}, {"2026-11-10", false}} { // thirty days after the results
		f.At(at.day)
		if f.recalled(who) != at.open {
			t.Errorf("on %s the link works: %v", at.day, f.recalled(who))
		}
	}
}

// The table of docs/families.md says what the two tables of the app say.
func TestTheTableOfTheFamiliesManualIsTheCodes(t *testing.T) {
	text, err := os.ReadFile("../../docs/families.md")
	if err != nil {
		t.Fatal(err)
	}
	acts := map[string]app.Act{"see what families answered": app.SeeFamilies, "make and withdraw links": app.MakeLinks, "write what families sign": app.EditSheets,
		"write what letters and messages say": app.EditWordings, "print letters about results": app.PrintLetters,
		"read and answer questions": app.AnswerFamilies, "let families see results": app.ShowResults, "say what suits": app.AnswerOwn, "sign, take back, talk first": app.SignOwn, "ask": app.AskOwn,
		"choose its language": app.ChooseLang}
	found := 0
	for line := range strings.Lines(string(text)) {
		var cells []string
		for _, c := range strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|") {
			cells = append(cells, strings.TrimSpace(c))
		}
		act, ok := acts[cells[0]]
		if !ok || len(cells) != 6 {
			continue
		}
		found++
		for i, role := range []app.Role{app.Owner, app.Instructor, app.Assistant, app.Guardian} {
			if (cells[i+1] == "yes") != role.May(act) {
				t.Errorf("%s, %s: the manual says %q", act, role, cells[i+1])
			}
		}
		if app.Examiner.May(act) {
			t.Errorf("an examiner may %s, and the manual has no column for it", act)
		}
		var states []string
		for _, s := range app.States {
			if s.State.Allows(act) {
				states = append(states, s.Name)
			}
		}
		if want := strings.Join(states, ", "); cells[5] != want && (want != "" || cells[5] != "anything") {
			t.Errorf("%s: the manual says %q, the table of states %q", act, cells[5], want)
		}
	}
	if found != len(acts) {
		t.Errorf("the manual has %d of %d acts", found, len(acts))
	}
}

// After a "not yet" the next page asks only for what is shown again, says what
// stands, and knows what fell short.
func TestTheNextPageKnowsWhatStandsAndWhatFellShort(t *testing.T) {
	f := newFamilies(t)
	f.At("2026-10-10")
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.OnTheMat))
	v, err := f.App.Grading(f.Ctx(), f.Owner, f.g)
	f.must(err)
	for _, e := range v.Entries {
		k, _ := v.Syllabus.Rank(e.Rank)
		var marks []scoring.Mark
		for _, q := range k.Requirements {
			value := q.Expected(v.Syllabus.Band(e.Age)) // as asked, but for hands
			m := scoring.Mark{Entry: e.Entry.ID, Requirement: q.ID, Value: scoring.Value{Sort: scoring.Number, Num: max(value, rankwright.One)}}
			if e.Student.ID == "a3" && q.Section == "HA" {
				m.Value = scoring.N(0)
			}
			marks = append(marks, m)
		}
		_, err := f.App.AddMarks(f.Ctx(), f.Owner, f.g, marks)
		f.must(err)
	}
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.Deciding))
	f.must(f.App.Override(f.Ctx(), f.Owner, f.entry["a3"], "not_yet", "hands again", []string{"HA"}))
	f.must(f.App.Sign(f.Ctx(), f.Owner, f.g, ""))

	f.At("2026-10-20")
	g, err := f.App.CreateGrading(f.Ctx(), f.Owner, app.NewGrading{Title: "Retry", Day: rankwright.MustDay("2026-11-14"), Ladder: "youth"})
	f.must(err)
	f.g = g.ID
	f.must(f.App.EnterAnyway(f.Ctx(), f.Owner, f.g, "a3", "a retry"))
	f.must(f.App.Move(f.Ctx(), f.Owner, f.g, app.Families))
	_, err = f.App.MakeLinks(f.Ctx(), f.desk, f.g, nil, 0, false)
	f.must(err)
	f.links()
	c := f.page(f.open("h4")).Children[0]
	var asked []rankwright.RequirementID
	for _, q := range c.Asked {
		asked = append(asked, q.ID)
	}
	if want := []rankwright.RequirementID{"AM-HA1", "AM-HA2"}; !slices.Equal(asked, want) {
		t.Errorf("asked is %v, want %v", asked, want)
	}
	if len(c.Stands) < 15 || !slices.Contains(c.Weak.Sections, "HA") || c.From != rankwright.MustDay("2026-10-20") {
		t.Errorf("%d stand, weak is %+v, practice begins on %s", len(c.Stands), c.Weak, c.From)
	}
}
