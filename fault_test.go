package rankwright

import (
	"errors"
	"fmt"
	"io/fs"
	"testing"
)

func TestAPlaceLeavesOutWhatIsUnknown(t *testing.T) {
	for _, c := range []struct {
		place Place
		want  string
	}{
		{Place{}, ""},
		{Place{File: "juniors.yaml"}, "juniors.yaml"},
		{Place{File: "juniors.yaml", Line: 12}, "juniors.yaml:12"},
		{Place{File: "juniors.yaml", Line: 12, Column: 5}, "juniors.yaml:12:5"},
		{Place{Line: 12, Column: 5}, "12:5"},
		{Place{Line: 1, Column: 1}, "1:1"},
		{Place{File: "juniors.yaml", Column: 5}, "juniors.yaml"}, // a column of no line is nowhere
		{Place{File: "students.csv", Line: 3, Name: "birth_date"}, `students.csv:3, column "birth_date"`},
		{Place{Name: "Née le"}, `column "Née le"`},
	} {
		if got := c.place.String(); got != c.want {
			t.Errorf("%#v is written %q, want %q", c.place, got, c.want)
		}
	}
}

func TestAFaultSaysWhereWhatAndWhatToDo(t *testing.T) {
	f := Faultf(Invalid, "unknown_rank", "use a rank of the ladder juniors", "%q is no rank", "Ambre")
	if got, want := f.Error(), `"Ambre" is no rank; use a rank of the ladder juniors`; got != want {
		t.Errorf("without a place: %q, want %q", got, want)
	}
	f.Where = Place{File: "students.csv", Line: 3, Name: "rank"}
	if got, want := f.Error(), `students.csv:3, column "rank": "Ambre" is no rank; use a rank of the ladder juniors`; got != want {
		t.Errorf("with a place: %q, want %q", got, want)
	}
	f.Do = ""
	if got, want := f.Error(), `students.csv:3, column "rank": "Ambre" is no rank`; got != want {
		t.Errorf("with nothing to do: %q, want %q", got, want)
	}
}

func TestTheCauseOfAFaultIsForTheLogOnly(t *testing.T) {
	f := Faultf(NotFound, "no_file", "", "there is no such file")
	f.Err = fmt.Errorf("open secret-folder: %w", fs.ErrNotExist)
	if got := f.Error(); got != "there is no such file" {
		t.Errorf("people read %q", got)
	}
	if !errors.Is(f, fs.ErrNotExist) {
		t.Error("the log cannot reach the cause")
	}
}

func TestFaultsAreOneALine(t *testing.T) {
	list := Faults{
		{Where: Place{File: "a.yaml", Line: 1}, Say: "first"},
		{Where: Place{File: "a.yaml", Line: 9}, Say: "second", Do: "mend it"},
	}
	if got, want := list.Error(), "a.yaml:1: first\na.yaml:9: second; mend it"; got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestNoFaultsAreNoError(t *testing.T) {
	for _, none := range []Faults{nil, {}} {
		if err := none.Err(); err != nil {
			t.Errorf("no faults made the error %v", err)
		}
	}
	if err := (Faults{{Say: "first"}}).Err(); err == nil || err.Error() != "first" {
		t.Errorf("a fault made the error %v", err)
	}
}

func TestTheKindIsFoundThroughWrappingAndLists(t *testing.T) {
	absent := Faultf(NotFound, "no_student", "", "no such student")
	for _, c := range []struct {
		about string
		err   error
		want  Kind
	}{
		{"a fault", absent, NotFound},
		{"a fault, wrapped", fmt.Errorf("read entry: %w", absent), NotFound},
		{"a list", Faults{Faultf(Invalid, "", "", "no"), absent}.Err(), Invalid},
		{"a list, wrapped", fmt.Errorf("import: %w", Faults{absent}), NotFound},
		{"an empty list", Faults{}, Internal},
		{"an error of another kind", fs.ErrPermission, Internal},
		{"no error", nil, Internal},
		{"a fault that has a fault as its cause", &Fault{Kind: Conflict, Err: absent}, Conflict},
	} {
		t.Run(c.about, func(t *testing.T) {
			if got := KindOf(c.err); got != c.want {
				t.Errorf("kind %d, want %d", got, c.want)
			}
		})
	}
}
