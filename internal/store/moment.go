package store

import (
	"database/sql"
	"fmt"
	"time"

	"rankwright"
)

// At returns the moment of a time; the zero time is no moment.
func At(t time.Time) Moment {
	if t.IsZero() {
		return 0
	}
	return Moment(t.UnixMilli())
}

// Time returns the moment as a time in UTC, the zero time for no moment.
func (m Moment) Time() time.Time {
	if m == 0 {
		return time.Time{}
	}
	return time.UnixMilli(int64(m)).UTC()
}

// dayColumn reads a day from its column of text.
type dayColumn struct{ *rankwright.Day }

var _ sql.Scanner = dayColumn{}

// Scan implements sql.Scanner.
func (c dayColumn) Scan(v any) error {
	s, ok := v.(string)
	if !ok {
		return fmt.Errorf("a day is kept as text, not as %T", v)
	}
	return c.UnmarshalText([]byte(s))
}
