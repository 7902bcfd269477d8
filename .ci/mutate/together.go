package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// together is the tree that holds all edits that can be chosen when tests run.
type together struct {
	switched
	bins       string
	holds      []bool   // by edit
	packages   []string // whose tests must fail, and their patterns
	tests      map[string][]string
	builtAlone atomic.Int64
}

// newTogether makes the tree; where each edit is to be alone, it holds none.
func newTogether(to, from string, edits []edit, eachAlone bool) (*together, error) {
	t := &together{
		switched: switched{to, map[string]*source{}}, bins: to + ".bin",
		holds: make([]bool, len(edits)), tests: map[string][]string{},
	}
	if err := copyTree(to, from); err != nil {
		return nil, err
	}
	for i, e := range edits {
		// What an edit by itself cannot be made of is said where it is tried.
		t.holds[i] = !eachAlone && t.add(i+1, e) == nil
		if t.tests[e.Package] == nil {
			t.packages = append(t.packages, e.Package)
		}
		if !slices.Contains(t.tests[e.Package], e.Tests) {
			t.tests[e.Package] = append(t.tests[e.Package], e.Tests)
		}
	}
	return t, t.write()
}

// clean builds the tests of each package and runs the named ones with no edit chosen: they must
// be there and pass. It returns the processor time that all took.
func (t *together) clean(workers int) (took time.Duration, err error) {
	var (
		wg   sync.WaitGroup
		mu   sync.Mutex
		errs = make([]error, len(t.packages))
		next = make(chan int, len(t.packages))
	)
	for i := range t.packages {
		next <- i
	}
	close(next)
	for range workers {
		wg.Go(func() {
			for i := range next {
				d, err := t.cleanPackage(t.packages[i])
				mu.Lock()
				took, errs[i] = took+d, err
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return took, errors.Join(errs...)
}

func (t *together) cleanPackage(pkg string) (time.Duration, error) {
	out, build, err := tested(cleanTooLong, t.root, "", "go", "test", "-c", "-vet=off", "-trimpath", "-ldflags=-w", "-o", t.binary(pkg), "./"+filepath.ToSlash(pkg))
	if err != nil {
		return build, fmt.Errorf("%s does not compile with all edits in copies of functions; -alone makes each by itself and shows the one:\n%s", pkg, out)
	}
	out, run, err := t.run(cleanTooLong, pkg, unedited, "-test.v", "-test.run", strings.Join(t.tests[pkg], "|"))
	if err != nil {
		return build + run, fmt.Errorf("the tests of %s fail without any edit (%w):\n%s", pkg, err, out)
	}
	return build + run, allRan(pkg, t.tests[pkg], out)
}

func (t *together) binary(pkg string) string {
	return filepath.Join(t.bins, strings.ReplaceAll(pkg, "/", "_")+".test")
}

// run runs tests of a package with an edit chosen.
func (t *together) run(limit time.Duration, pkg string, number int, args ...string) (string, time.Duration, error) {
	return tested(limit, filepath.Join(t.root, filepath.FromSlash(pkg)), fmt.Sprint(number), append([]string{t.binary(pkg), "-test.short", "-test.failfast"}, args...)...)
}

// try runs the tests of an edit, by itself in a tree of its own where it is in no other or
// survives there.
func (t *together) try(i int, work string, e edit) attempt {
	var first attempt
	if t.holds[i] {
		out, took, err := t.run(tooLong, e.Package, i+1, "-test.run", e.Tests)
		if first = (attempt{out, took, verdict(out, err)}); first.verdict == nil {
			return first
		}
	}
	t.builtAlone.Add(1)
	a := alone(work, e)
	a.took += first.took
	return a
}

var passed = regexp.MustCompile(`(?m)^--- PASS: (\w+)`)

// allRan returns an error where a pattern names no test that passed, by what go test -v
// printed of a package: one that is skipped proves nothing.
func allRan(pkg string, patterns []string, out string) error {
	names := passed.FindAllStringSubmatch(out, -1)
	for _, p := range patterns {
		re, err := regexp.Compile(p)
		if err != nil {
			return fmt.Errorf("the tests %q of %s: %w", p, pkg, err)
		}
		if !slices.ContainsFunc(names, func(n []string) bool { return re.MatchString(n[1]) }) {
			return fmt.Errorf("%s has no test %q, or skips it", pkg, p)
		}
	}
	return nil
}
