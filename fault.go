package rankwright

import (
	"errors"
	"fmt"
	"strings"
)

// Kind says, for programs, what sort of fault this is.
type Kind uint8

const (
	// Internal is a fault of ours; its cause goes to the log only.
	Internal Kind = iota
	// Invalid is input that cannot be used as it stands.
	Invalid
	// NotFound is something asked for that is not there.
	NotFound
	// Forbidden is an act that the person may not do.
	Forbidden
	// SignIn is an act that needs somebody signed in.
	SignIn
	// Conflict is an act that the present state does not allow.
	Conflict
	// TooLarge is input over a stated limit.
	TooLarge
	// Unavailable is an act that is in order and cannot be done just now; the
	// same again later may be. Nothing of it was done.
	Unavailable
)

// Place is where in the input a fault lies. Line and Column count from 1, and
// 0 means unknown. Name is the column's heading where there is one.
type Place struct {
	File   string
	Line   int
	Column int
	Name   string
}

// String writes the place as file:line:column, leaving out what is unknown.
func (p Place) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		if b.Len() > 0 {
			b.WriteByte(':')
		}
		fmt.Fprintf(&b, "%d", p.Line)
		if p.Column > 0 {
			fmt.Fprintf(&b, ":%d", p.Column)
		}
	}
	if p.Name != "" {
		if b.Len() > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "column %q", p.Name)
	}
	return b.String()
}

// Fault is the one error type that reaches people: what happened, where, and
// what to do about it. Err is the cause for the log and is never shown.
type Fault struct {
	Kind Kind
	// Code is a short stable word for programs, such as "unknown_key".
	Code  string
	Where Place
	// Say says what happened and why, without a full stop.
	Say string
	// Do says what to do next, without a full stop.
	Do  string
	Err error
}

// Error writes "where: what; what to do".
func (f *Fault) Error() string {
	var b strings.Builder
	if w := f.Where.String(); w != "" {
		b.WriteString(w)
		b.WriteString(": ")
	}
	b.WriteString(f.Say)
	if f.Do != "" {
		b.WriteString("; ")
		b.WriteString(f.Do)
	}
	return b.String()
}

// Unwrap gives the cause.
func (f *Fault) Unwrap() error { return f.Err }

// Faults is a list of faults that were found in one reading, in the order of
// their places.
type Faults []*Fault

// Error writes one fault a line.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// Err returns the list as an error, or nil where it is empty.
func (fs Faults) Err() error {
	if len(fs) == 0 {
		return nil
	}
	return fs
}

// KindOf tells the kind of an error; an error that is no Fault is Internal.
func KindOf(err error) Kind {
	var f *Fault
	if errors.As(err, &f) {
		return f.Kind
	}
	var fs Faults
	if errors.As(err, &fs) && len(fs) > 0 {
		return fs[0].Kind
	}
	return Internal
}

// Faultf makes a fault of a kind; what to do may be "".
func Faultf(kind Kind, code, do, say string, args ...any) *Fault {
	return &Fault{Kind: kind, Code: code, Say: fmt.Sprintf(say, args...), Do: do}
}
