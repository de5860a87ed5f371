package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"rankwright"
	"rankwright/internal/store"
	"rankwright/internal/words"
)

// What a family can say to a sheet.
const (
	Signed    = "signed"
	Withdrawn = "withdrawn"
	TalkFirst = "talk"
)

// FamilySheet is one sheet as it is put before a family, for one child.
type FamilySheet struct {
	Clearance rankwright.ClearanceID
	Name      string // of the clearance
	Number    int64  // of the sheet
	Body      string // the words, for this child
	Hash      string // of the words: who signs says by it what was read
	// State is "" while nothing was said, Signed, TalkFirst, or "settled" where
	// the school has it in another way, such as on paper.
	State string
	// Last is what was said last, nil where nothing was.
	Last *Signature
}

// SheetFields are what the words of a sheet may name, in braces.
var SheetFields = []string{"child", "rank", "grading", "day"}

// Signing is what a family says to one sheet.
type Signing struct {
	Entry     rankwright.EntryID
	Clearance rankwright.ClearanceID
	Read      string // FamilySheet.Hash of the words that were read
	Said      string
}

// signed is what families may sign at a grading, and have signed.
type signed struct {
	say    *words.Say    // the language of the school's own words
	sheets []store.Sheet // the latest of each clearance, with words
	said   []store.Signature
}

func (a *App) signedAt(tx *store.Tx, v GradingView) (s signed, err error) {
	if s.sheets, err = latestSheets(tx, v.Syllabus.Ladder); err != nil {
		return s, err
	}
	sc, err := schoolOf(tx)
	if err != nil {
		return s, err
	}
	s.say = sc.Say(words.Pick(sc.Lang, ""))
	s.said, err = tx.Signatures(v.ID)
	return s, err
}

func latestSheets(tx *store.Tx, ladder rankwright.LadderID) ([]store.Sheet, error) {
	all, err := tx.Sheets(ladder)
	var out []store.Sheet
	for _, x := range all {
		out = slices.DeleteFunc(out, func(o store.Sheet) bool { return o.Clearance == x.Clearance })
		if x.Body != "" {
			out = append(out, x)
		}
	}
	return out, err
}

// of lists the sheets of one entry in the order of the syllabus.
func (s *signed) of(v GradingView, e *EntryView) (out []FamilySheet) {
	k, _ := v.Syllabus.Rank(e.Rank)
	for _, c := range v.Syllabus.Clearances {
		at := slices.IndexFunc(s.sheets, func(x store.Sheet) bool { return x.Clearance == c.ID })
		if at < 0 || !slices.Contains(k.Clearances, c.ID) {
			continue
		}
		f := FamilySheet{Clearance: c.ID, Name: c.Name, Number: s.sheets[at].Number, Last: lastSaid(s.said, e.Entry.ID, c.ID)}
		f.Body = strings.NewReplacer("{child}", e.Student.FullName(), "{rank}", k.Name, "{grading}", v.Title, "{day}", s.say.Day(v.Day)).Replace(s.sheets[at].Body)
		f.Hash = hashOf(f.Body)
		switch met := e.Clearances[c.ID]; {
		case met && f.Last != nil && f.Last.Said == Signed:
			f.State = Signed
		case met:
			f.State = "settled"
		case f.Last != nil && f.Last.Said == TalkFirst:
			f.State = TalkFirst
		}
		out = append(out, f)
	}
	return out
}

func lastSaid(said []store.Signature, entry rankwright.EntryID, id rankwright.ClearanceID) *Signature {
	for i := len(said) - 1; i >= 0; i-- {
		if said[i].Entry == entry && said[i].Clearance == id {
			return &said[i]
		}
	}
	return nil
}

// talkFirst says whether a family wants to talk before a clearance is settled.
func talkFirst(tx *store.Tx, g rankwright.GradingID, entry rankwright.EntryID, id rankwright.ClearanceID) (bool, error) {
	said, err := tx.Signatures(g)
	if err != nil {
		return false, err
	}
	last := lastSaid(said, entry, id)
	if last == nil || last.Said != TalkFirst {
		return false, nil
	}
	// What the head instructor settled since stays so.
	records, err := tx.ClearancesOf(entry)
	met := false
	for _, c := range records {
		if c.Clearance == id {
			met = c.Met
		}
	}
	return !met, err
}

// SignFamily keeps what a family says to its sheets: signed with a typed name,
// taken back, or to be talked about first. Each is kept word for word with the
// moment, and settles the clearance or opens it again. All of it is kept, or
// nothing.
func (a *App) SignFamily(ctx context.Context, who Actor, name string, list []Signing) error {
	name = strings.Join(strings.Fields(name), " ")
	if utf8.RuneCountInString(name) > 80 {
		return invalid("name", "write it in at most 80 characters", "that name is too long")
	}
	return a.do(ctx, who, SignOwn, who.own(), func(tx *store.Tx) (any, error) {
		v, err := a.grading(tx, who.Only)
		if err != nil {
			return nil, err
		}
		s, err := a.signedAt(tx, v)
		if err != nil {
			return nil, err
		}
		var said []map[string]any
		for _, x := range list {
			at := slices.IndexFunc(v.Entries, func(e EntryView) bool { return e.Entry.ID == x.Entry && !e.Erased && householdOf(&e) == who.household })
			if at < 0 {
				return nil, rankwright.Faultf(rankwright.NotFound, "no_entry", "load the page again", "this child is not entered any more")
			}
			e := &v.Entries[at]
			sheets := s.of(v, e)
			i := slices.IndexFunc(sheets, func(f FamilySheet) bool { return f.Clearance == x.Clearance })
			if i < 0 {
				return nil, rankwright.Faultf(rankwright.Conflict, "no_sheet", "load the page again", "there is nothing to sign for that any more")
			}
			f := &sheets[i]
			kept, err := a.signOne(tx, who, name, e, f, x)
			if err != nil {
				return nil, err
			}
			if kept {
				said = append(said, map[string]any{"entry": x.Entry, "clearance": x.Clearance, "said": x.Said, "sheet": f.Number})
			}
		}
		return said, nil
	})
}

// signOne keeps one signature, unless it is what stands already.
func (a *App) signOne(tx *store.Tx, who Actor, name string, e *EntryView, f *FamilySheet, x Signing) (kept bool, err error) {
	switch x.Said {
	case Signed:
		switch {
		case name == "":
			return false, invalid("name", "write your own name, as you sign", "there is no name under what you sign")
		case x.Read != f.Hash: // also where a day, a name or a rank in them is another by now
			return false, rankwright.Faultf(rankwright.Conflict, "other_words", "read it once more, then sign", "the words are not those that were read any more")
		}
	case TalkFirst:
	case Withdrawn:
		if f.State != Signed {
			return false, nil
		}
	default:
		return false, invalid("said", "choose one of the answers", "a sheet cannot be answered with %q", x.Said)
	}
	if f.State == x.Said {
		return false, nil
	}
	body := f.Body
	if x.Said == Withdrawn { // what is taken back is what was signed
		body, name = f.Last.Body, f.Last.Name
	}
	if _, err := tx.AddSignature(store.Signature{Grading: e.Grading, Student: e.Entry.Student, Entry: e.Entry.ID, Clearance: f.Clearance, Sheet: f.Number,
		Said: x.Said, Hash: signHash(name, body), Link: who.ID, At: a.moment(), Name: name, Body: body}); err != nil {
		return false, err
	}
	return true, tx.AddClearance(store.ClearanceRecord{Entry: e.Entry.ID, Clearance: f.Clearance, Met: x.Said == Signed, By: who.ID, At: a.moment()})
}

// signHash is over the name and the words, each with its length, so that no end
// of one can be moved into the other.
func signHash(name, body string) string {
	return hashOf(fmt.Sprintf("%d:%s,%d:%s,", len(name), name, len(body), body))
}

// SheetView is the sheet of one clearance of a ladder as the school writes it.
type SheetView struct {
	Clearance rankwright.ClearanceID
	Name      string
	Body      string // "" where families do not sign it
	Number    int64  // 0 where nothing was ever written
}

// FamilySheets lists the clearances of the grading's syllabus with what families
// sign for them.
func (a *App) FamilySheets(ctx context.Context, who Actor, id rankwright.GradingID) (out []SheetView, err error) {
	err = a.see(ctx, who, EditSheets, on{kind: "grading", id: string(id)}, func(tx *store.Tx) error {
		_, s, err := a.askedAt(tx, id)
		if err != nil {
			return err
		}
		all, err := tx.Sheets(s.Ladder)
		for _, c := range s.Clearances {
			v := SheetView{Clearance: c.ID, Name: c.Name}
			for _, x := range all {
				if x.Clearance == c.ID {
					v.Body, v.Number = x.Body, x.Number
				}
			}
			out = append(out, v)
		}
		return err
	})
	return out, err
}

// WriteFamilySheet writes what families sign for a clearance, for this grading's
// ladder from now on; no words takes it from them. What was signed under
// earlier words stays signed.
func (a *App) WriteFamilySheet(ctx context.Context, who Actor, id rankwright.GradingID, clearance rankwright.ClearanceID, body string) error {
	body = strings.TrimSpace(strings.ReplaceAll(body, "\r\n", "\n"))
	if utf8.RuneCountInString(body) > 4000 {
		return invalid(string(clearance), "write it in at most 4000 characters", "the words are too long to be read on a phone")
	}
	for rest := body; ; {
		_, after, ok := strings.Cut(rest, "{")
		if !ok {
			break
		}
		field, next, closed := strings.Cut(after, "}")
		if !closed || !slices.Contains(SheetFields, field) {
			return invalid(string(clearance), "write one of {"+strings.Join(SheetFields, "}, {")+"}, or no brace", "“{%s” names nothing", shorten(after, 20))
		}
		rest = next
	}
	return a.do(ctx, who, EditSheets, on{kind: "grading", id: string(id)}, func(tx *store.Tx) (any, error) {
		_, s, err := a.askedAt(tx, id)
		if err != nil {
			return nil, err
		}
		if s.Clearance(clearance) == nil {
			return nil, invalid("clearance", "choose one of the syllabus's", "there is no clearance %q", clearance)
		}
		all, err := tx.Sheets(s.Ladder)
		if err != nil {
			return nil, err
		}
		was := ""
		for _, x := range all {
			if x.Clearance == clearance {
				was = x.Body
			}
		}
		if was == body {
			return map[string]string{"clearance": string(clearance), "what": "as it was"}, nil
		}
		x, err := tx.AddSheet(store.Sheet{Ladder: s.Ladder, Clearance: clearance, Body: body, By: who.ID, At: a.moment()})
		return map[string]any{"clearance": clearance, "sheet": x.Number, "hash": hashOf(body)}, err
	})
}

func shorten(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
