package pixels_test

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"prestrike/audit/pixels"
)

// A row counts one kind of fault, or of clean runs, in one check.
type row struct {
	runs, cannot, found int
}

// A tally is the table of rates. Rows are made in the order they are met.
type tally struct {
	mu    sync.Mutex
	names []string
	rows  map[string]*row
	notes []string
}

func newTally() *tally { return &tally{rows: map[string]*row{}} }

func (ta *tally) count(name string, a pixels.Answer, hit bool) {
	ta.mu.Lock()
	defer ta.mu.Unlock()
	r := ta.rows[name]
	if r == nil {
		r = &row{}
		ta.rows[name] = r
		ta.names = append(ta.names, name)
	}
	r.runs++
	switch {
	case hit:
		r.found++
	case a == pixels.CannotTell:
		r.cannot++
	}
}

func (ta *tally) note(format string, args ...any) {
	ta.mu.Lock()
	defer ta.mu.Unlock()
	ta.notes = append(ta.notes, fmt.Sprintf(format, args...))
}

// wilson is the 95 % score interval of k among n (Wilson, J. Am. Stat. Assoc.
// 22(158), 1927).
func wilson(k, n int) (lo, hi float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	lo, hi = max(0, mid-half), min(1, mid+half)
	if k == 0 {
		lo = 0 // but for rounding
	}
	if k == n {
		hi = 1
	}
	return lo, hi
}

func (ta *tally) String() string {
	var b strings.Builder
	b.WriteString("| check, runs | runs | cannot tell | found, where it can tell | 95 % interval |\n|---|---|---|---|---|\n")
	slices.Sort(ta.names)
	for _, name := range ta.names {
		r := ta.rows[name]
		n := r.runs - r.cannot
		lo, hi := wilson(r.found, n)
		share := 0.0
		if n > 0 {
			share = float64(r.found) / float64(n)
		}
		fmt.Fprintf(&b, "| %s | %d | %d | %d of %d = %.1f %% | %.1f to %.1f %% |\n", name, r.runs, r.cannot, r.found, n, 100*share, 100*lo, 100*hi)
	}
	return b.String()
}

// log logs the table and, where it is asked for, each miss.
func (ta *tally) log(t *testing.T) {
	t.Helper()
	if *showAll {
		for _, n := range ta.notes {
			t.Log(n)
		}
	}
	t.Logf("\n%s", ta)
}

// atLeast fails where a row's share of those decided can no longer be true at 95 % confidence.
func (ta *tally) atLeast(t *testing.T, name string, least float64) {
	t.Helper()
	r := ta.rows[name]
	if r == nil {
		t.Fatalf("%s: none asked", name)
	}
	if _, hi := wilson(r.found, r.runs-r.cannot); hi < least {
		t.Errorf("%s: %d of %d, want a share of %v", name, r.found, r.runs-r.cannot, least)
	}
}

// overSeeds does the same for the seeds of all scenes, side by side.
func overSeeds(each func(seed uint64)) {
	var wg sync.WaitGroup
	seeds := make(chan uint64)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for s := range seeds {
				each(s)
			}
		})
	}
	for i := range *seedCount {
		seeds <- *seedFirst + 2*uint64(i)
	}
	close(seeds)
	wg.Wait()
}
