package roster

import "strings"

// guardians merges the guardians of the row into the record. One with the
// same name is the same person; one without a name is known by e-mail address
// or telephone. Nobody is taken out.
func (im *importing) guardians(d *draft) {
	s := &d.student
	for _, g := range im.guardiansOf(d) {
		i := sameGuardian(s.Guardians, g)
		old := Guardian{}
		if i < 0 {
			s.Guardians = append(s.Guardians, g)
		} else {
			old = s.Guardians[i]
			s.Guardians[i] = Guardian{either(g.Name, old.Name), either(g.Email, old.Email), either(g.Phone, old.Phone)}
		}
		if g.Email != "" && g.Email != old.Email && !emailForm(g.Email) {
			d.doubt(im, GuardianEmailField, "email_form", "accept it, or "+redo, "%s does not look like an e-mail address", shown(g.Email))
		}
		if g.Phone != "" && g.Phone != old.Phone && phoneKey(g.Phone) == "" {
			d.doubt(im, GuardianPhoneField, "phone_form", "accept it, or "+redo, "%s does not look like a telephone number", shown(g.Phone))
		}
	}
}

// guardiansOf reads the guardians of a row: the first of each column belong
// together, then the second. In a single column a semicolon parts them.
func (im *importing) guardiansOf(d *draft) []Guardian {
	read := func(f Field) []string {
		cols := im.at[f]
		var out []string
		for _, c := range cols {
			text := cleanValue(unguard(cleanLine(d.row.Text(c))))
			if len(cols) == 1 {
				return strings.Split(text, ";")
			}
			out = append(out, text)
		}
		return out
	}
	names, emails, phones := read(GuardianNameField), read(GuardianEmailField), read(GuardianPhoneField)
	var gs []Guardian
	for i := range max(len(names), len(emails), len(phones)) {
		if g := (Guardian{nth(names, i), nth(emails, i), nth(phones, i)}).clean(); g != (Guardian{}) {
			gs = append(gs, g)
		}
	}
	return gs
}

func nth(s []string, i int) string {
	if i < len(s) {
		return s[i]
	}
	return ""
}

func either(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func sameGuardian(gs []Guardian, g Guardian) int {
	for i, o := range gs {
		if g.Name != "" && Fold(o.Name) == Fold(g.Name) {
			return i
		}
	}
	for i, o := range gs {
		if g.Name != "" && o.Name != "" {
			continue
		}
		if g.Email != "" && emailKey(o.Email) == emailKey(g.Email) ||
			g.Phone != "" && (o.Phone == g.Phone || phoneKey(g.Phone) != "" && phoneKey(o.Phone) == phoneKey(g.Phone)) {
			return i
		}
	}
	return -1
}

// emailForm says whether a text could be an address: something, one @, and a
// domain with a dot. Whether anybody reads it only a letter can tell.
func emailForm(s string) bool {
	local, domain, ok := strings.Cut(s, "@")
	return ok && local != "" && !strings.ContainsAny(s, " ,;<>\"()") && !strings.Contains(domain, "@") &&
		strings.Contains(strings.Trim(domain, "."), ".") && strings.Trim(domain, ".-") == domain
}

// text writes guardians for a person to compare.
func guardiansText(gs []Guardian) string {
	var all []string
	for _, g := range gs {
		var parts []string
		for _, p := range []string{g.Name, g.Email, g.Phone} {
			if p != "" {
				parts = append(parts, p)
			}
		}
		all = append(all, strings.Join(parts, ", "))
	}
	return strings.Join(all, "; ")
}
