package web

import (
	"bytes"
	"net"
	"net/http"

	go_qr "github.com/piglig/go-qr"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/internal/paper"
	"rankwright/internal/web/look"
	"rankwright/internal/words"
)

// What is handed over: letters to print and texts to copy, for families without
// e-mail. Their links are made when somebody asks for them, and can be seen for
// half an hour.

type handPage struct {
	Frame
	At     string
	Rows   []handRow
	Fresh  int // whose link can be printed now
	Alone  bool
	Papers bool
	None   *look.Empty
}

type handRow struct {
	ID, Family, Kind, Subject, Text, Lang, Why string
	Fresh                                      bool
}

func messagesHand(q *Query) (Answer, error) {
	id, v, err := q.outbox()
	if err != nil {
		return nil, err
	}
	p := &handPage{At: messagesHref(id), Alone: isLoopback(q.familyAddress(""))}
	p.Title, p.Kicker = "To hand over", v.Grading.Title
	p.Back = &look.Link{Href: messagesHref(id), Text: "Messages"}
	p.Styles = []string{look.AssetPath() + "family.css"}
	for _, m := range v.Messages {
		if m.State != app.ToHand {
			continue
		}
		r := handRow{ID: m.ID, Family: m.Family, Kind: kindTitle(m.Kind), Subject: m.Subject, Lang: m.Lang, Fresh: m.Secret != ""}
		r.Text = app.Shown(&m.Message, q.handLink(m))
		if r.Fresh {
			p.Fresh++
		}
		p.Rows = append(p.Rows, r)
	}
	if len(p.Rows) == 0 {
		p.None = &look.Empty{Title: "Nothing to hand over", Text: "Messages for families without e-mail are here once you have said yes to them.", Action: &look.Link{Href: p.Back.Href, Text: "Messages"}}
	} else {
		p.Lead = plural(len(p.Rows), "family is", "families are") + " told by a letter or a text that you paste. Write down when it is done."
	}
	return Page("messages-hand", p), nil
}

// handLink is the address of a family's page as it is printed, "" where it
// cannot be shown now.
func (q *Query) handLink(m app.MessageView) string {
	if m.Secret == "" {
		return ""
	}
	return q.familyAddress(app.LinkPath + m.Secret)
}

func messagesHandLinks(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	n, err := q.App().HandLinks(q.Context(), q.Who, id, q.FormValue("message"))
	if err != nil {
		return nil, err
	}
	if n == 0 {
		q.Flash("info", "There is nothing to hand over.")
		return To(messagesHref(id)), nil
	}
	q.Flash("good", "For half an hour the links stand in the texts below and in the letters. Links that the families had before still work.")
	return To(messagesHref(id) + "/hand"), nil
}

func messagesHanded(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	list := q.Form["message"]
	if q.FormValue("all") != "" {
		v, err := q.App().Outbox(q.Context(), q.Who, id)
		if err != nil {
			return nil, err
		}
		for _, m := range v.Messages {
			if m.State == app.ToHand {
				list = append(list, m.ID)
			}
		}
	}
	if err := q.App().Handed(q.Context(), q.Who, id, list, q.FormValue("as")); err != nil {
		return nil, err
	}
	q.Flash("good", "Written down as handed over.")
	return To(messagesHref(id) + "/hand"), nil
}

// messagesLetters prints the letters whose links were just made.
func messagesLetters(q *Query) (Answer, error) {
	v, err := q.App().Outbox(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")))
	if err != nil {
		return nil, err
	}
	var letters []paper.MessageLetter
	for _, m := range v.Messages {
		link := q.handLink(m)
		if m.State != app.ToHand || link == "" {
			continue
		}
		l := paper.MessageLetter{School: q.School.Name, Place: q.School.Place, Date: q.School.Say(words.Lang(m.Lang)).Day(q.App().Today()), Family: m.Family, Title: m.Subject, Text: app.Shown(&m.Message, link), Lang: m.Lang}
		code, err := go_qr.EncodeText(link, go_qr.Medium)
		if err != nil {
			return nil, err
		}
		for y := range code.Size() {
			row := make([]bool, code.Size())
			for x := range row {
				row[x] = code.Module(x, y)
			}
			l.Code = append(l.Code, row)
		}
		letters = append(letters, l)
	}
	if len(letters) == 0 {
		return nil, rankwright.Faultf(rankwright.Conflict, "no_letters", "make the links once more", "no letter can be printed now: links are shown for half an hour after they were made")
	}
	var b bytes.Buffer
	if err := paper.WriteMessageLetters(&b, letters, paperOf(q)); err != nil {
		return nil, err
	}
	return File{Name: "letters.pdf", Type: "application/pdf", Data: b.Bytes(), Show: true}, nil
}

// The page for the end of reminders is open: whoever has the address has the
// message. To look at it changes nothing, since programs that look at mail
// follow links; a mail program's own button posts to it (RFC 8058).
var stopRoutes = []Route{
	{Pattern: "GET " + app.StopPath + "{secret}", Open: true, Do: messagesStop},
	{Pattern: "POST " + app.StopPath + "{secret}", Open: true, Do: messagesStop},
}

type stopPage struct {
	familyFrame
	Send    string
	Stopped bool
	Done    bool
	Text    string
}

func messagesStop(q *Query) (Answer, error) {
	q.familyHeaders()
	f := q.asFamily(app.Actor{})
	from, _, err := net.SplitHostPort(q.RemoteAddr)
	if err != nil {
		from = q.RemoteAddr
	}
	if !q.srv.pace.allow("stop "+from, doorPace, q.App().Now()) {
		return f.slower(), nil
	}
	secret := q.PathValue("secret")
	s, err := q.App().CheckStop(q.Context(), secret)
	if err == nil && q.Method == http.MethodPost {
		// A mail program sends List-Unsubscribe=One-Click and nothing else; only
		// the page's own button takes it back.
		s, err = q.App().Stop(q.Context(), secret, q.FormValue("again") == "")
	}
	if err != nil {
		return f.noDoor(err)
	}
	if q.URL.Query().Get("lang") == "" {
		f.say = words.In(s.Lang)
	}
	p := &stopPage{familyFrame: f.frame(f.say.It("stop.title")), Send: q.URL.Path, Stopped: s.Stopped, Done: q.Method == http.MethodPost}
	if q.URL.Query().Get("lang") != "" {
		p.Send += "?lang=" + string(f.say.Lang())
	}
	key, word := "stop.ask", "stop.ask.word"
	switch {
	case s.Stopped:
		key, word = "stop.done", "stop.done.word"
	case p.Done:
		key, word = "stop.again", "stop.again"
	}
	if s.Words {
		key = word
	}
	p.Text = f.say.It(words.Key(key))
	return Page("family-stop", p), nil
}
