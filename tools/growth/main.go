// Growth draws what BenchmarkGrowth of internal/solver measured: seconds and
// memory against the number of entries, both scales logarithmic.
//
//	go -C tools run ./growth ../docs/timetable-growth.csv ../docs/timetable-growth.svg
//
// The same table gives the same bytes.
package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: growth TABLE.csv PICTURE.svg")
		os.Exit(2)
	}
	if err := run(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(from, to string) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	rows, err := read(data)
	if err != nil {
		return fmt.Errorf("%s: %w", from, err)
	}
	return os.WriteFile(to, draw(rows), 0o644)
}

// row is one size of one kind of problem; what was not reached is 0.
type row struct {
	ranks   string // given or free
	entries float64
	at      map[string]float64
}

var columns = []string{"first_plan_s", "within_5_percent_s", "within_1_percent_s", "proof_s", "ended_s", "gap_percent", "peak_mib"}

func read(data []byte) ([]row, error) {
	cells, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(cells) < 2 {
		return nil, fmt.Errorf("the table has no rows")
	}
	place := map[string]int{}
	for i, name := range cells[0] {
		place[name] = i
	}
	for _, name := range append([]string{"ranks", "entries"}, columns...) {
		if _, ok := place[name]; !ok {
			return nil, fmt.Errorf("the table has no column %s", name)
		}
	}
	var out []row
	for i, line := range cells[1:] {
		r := row{ranks: line[place["ranks"]], at: map[string]float64{}}
		if r.entries, err = strconv.ParseFloat(line[place["entries"]], 64); err != nil || r.entries < 1 {
			return nil, fmt.Errorf("row %d has no number of entries", i+2)
		}
		for _, name := range columns {
			if text := line[place[name]]; text != "" {
				if r.at[name], err = strconv.ParseFloat(text, 64); err != nil || r.at[name] < 0 {
					return nil, fmt.Errorf("row %d has no number as %s", i+2, name)
				}
			}
		}
		out = append(out, r)
	}
	return out, nil
}
