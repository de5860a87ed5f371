package web

import (
	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// onTheDoor asks whose name is kept off the list on the door; no choices where
// there is no list to come.
func (f *familyQuery) onTheDoor(v *app.FamilyPage) (out []look.Option) {
	if !v.MayAnswer || len(v.Sessions) == 0 {
		return nil
	}
	for _, c := range v.Children {
		x := look.Option{Value: string(c.Entry.ID), Text: f.say.It("names.off", words.Set{Name: "Name", Value: c.Student.GivenName})}
		for _, off := range v.Family.OffDoor {
			x.Selected = x.Selected || off == c.Entry.ID
		}
		out = append(out, x)
	}
	return out
}

// familyNames keeps whose names do not hang on the door.
func familyNames(f *familyQuery) (Answer, error) {
	if err := f.ParseForm(); err != nil {
		return nil, err
	}
	var off []rankwright.EntryID
	for _, e := range f.Form["off"] {
		off = append(off, rankwright.EntryID(e))
	}
	if err := f.App().FamilyOffDoor(f.Context(), f.who, off); err != nil {
		return nil, err
	}
	f.Flash("good", f.say.It("names.thanks"))
	return To("/family"), nil
}
