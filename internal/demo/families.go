package demo

import (
	"slices"

	"rankwright"
	"rankwright/internal/app"
)

// What the club's guardians sign: invented words, and no legal advice.
const (
	consentWords = "I answer for {child} and agree that {child} takes part in the {grading} on {day}, for {rank}.\n" +
		"As far as I know {child} is fit for it. What the club should know I say in person, before the day.\n" +
		"I bring {child} to the Netloft and collect {child}, or tell the desk who does."
	homeNoteWords = "I have read the home note for {rank} with {child}."
)

// families opens the coming grading to families, makes their links and lets
// some of them answer. It returns what opens the page of one with two children
// that has not answered yet.
func (f *filler) families(id rankwright.GradingID) (string, error) {
	owner := f.actors[head]
	for i, words := range []string{consentWords, homeNoteWords} {
		if err := f.app.WriteFamilySheet(f.ctx, owner, id, clearances[i], words); err != nil {
			return "", err
		}
	}
	if err := f.app.Move(f.ctx, owner, id, app.Families); err != nil {
		return "", err
	}
	if _, err := f.app.MakeLinks(f.ctx, f.actors[desk], id, nil, 0, false); err != nil {
		return "", err
	}
	v, err := f.app.Families(f.ctx, owner, id)
	if err != nil {
		return "", err
	}
	at := slices.IndexFunc(v.List, func(x app.FamilyAtDesk) bool { return len(x.Entries) > 1 })
	for i, x := range v.List {
		if i == at {
			err = f.silent(v, x)
		} else {
			err = f.answer(i, x)
		}
		if err != nil {
			return "", err
		}
	}
	return v.List[at].Secret, nil
}

// silent takes back what a family said: it is the one whose page is shown.
func (f *filler) silent(v app.FamiliesView, x app.FamilyAtDesk) error {
	for _, s := range v.Sessions {
		if err := f.app.SetAnswer(f.ctx, f.actors[desk], v.Grading.ID, x.ID, s.ID, ""); err != nil {
			return err
		}
	}
	for _, e := range x.Entries {
		for _, c := range clearances {
			if err := f.app.SetClearance(f.ctx, f.actors[desk], e.Entry.ID, c, false); err != nil {
				return err
			}
		}
	}
	return nil
}

// answer lets a family say something on its page: every ninth asks, one would
// rather talk first.
func (f *filler) answer(i int, x app.FamilyAtDesk) error {
	questions := []string{"May her little brother watch from the stage?", "We are on the ferry that docks at ten: is that early enough?", "She has outgrown her belt. Which length should we ask for?"}
	talks := i == 9
	if i%9 != 4 && !talks {
		return nil
	}
	who, err := f.app.OpenLink(f.ctx, x.Secret)
	if err != nil {
		return err
	}
	if i%9 == 4 {
		if err := f.app.AskSchool(f.ctx, who, questions[i/9%len(questions)]); err != nil {
			return err
		}
		return f.app.FamilyWishes(f.ctx, who, nil, "The ferry docks at ten past the hour.")
	}
	p, err := f.app.FamilyPage(f.ctx, who)
	if err != nil {
		return err
	}
	for _, c := range p.Children {
		for _, s := range c.Sheets {
			if s.State == "" {
				return f.app.SignFamily(f.ctx, who, "", []app.Signing{{Entry: c.Entry.ID, Clearance: s.Clearance, Said: app.TalkFirst}})
			}
		}
	}
	return nil
}
