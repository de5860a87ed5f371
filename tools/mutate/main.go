// Mutate plants faults in a copy of the module, one at a time, and says which
// of them the tests of that package notice.
//
//	make mutate                    every fault
//	make mutate MUTATE=decide      those of one package: decide, scoring, ready, internal/post
//	make mutate MUTATE=-list       what they are
//
// It ends with status 1 where fewer than 95 of 100 are caught, or where a
// fault no longer fits the code.
package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"
)

// fault is one line that a hand could have got wrong.
type fault struct {
	file, find, put string
}

func (f fault) String() string {
	return fmt.Sprintf("%s: %s => %s", f.file, short(f.find), short(f.put))
}

func short(s string) string { return strings.Join(strings.Fields(s), " ") }

func (f fault) pkg() string { return filepath.Dir(f.file) }

// answer is what became of a fault.
type answer string

const (
	caught   answer = "caught"
	survived answer = "survived"
	stale    answer = "does not fit" // not found just once, or does not compile
)

func main() {
	list := flag.Bool("list", false, "list the faults and stop")
	workers := flag.Int("p", max(1, runtime.NumCPU()/2), "how many at a time")
	flag.Parse()
	var chosen []fault
	for _, f := range slices.Concat(decideFaults, scoringFaults, readyFaults, postFaults) {
		if flag.NArg() == 0 || slices.Contains(flag.Args(), f.pkg()) {
			chosen = append(chosen, f)
		}
	}
	if *list {
		for _, f := range chosen {
			fmt.Println(f)
		}
		return
	}
	ok, err := run(chosen, *workers)
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(2)
	}
	if !ok {
		os.Exit(1)
	}
}

func run(faults []fault, workers int) (ok bool, err error) {
	if len(faults) == 0 {
		return false, errors.New("there are no faults to plant; use decide, scoring, ready or internal/post")
	}
	root, err := module()
	if err != nil {
		return false, err
	}
	answers := make([]answer, len(faults))
	next := make(chan int)
	var wg sync.WaitGroup
	errs := make(chan error, workers)
	for range workers {
		wg.Go(func() {
			dir, err := copied(root)
			if err != nil {
				errs <- err
			}
			defer os.RemoveAll(dir)
			for i := range next {
				if err != nil {
					continue
				}
				if answers[i], err = plant(dir, faults[i]); err != nil {
					errs <- err
					continue
				}
				fmt.Printf("%-12s %s\n", answers[i], faults[i])
			}
		})
	}
	for i := range faults {
		next <- i
	}
	close(next)
	wg.Wait()
	select {
	case err := <-errs:
		return false, err
	default:
	}
	n := map[answer]int{}
	for _, a := range answers {
		n[a]++
	}
	fmt.Printf("\n%d faults: %d caught, %d survived, %d do not fit: %.1f%% caught\n", len(faults), n[caught], n[survived], n[stale], 100*float64(n[caught])/float64(len(faults)))
	return n[stale] == 0 && 100*n[caught] >= 95*len(faults), nil
}

// module finds the folder of the module, here or above.
func module() (string, error) {
	dir, err := os.Getwd()
	for err == nil {
		if _, missing := os.Stat(filepath.Join(dir, "decide", "judge.go")); missing == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			err = errors.New("run it inside the project")
		}
		dir = up
	}
	return "", err
}

// copied makes a copy of the packages that take part.
func copied(root string) (string, error) {
	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return "", err
	}
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		top, _, _ := strings.Cut(filepath.ToSlash(rel), "/")
		if d.IsDir() {
			post := strings.HasPrefix("internal/post", filepath.ToSlash(rel)) || strings.HasPrefix(filepath.ToSlash(rel), "internal/post/")
			if rel != "." && !post && !slices.Contains([]string{"stat", "syllabus", "roster", "ready", "scoring", "decide", "examples", "docs"}, top) {
				return fs.SkipDir
			}
			return os.MkdirAll(filepath.Join(dir, rel), 0o755)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(dir, rel), data, 0o644)
	})
	return dir, err
}

// plant puts a fault into the copy, runs the tests and takes it out again.
func plant(dir string, f fault) (answer, error) {
	path := filepath.Join(dir, filepath.FromSlash(f.file))
	data, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	if bytes.Count(data, []byte(f.find)) != 1 {
		return stale, nil
	}
	if err := os.WriteFile(path, bytes.Replace(data, []byte(f.find), []byte(f.put), 1), 0o644); err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, os.WriteFile(path, data, 0o644)) }()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "go", "test", "-count=1", "-failfast", "-vet=off", "./"+f.pkg())
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "GOWORK=off")
	out, failed := cmd.CombinedOutput()
	switch {
	case bytes.Contains(out, []byte("[build failed]")) || bytes.Contains(out, []byte("[setup failed]")):
		fmt.Printf("%s\n", out)
		return stale, nil
	case failed != nil:
		return caught, nil
	}
	return survived, nil
}
