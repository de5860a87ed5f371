package web_test

import (
	"strings"
	"testing"
	"time"
)

// A device says what it takes the time to be, and hears by how much it is off;
// a page of before says nothing, and hears nothing.
func TestABatchSaysWhenItWasSent(t *testing.T) {
	m := newMat(t)
	v := m.as(t, m.mira)
	now := m.Now.UnixMilli()
	for n, c := range []struct {
		sent int64
		says string
	}{
		{now, `{"v":1,"answers":[{"id":"mark-1","status":"stored"}]}`},
		{now + 365*24*time.Hour.Milliseconds(), `"clock_off_ms":31536000000`},
		{now - time.Hour.Milliseconds(), `"clock_off_ms":-3600000`},
		{now - time.Minute.Milliseconds(), `"status":"stored"}]}`},
		{0, `"status":"stored"}]}`},
	} {
		body := map[string]any{"v": 1, "marks": []any{m.sent(n+1, m.reed[0], "RE-ET1", "1")}}
		if c.sent != 0 {
			body["sent"] = c.sent
		}
		if status, _, text := v.send(m, body); status != 200 || !strings.Contains(text, c.says) {
			t.Errorf("sent at %d: %d %s, want %s", c.sent, status, text, c.says)
		}
	}
	if len(m.log(t)) != 5 {
		t.Errorf("%d marks are in the log", len(m.log(t)))
	}
}
