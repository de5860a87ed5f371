package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rankwright/internal/solver"
	"rankwright/timetable"
)

func timetableCommand() *cobra.Command {
	var path string
	var limit time.Duration
	var seed uint64
	var work int64
	var asJSON bool
	c := &cobra.Command{
		Use:   "timetable --problem FILE [--limit 10s] [--json]",
		Short: "The best timetable for a problem file, with its proof or its gap",
		Long: `The best timetable for a problem file, with its proof or its gap.

docs/timetable.md says what a problem can hold and what a timetable costs. The
file may be "-" for the standard input. When the time is up, or at Ctrl-C, the
best timetable so far is written. Status 0: everybody is placed; 1: somebody
waits, and why is said; 2: wrong use.`,
		RunE: func(c *cobra.Command, _ []string) error {
			if limit < 0 || work < 0 {
				return used{errors.New("--limit and --work cannot be below 0")}
			}
			q, err := problemFrom(c, path)
			if err != nil {
				return err
			}
			ctx := c.Context()
			if limit > 0 {
				timed, cancel := context.WithTimeout(ctx, limit)
				defer cancel()
				ctx = timed
			}
			p := newProgress(c.ErrOrStderr())
			out, err := search(ctx, c, q, timetable.Search{Seed: seed, Work: work, Tell: p.tell})
			p.clear()
			if err != nil && out.Plan == nil {
				return err
			}
			if err != nil {
				fmt.Fprintf(c.ErrOrStderr(), "note: the solver stopped early, so the gap may be wider than it need be: %v\n", err)
			}
			if out.Plan == nil {
				return sayNone(c, q, out, seed)
			}
			if asJSON {
				_, err = c.OutOrStdout().Write(planJSON(q, out))
			} else {
				err = writeTimetable(c.OutOrStdout(), q, out)
			}
			if err != nil {
				return err
			}
			if explainWaiting(c.ErrOrStderr(), q, out.Plan, seed) {
				return errNo
			}
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&path, "problem", "", `the problem file, as docs/timetable.md has it; "-" is the standard input`)
	f.DurationVar(&limit, "limit", 10*time.Second, "how long to search for a better timetable or the proof; 0 goes on until there is a proof")
	f.Int64Var(&work, "work", 0, "end after so much work instead, which gives the same timetable each time; 0 is without limit")
	f.Uint64Var(&seed, "seed", 1, "chooses among equals; the same seed and work give the same timetable")
	f.BoolVar(&asJSON, "json", false, "write JSON, as docs/formats.md has it")
	needs(c, "problem")
	return c
}

func problemFrom(c *cobra.Command, path string) (*timetable.Prepared, error) {
	r, err := opened(c, path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	// The largest problem that is taken on is some 3 MB.
	const most = 64 << 20
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return nil, unreadable(path, err)
	}
	if len(data) > most {
		return nil, unreadable(path, fmt.Errorf("it is larger than %d MB", most>>20))
	}
	p, err := timetable.ReadProblem(named(path), data)
	if err != nil {
		return nil, err
	}
	return timetable.Prepare(p)
}

// search solves with the solver, or where that would be interpreted and crawl,
// by local search alone, which proves nothing.
func search(ctx context.Context, c *cobra.Command, q *timetable.Prepared, how timetable.Search) (timetable.Outcome, error) {
	if !solver.Fast() {
		fmt.Fprintln(c.ErrOrStderr(), "note: the solver cannot run fast on this machine, so there will be a timetable and no proof")
		plan := timetable.Improve(q, nil, how.Seed, 400_000, func() bool { return ctx.Err() != nil })
		if plan == nil || len(timetable.Verify(q.Problem, plan)) > 0 {
			return timetable.Outcome{}, nil
		}
		plan = q.Early(plan)
		return timetable.Outcome{Plan: plan, Objective: q.Total(plan)}, nil
	}
	h := solver.New(solver.Options{Folder: solverFolder()})
	defer h.Close()
	return timetable.Solve(ctx, q, h, how)
}

// pageSolver is the solver for the pages, and how to close it; nil where it
// would crawl, and then the pages search without a proof.
func pageSolver() (timetable.Solver, func()) {
	if !solver.Fast() {
		return nil, func() {}
	}
	h := solver.New(solver.Options{Folder: solverFolder()})
	return h, func() { _ = h.Close() }
}

// solverFolder keeps the solver's machine code between runs. Where there is no
// place for it, each run takes two seconds more.
func solverFolder() string {
	dir, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	dir = filepath.Join(dir, "rankwright", "solver")
	if os.MkdirAll(dir, 0o700) != nil {
		return ""
	}
	return dir
}

// progress tells of the search on one line of a terminal, and nothing anywhere
// else.
type progress struct {
	mu    sync.Mutex
	out   io.Writer // nil where nobody looks
	drawn bool
}

func newProgress(out io.Writer) *progress {
	p := &progress{}
	if f, ok := out.(*os.File); ok {
		if s, err := f.Stat(); err == nil && s.Mode()&os.ModeCharDevice != 0 && os.Getenv("TERM") != "dumb" {
			p.out = out
		}
	}
	return p
}

func (p *progress) tell(o timetable.Outcome) {
	if p.out == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.drawn = true
	fmt.Fprintf(p.out, "\r\033[K%s", progressLine(o))
}

func progressLine(o timetable.Outcome) string {
	if o.Plan == nil {
		return "no timetable yet"
	}
	s := fmt.Sprintf("a timetable of cost %d", o.Objective)
	if g := o.Gap(); g != math.MaxInt64 {
		s += fmt.Sprintf("; none costs less than %d: within %s", o.Bound, percent(g))
	}
	return s
}

func (p *progress) clear() {
	if p.drawn {
		fmt.Fprint(p.out, "\r\033[K")
	}
}

// percent writes thousandths.
func percent(thousandths int64) string {
	return fmt.Sprintf("%d.%d %%", thousandths/10, thousandths%10)
}

// planJSON is the plan as a file that can be read again, with how good it is.
func planJSON(q *timetable.Prepared, o timetable.Outcome) []byte {
	gap := "null"
	if g := o.Gap(); g != math.MaxInt64 {
		gap = fmt.Sprint(g)
	}
	more := fmt.Sprintf(",\n  \"bound\": %d,\n  \"proven\": %t,\n  \"gap\": %s,\n  \"aims\"", o.Bound, o.Proven, gap)
	return bytes.Replace(timetable.WritePlan(q, o.Plan), []byte(",\n  \"aims\""), []byte(more), 1)
}

// howGood says what is proven of the plan.
func howGood(o timetable.Outcome) string {
	switch g := o.Gap(); {
	case o.Proven:
		return fmt.Sprintf("It costs %d, and it is proven that none costs less.", o.Objective)
	case g == math.MaxInt64:
		return fmt.Sprintf("It costs %d. How much better one could be was not found out; give it more time.", o.Objective)
	default:
		return fmt.Sprintf("It costs %d. None costs less than %d, so at most %s could be gained; more time may find it.", o.Objective, o.Bound, percent(g))
	}
}

func writeTimetable(out io.Writer, q *timetable.Prepared, o timetable.Outcome) error {
	p := q.Problem
	in := make([][]int, len(p.Sittings))
	placed := 0
	for e, w := range o.Plan.At {
		if w != timetable.Waiting {
			in[w] = append(in[w], e)
			placed++
		}
	}
	open, held := q.Open(o.Plan), 0
	for _, is := range open {
		if is {
			held++
		}
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%d of %d placed, in %s.\n%s\n", placed, len(p.Entries), counted(held, "sitting"), howGood(o))
	for s := range p.Sessions {
		x := &p.Sessions[s]
		told := false
		for _, w := range q.Order[s] {
			if !open[w] {
				continue
			}
			if !told {
				head := x.Day.Long()
				if x.Makeup {
					head += ", make-up date"
				}
				if x.Name != "" {
					head = x.Name + ", " + head
				}
				fmt.Fprintf(&b, "\n%s\n", head)
				told = true
			}
			writeSitting(&b, q, o.Plan, w, in[w])
		}
	}
	if list := q.WaitingList(o.Plan); len(list) > 0 {
		fmt.Fprintln(&b, "\nWaiting, in the order in which a free place is offered")
		for i, t := range list {
			e := &p.Entries[t.Entry]
			fmt.Fprintf(&b, "  %d. %s, %s\n", i+1, orID(e.Name, string(e.ID)), e.Rank)
		}
	}
	fmt.Fprintln(&b, "\nWhat it costs")
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  AIM\tUNITS\tWEIGHT\tCOST")
	for _, a := range q.Cost(o.Plan).Aims {
		if a.Units > 0 {
			fmt.Fprintf(w, "  %s\t%d\t%d\t%d\n", a.Aim.Say(), a.Units, a.Weight, a.Cost)
		}
	}
	fmt.Fprintf(w, "  all\t\t\t%d\n", o.Objective)
	w.Flush()
	_, err := out.Write(b.Bytes())
	return err
}

func writeSitting(b *bytes.Buffer, q *timetable.Prepared, plan *timetable.Plan, at int, entries []int) {
	p := q.Problem
	s := &p.Sittings[at]
	var panel []string
	for _, x := range plan.Panels[at] {
		panel = append(panel, orID(p.Examiners[x].Name, string(p.Examiners[x].ID)))
	}
	who := "nobody examines"
	if len(panel) > 0 {
		who = "examined by " + strings.Join(panel, ", ")
	}
	fmt.Fprintf(b, "\n  %s to %s, mat %s, %d of %d places, %s\n", s.Start, s.End(), s.Mat, len(entries), s.Most, who)
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, e := range entries {
		x, h := &p.Entries[e], &p.Households[q.EntryHousehold[e]]
		fmt.Fprintf(w, "    %s\t%s\tfamily %s\n", orID(x.Name, string(x.ID)), x.Rank, orID(h.Name, string(h.ID)))
	}
	w.Flush()
}

// Explanations take a while each; these many are given.
const (
	mostExplained = 5
	explainRounds = 500
	explainNodes  = 50_000
)

// explainWaiting says why entries wait, and whether any do. Whoever waits in
// the same clash is explained once.
func explainWaiting(out io.Writer, q *timetable.Prepared, plan *timetable.Plan, seed uint64) bool {
	list := q.WaitingList(plan)
	told, left := map[int]bool{}, 0
	for _, t := range list {
		if told[t.Entry] {
			continue
		}
		if len(told) >= mostExplained {
			left++
			continue
		}
		x := timetable.Explain(q, plan, t.Entry, timetable.Judge(explainRounds, explainNodes), seed, explainRounds)
		told[t.Entry] = true
		fmt.Fprintln(out, q.SayExplanation(x))
		for _, r := range x.Remedies {
			fmt.Fprintf(out, "  would help: %s\n", q.SayRemedy(r))
		}
	}
	if left > 0 {
		fmt.Fprintf(out, "and %d more; look again once these are solved\n", left)
	}
	return len(list) > 0
}

// sayNone tells why there is no plan at all: what must be placed cannot be, or
// the search was ended too early.
func sayNone(c *cobra.Command, q *timetable.Prepared, o timetable.Outcome, seed uint64) error {
	errs := c.ErrOrStderr()
	if !o.Impossible {
		fmt.Fprintln(errs, "no timetable that keeps all limits was found in this time; give it more with --limit")
		return errNo
	}
	fmt.Fprintln(errs, "there is no timetable that keeps all limits")
	free := *q.Problem
	free.Entries = append([]timetable.Entry(nil), free.Entries...)
	for i := range free.Entries {
		free.Entries[i].MustPlace = false
	}
	q2, err := timetable.Prepare(&free)
	if err != nil {
		return err
	}
	plan := timetable.Improve(q2, nil, seed, explainRounds, nil)
	if plan == nil || len(timetable.Verify(&free, plan)) > 0 {
		fmt.Fprintln(errs, "  also with nobody who must be placed; look at the locks, and at sittings that are held without enough examiners")
		return errNo
	}
	explainWaiting(errs, q2, plan, seed)
	return errNo
}

func orID(name, id string) string {
	if name != "" {
		return name
	}
	return id
}
