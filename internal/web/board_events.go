package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"rankwright"
	"rankwright/internal/app"
)

const (
	// streamFold is how long news is gathered before it is told, so that a
	// burst of marks is one event.
	streamFold = 250 * time.Millisecond
	// streamBeat keeps what stands between from closing a silent stream.
	streamBeat = 15 * time.Second
)

// boardEvents answers with news of a grading as server-sent events (HTML
// standard, section 9.2), or once with how things stand where no stream is
// asked for. An event's id is the number of the latest mark; a browser that
// comes back names it, and hears of every mark since.
func boardEvents(q *Query) (Answer, error) {
	id := rankwright.GradingID(q.PathValue("id"))
	if !strings.Contains(q.Header.Get("Accept"), "text/event-stream") {
		now, err := q.App().MatNow(q.Context(), q.Who, id)
		if err != nil {
			return nil, err
		}
		return JSON{Data: now}, nil
	}
	l, stop, err := q.App().Listen(q.Context(), q.Who, id)
	if err != nil {
		return nil, err
	}
	now, err := q.App().MatNow(q.Context(), q.Who, id)
	if err != nil {
		stop()
		return nil, err
	}
	s := &stream{id: id, l: l, stop: stop, now: now, at: now.Arrival}
	if last, err := strconv.ParseInt(q.Header.Get("Last-Event-ID"), 10, 64); err == nil && last >= 0 && last < now.Arrival {
		s.at = last
	}
	return s, nil
}

// EndStreams ends every open stream of events, so that the program can stop.
func (s *Server) EndStreams() { s.end.Do(func() { close(s.ended) }) }

type stream struct {
	id   rankwright.GradingID
	l    *app.Listener
	stop func()
	now  app.MatNow
	at   int64 // the number of the latest mark that was told
}

type marksEvent struct {
	Arrival int64                `json:"arrival"`
	Entries []rankwright.EntryID `json:"entries"`
}

func (s *stream) send(q *Query) error {
	defer s.stop()
	c := http.NewResponseController(q.w)
	// A stream stays open longer than any answer may take.
	_ = c.SetWriteDeadline(time.Time{})
	_ = c.SetReadDeadline(time.Time{})
	h := q.w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no")
	if _, err := fmt.Fprint(q.w, "retry: 2000\n\n"); err != nil {
		return nil
	}
	kinds := map[string]bool{"marks": s.at < s.now.Arrival, "presence": true, "first": true}
	beat := time.NewTicker(streamBeat)
	defer beat.Stop()
	for {
		if !s.tell(q, kinds) || c.Flush() != nil {
			return nil
		}
		kinds = nil
		select {
		case <-q.Context().Done():
			return nil
		case <-q.srv.ended:
			return nil
		case <-s.l.Ended():
			return nil
		case <-beat.C:
		case <-s.l.C():
			time.Sleep(streamFold)
			kinds = s.l.Take()
		}
	}
}

// tell writes what there is to tell, and says whether to go on.
func (s *stream) tell(q *Query, kinds map[string]bool) bool {
	who, ok, err := q.srv.recall(q)
	if err != nil || !ok || who.ID != q.Who.ID || who.Role != q.Who.Role {
		s.write(q, "ended", struct{}{})
		_ = http.NewResponseController(q.w).Flush()
		return false
	}
	if len(kinds) == 0 {
		_, err := fmt.Fprint(q.w, ": still here\n\n")
		return err == nil
	}
	if kinds["marks"] {
		entries, last, err := q.App().MarksAfter(q.Context(), who, s.id, s.at)
		if err != nil {
			return false
		}
		s.at = last
		if len(entries) > 0 && !s.write(q, "marks", marksEvent{last, entries}) {
			return false
		}
	}
	if kinds["presence"] || kinds["grading"] {
		now, err := q.App().MatNow(q.Context(), who, s.id)
		if err != nil || !s.write(q, "now", now) {
			return false
		}
	}
	if kinds["device"] && !s.write(q, "device", struct{}{}) {
		return false
	}
	if (kinds["device"] || kinds["first"]) && who.Role.May(app.SeeBoard) {
		list, err := q.App().Missing(q.Context(), who, s.id)
		return err == nil && s.write(q, "missing", missingOf(q.App(), list))
	}
	return true
}

func (s *stream) write(q *Query, kind string, data any) bool {
	b, err := json.Marshal(data)
	if err != nil {
		return false
	}
	_, err = fmt.Fprintf(q.w, "id: %d\nevent: %s\ndata: %s\n\n", s.at, kind, b)
	return err == nil
}
