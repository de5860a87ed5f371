package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rankwright/timetable"
)

// The example places everybody. Then what Ctrl-C does to the context: the best
// so far comes out, and can be read again and keeps all limits.
func TestTheExampleIsPlannedAndWhoStopsASearchGetsTheBestSoFar(t *testing.T) {
	const example = "../../examples/otterlight-timetable.json"
	t.Setenv("XDG_CACHE_HOME", t.TempDir()) // the solver's machine code, made once for both
	var out, errs bytes.Buffer
	code := run(t.Context(), []string{"timetable", "--problem", example, "--work", "2000", "--limit", "0"}, nil, &out, &errs)
	if code != done || !strings.HasPrefix(out.String(), "15 of 15 placed") || !strings.Contains(out.String(), "Zofia Krajewik") {
		t.Errorf("status %d\n%s%s", code, out.String(), errs.String())
	}
	p, err := timetable.ReadProblem("example", readFile(t, example))
	if err != nil {
		t.Fatal(err)
	}
	// Six clubs of that size share the hall, which nobody proves at once.
	big := *p
	big.Entries, big.Households, big.Sittings, big.Examiners = nil, nil, nil, nil
	for i := range 6 {
		for _, x := range p.Households {
			x.ID += numbered(x.ID, i)
			big.Households = append(big.Households, x)
		}
		for _, x := range p.Entries {
			x.ID, x.Household = x.ID+numbered(x.ID, i), x.Household+numbered(x.Household, i)
			big.Entries = append(big.Entries, x)
		}
		for _, x := range p.Sittings {
			x.ID, x.Mat = x.ID+numbered(x.ID, i), x.Mat+numbered(x.Mat, i)
			big.Sittings = append(big.Sittings, x)
		}
		for _, x := range p.Examiners {
			x.ID, x.Own = x.ID+numbered(x.ID, i), nil
			big.Examiners = append(big.Examiners, x)
		}
	}
	file := filepath.Join(t.TempDir(), "big.json")
	if err := os.WriteFile(file, timetable.WriteProblem(&big), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	stop := time.AfterFunc(2*time.Second, cancel)
	defer stop.Stop()
	out.Reset()
	errs.Reset()
	code = run(ctx, []string{"timetable", "--problem", file, "--limit", "0", "--json"}, nil, &out, &errs)
	q, err := timetable.Prepare(&big)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := timetable.ReadPlan(q, "the plan", out.Bytes())
	if err != nil {
		t.Fatalf("status %d, %v\n%s", code, err, errs.String())
	}
	_, schema := planSchema(t)
	if err := fitsPlan(t, schema, out.Bytes()); err != nil {
		t.Error(err)
	}
	if broken := timetable.Verify(&big, plan); len(broken) > 0 {
		t.Errorf("the plan breaks limits: %v", broken)
	}
	if waits := len(q.WaitingList(plan)); (code == answerNo) != (waits > 0) {
		t.Errorf("status %d, and %d wait", code, waits)
	}
}

func numbered[T ~string](_ T, i int) T { return T(fmt.Sprintf("-%d", i)) }

func readFile(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestTheLineOfProgressSaysPlanBoundAndGap(t *testing.T) {
	for _, c := range []struct {
		o    timetable.Outcome
		want string
	}{
		{timetable.Outcome{Bound: 7}, "no timetable yet"},
		{timetable.Outcome{Plan: &timetable.Plan{}, Objective: 219, Bound: 217}, "a timetable of cost 219; none costs less than 217: within 1.0 %"},
		{timetable.Outcome{Plan: &timetable.Plan{}, Objective: 219}, "a timetable of cost 219"},
	} {
		if got := progressLine(c.o); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	p := newProgress(&bytes.Buffer{})
	p.tell(timetable.Outcome{})
	if p.drawn {
		t.Error("progress goes elsewhere than to a terminal")
	}
}
