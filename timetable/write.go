package timetable

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"

	"rankwright"
)

// writer makes JSON text in a fixed order, one thing a line, without what is as
// it would be anyway. The same data give the same bytes.
type writer struct {
	b     bytes.Buffer
	first bool
}

func quote(s string) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a string can always be written
	return string(bytes.TrimRight(b.Bytes(), "\n"))
}

func (w *writer) key(k string) {
	if !w.first {
		w.b.WriteString(", ")
	}
	w.first = false
	w.b.WriteString(quote(k) + ": ")
}

func (w *writer) text(k, v string) {
	if v != "" {
		w.key(k)
		w.b.WriteString(quote(v))
	}
}

func (w *writer) number(k string, v, or int) {
	if v != or {
		w.key(k)
		w.b.WriteString(strconv.Itoa(v))
	}
}

func (w *writer) flag(k string, v bool) {
	if v {
		w.key(k)
		w.b.WriteString("true")
	}
}

func (w *writer) minute(k string, v Minute) {
	if v != 0 {
		w.text(k, v.String())
	}
}

func texted[T ~string](w *writer, k string, list []T) {
	if len(list) == 0 {
		return
	}
	w.key(k)
	w.b.WriteByte('[')
	for i, v := range list {
		if i > 0 {
			w.b.WriteString(", ")
		}
		w.b.WriteString(quote(string(v)))
	}
	w.b.WriteByte(']')
}

// object writes { … } with what f writes in it.
func (w *writer) object(f func()) {
	w.b.WriteByte('{')
	first := w.first
	w.first = true
	f()
	w.first = first
	w.b.WriteByte('}')
}

// lines writes a list of objects, one a line.
func lines[T any](w *writer, k string, list []T, f func(*T)) {
	fmt.Fprintf(&w.b, ",\n  %s: [", quote(k))
	for i := range list {
		if i > 0 {
			w.b.WriteByte(',')
		}
		w.b.WriteString("\n    ")
		w.object(func() { f(&list[i]) })
	}
	if len(list) > 0 {
		w.b.WriteString("\n  ")
	}
	w.b.WriteByte(']')
}

// WriteProblem writes a problem file. ReadProblem reads it back the same.
func WriteProblem(p *Problem) []byte {
	w := &writer{first: true}
	fmt.Fprintf(&w.b, "{\n  \"format\": %d,\n  ", Format)
	if len(p.Ranks) == 0 {
		w.b.WriteString(`"ranks": []`)
	}
	texted(w, "ranks", p.Ranks)
	lines(w, "sessions", p.Sessions, func(s *Session) {
		w.text("id", string(s.ID))
		w.text("name", s.Name)
		w.text("day", s.Day.String())
		w.flag("makeup", s.Makeup)
		w.number("cost", s.Cost, 1)
	})
	lines(w, "sittings", p.Sittings, func(s *Sitting) {
		w.text("id", string(s.ID))
		w.text("session", string(s.Session))
		w.text("mat", string(s.Mat))
		w.text("start", s.Start.String())
		w.number("minutes", s.Minutes, -1)
		w.number("least", s.Least, 1)
		w.number("most", s.Most, -1)
		w.number("panel", s.Panel, 1)
		w.number("cost", s.Cost, 1)
		texted(w, "ranks", s.Ranks)
		w.number("width", s.Width, 0)
		w.text("panel_for", string(s.PanelFor))
		if s.Hold != Free && int(s.Hold) < len(holdNames) {
			w.text("hold", holdNames[s.Hold])
		}
		texted(w, "was_panel", s.Was)
	})
	lines(w, "households", p.Households, func(h *Household) { w.household(h) })
	lines(w, "entries", p.Entries, func(e *Entry) {
		w.text("id", string(e.ID))
		w.text("name", e.Name)
		w.text("household", string(e.Household))
		w.text("rank", string(e.Rank))
		w.number("age", e.Age, 0)
		w.text("locked", string(e.Locked))
		w.flag("must_place", e.MustPlace)
		w.text("was", string(e.Was))
		w.flag("told", e.Told)
		w.number("asked", e.Asked, 0)
	})
	lines(w, "examiners", p.Examiners, func(x *Examiner) { w.examiner(x) })
	d := DefaultRules()
	if p.Rules != d {
		w.b.WriteString(",\n  \"rules\": ")
		w.object(func() {
			if p.Rules.Unanswered != d.Unanswered && int(p.Rules.Unanswered) < len(suitsNames) {
				w.text("unanswered", suitsNames[p.Rules.Unanswered])
			}
			w.number("pause", p.Rules.Pause, d.Pause)
			w.number("rest", p.Rules.Rest, d.Rest)
			w.number("little_age", p.Rules.LittleAge, d.LittleAge)
			w.number("little_after", p.Rules.LittleAfter, d.LittleAfter)
			if p.Rules.LittleClock != d.LittleClock {
				w.text("little_clock", p.Rules.LittleClock.String())
			}
		})
	}
	if u := DefaultWeights(); p.Weights != u {
		w.b.WriteString(",\n  \"weights\": ")
		w.object(func() {
			for a, v := range p.Weights {
				w.number(aimNames[a], v, u[a])
			}
		})
	}
	w.b.WriteString("\n}\n")
	return w.b.Bytes()
}

func (w *writer) household(h *Household) {
	w.text("id", string(h.ID))
	w.text("name", h.Name)
	w.minute("from", h.From)
	w.minute("until", h.Until)
	w.flag("may_move", h.MayMove)
	if len(h.Answers) == 0 {
		return
	}
	w.key("answers")
	w.b.WriteByte('[')
	for i, a := range h.Answers {
		if i > 0 {
			w.b.WriteString(", ")
		}
		w.object(func() {
			w.text("session", string(a.Session))
			if int(a.Suits) < len(suitsNames) {
				w.text("suits", suitsNames[a.Suits])
			}
			w.number("points", a.Points, 0)
			w.minute("from", a.From)
			w.minute("until", a.Until)
		})
	}
	w.b.WriteByte(']')
}

func (w *writer) examiner(x *Examiner) {
	w.text("id", string(x.ID))
	w.text("name", x.Name)
	w.text("highest", string(x.Highest))
	w.key("there")
	w.b.WriteByte('[')
	for i, t := range x.There {
		if i > 0 {
			w.b.WriteString(", ")
		}
		w.object(func() {
			w.text("session", string(t.Session))
			w.minute("from", t.From)
			w.minute("until", t.Until)
		})
	}
	w.b.WriteByte(']')
	texted(w, "mats", x.Mats)
	texted(w, "own", x.Own)
	w.number("most_session", x.MostSession, 0)
	w.number("most_day", x.MostDay, 0)
	w.number("in_a_row", x.InARow, 0)
}

// WritePlan writes a plan as JSON: what it costs, aim by aim, each sitting with
// its panel and entries, and who waits, in the order of the waiting list.
func WritePlan(q *Prepared, plan *Plan) []byte {
	p := q.Problem
	w := &writer{first: true}
	costs := q.Cost(plan)
	fmt.Fprintf(&w.b, "{\n  \"format\": %d,\n  \"cost\": %d", Format, costs.Total)
	lines(w, "aims", costs.Aims, func(a *AimCost) {
		w.text("aim", a.Aim.String())
		w.number("units", int(a.Units), -1)
		w.number("weight", int(a.Weight), -1)
		w.number("cost", int(a.Cost), -1)
	})
	var open []int
	isOpen := q.Open(plan)
	for s := range q.Order {
		for _, i := range q.Order[s] {
			if len(plan.Panels[i]) > 0 || isOpen[i] {
				open = append(open, i)
			}
		}
	}
	lines(w, "sittings", open, func(i *int) {
		w.text("id", string(p.Sittings[*i].ID))
		var panel []rankwright.ExaminerID
		for _, x := range plan.Panels[*i] {
			panel = append(panel, p.Examiners[x].ID)
		}
		texted(w, "panel", panel)
		var entries []rankwright.EntryID
		for e, at := range plan.At {
			if at == *i {
				entries = append(entries, p.Entries[e].ID)
			}
		}
		texted(w, "entries", entries)
	})
	var waiting []rankwright.EntryID
	for _, t := range q.WaitingList(plan) {
		waiting = append(waiting, p.Entries[t.Entry].ID)
	}
	w.b.WriteString(",\n  ")
	w.first = true
	if len(waiting) == 0 {
		w.b.WriteString(`"waiting": []`)
	}
	texted(w, "waiting", waiting)
	w.b.WriteString("\n}\n")
	return w.b.Bytes()
}
