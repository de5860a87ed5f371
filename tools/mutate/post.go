package main

var postFaults = []fault{
	// What is certain of a letter.
	{"internal/post/server.go", "return Result{Fate: Unsure, Say: \"all of the letter", "return Result{Fate: Later, Say: \"all of the letter"},
	{"internal/post/server.go", "if r.Code >= 500 && r.Code < 600 {", "if r.Code >= 400 && r.Code < 600 {"},
	{"internal/post/server.go", "if r.Code >= 500 && r.Code < 600 {", "if false {"},
	{"internal/post/server.go", "r.Fate, r.Server = Later, true", "r.Server = true"},
	{"internal/post/server.go", "r.Say = \"the connection to the mail server broke \" + when", "r.Server = true"},
	{"internal/post/server.go", "most > 0 && len(data) > most {", "most > 0 && len(data) < most {"},
	{"internal/post/server.go", "c.stop = context.AfterFunc(ctx, c.hurry)", "c.stop = func() bool { return true }"},
	// The way to the server.
	{"internal/post/server.go", "RootCAs: s.s.Authorities}", "InsecureSkipVerify: true}"},
	{"internal/post/server.go", "if offered, _ := c.smtp.Extension(\"STARTTLS\"); !offered {", "if false {"},
	{"internal/post/server.go", "if s.s.Security == StartTLS {", "if false {"},
	{"internal/post/server.go", "if s.s.User != \"\" {", "if false {"},
	// What others could slip into a letter.
	{"internal/post/text.go", "case r < ' ', r == 0x85, r == 0x2028, r == 0x2029:\n\t\t\treturn ' '", "case r == 0x85, r == 0x2028, r == 0x2029:\n\t\t\treturn ' '"},
	{"internal/post/text.go", "return !strings.Contains(s, \"=?\")", "return true"},
	{"internal/post/text.go", "for n < len(s) && !utf8.RuneStart(s[n]) {\n\t\t\tn--", "for n < 0 && !utf8.RuneStart(s[n]) {\n\t\t\tn--"},
	{"internal/post/text.go", "if i > 0 && at+1+len(word) > 76 {", "if i > 0 && at+1+len(word) > 998 {"},
	{"internal/post/text.go", "strings.NewReplacer(`\\`, `\\\\`, `\"`, `\\\"`)", "strings.NewReplacer(`\"`, `\\\"`)"},
	{"internal/post/message.go", "if !goodID(m.ID) {", "if m.ID == \"\" {"},
	{"internal/post/message.go", "!visible(m.OptOut) || strings.ContainsAny(m.OptOut, \"<>,\") ||", "!visible(m.OptOut) ||"},
	{"internal/post/message.go", "if u.Scheme == \"https\" {", "if true {"},
	{"internal/post/message.go", "[]byte(kind + \" \" + m.ID)", "[]byte(m.ID)"},
	{"internal/post/message.go", "params[\"name\"] = f.Name", "_ = f.Name"},
	{"internal/post/address.go", "case len(local) > 64:", "case len(local) > 65:"},
	{"internal/post/address.go", "if len(out) > 254 {", "if len(out) > 255 {"},
	{"internal/post/address.go", "if last == ascii {", "if false {"},
	{"internal/post/address.go", "return \"\", f\n\t}\n\tname := line(a.Name)", "return a.Mail, nil\n\t}\n\tname := line(a.Name)"},
	// The settings.
	{"internal/post/settings.go", "Perm() & 0o077; open != 0", "Perm() & 0o007; open != 0"},
	{"internal/post/settings.go", "s.Security == Clear && s.Host != \"\" && !loopback(s.Host)", "false"},
	{"internal/post/settings.go", "case user.at > 0 && password.at == 0 && file.at == 0:", "case false:"},
	{"internal/post/settings.go", "if _, twice := r.values[key]; twice {", "if false {"},
	{"internal/post/settings.go", "func (Secret) GoString() string { return \"(secret)\" }", "func (s Secret) GoString() string { return string(s) }"},
	// What comes back.
	{"internal/post/bounce.go", "if f.status == nil || f.id != \"\" {", "if f.id != \"\" {"},
	{"internal/post/bounce.go", "f.closed = true", "f.closed = false"},
	{"internal/post/bounce.go", "if original != \"\" {", "if false {"},
	{"internal/post/bounce.go", "strings.HasPrefix(now.Status, \"5\") {", "true {"},
	{"internal/post/bounce.go", "body = quotedprintable.NewReader(body)", "_ = quotedprintable.NewReader(body)"},
	{"internal/post/bounce.go", "f.closed || f.parts > mostParts || depth > deepestParts {", "f.closed {"},
}
