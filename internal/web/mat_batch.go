package web

import (
	"errors"
	"io"
	"net/http"

	"rankwright"
	"rankwright/internal/app"
	"rankwright/scoring"
)

type matAnswers struct {
	V       int         `json:"v"`
	Answers []matAnswer `json:"answers"`
	// ClockOff is by how many milliseconds the device's clock is ahead of the
	// server's, less than 0 where it is behind; 0 is near enough.
	ClockOff int64 `json:"clock_off_ms,omitempty"`
	// Clock is the largest logical clock of the grading's marks, where it is known.
	Clock int64 `json:"clock,omitempty"`
}

// matAnswer is "stored", "double" (it was there already) or "refused".
type matAnswer struct {
	ID     rankwright.MarkID `json:"id"`
	Status string            `json:"status"`
	Why    string            `json:"why,omitempty"`
}

// meant refuses what another person's page sends: on a device that is shared
// somebody else has signed in since, and their name must not stand under it. A
// page that does not say whose it is means whoever is signed in.
func (q *Query) meant() error {
	if p := q.Header.Get("Rankwright-Person"); p != "" && p != q.Who.ID {
		q.w.Header().Set("Rankwright-Person", q.Who.ID) // so that a page does not take it for the end of a session
		return rankwright.Faultf(rankwright.SignIn, "somebody_else", "sign in again on this device", "this device is signed in as %s now", q.Who.Name)
	}
	return nil
}

// matTake answers each mark of a batch by itself, in their order.
func matTake(q *Query) (Answer, error) {
	if err := q.meant(); err != nil {
		return nil, err
	}
	data, err := io.ReadAll(q.Body)
	if err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, rankwright.Faultf(rankwright.TooLarge, "too_large", "send the marks in smaller batches", "the batch is larger than %d MB", large.Limit>>20)
		}
		f := rankwright.Faultf(rankwright.Invalid, "bad_batch", "send it again; marks that are kept on the device stay there", "the batch of marks did not arrive whole")
		f.Err = err
		return nil, f
	}
	marks, sent, err := scoring.ReadBatch(data)
	if err != nil {
		return nil, err
	}
	got, err := q.App().TakeMarks(q.Context(), q.Who, rankwright.GradingID(q.PathValue("id")), app.Batch{Marks: marks, Sent: sent})
	if err != nil {
		return nil, err
	}
	out := matAnswers{V: scoring.WireVersion, Answers: make([]matAnswer, len(got.Answers)), ClockOff: got.ClockOff, Clock: got.Clock}
	for i, st := range got.Answers {
		a := &out.Answers[i]
		a.ID = st.ID
		switch {
		case st.Stored:
			a.Status = "stored"
		case st.Double:
			a.Status = "double"
		default:
			a.Status, a.Why = "refused", st.Refuse
		}
	}
	return JSON{Data: out}, nil
}
