package rules

import (
	"fmt"
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// A floor is what a row of TestVariedShoots must reach, in percent; alarms are
// the most clean shoots with a finding above a note.
type floor struct{ exact, kinds, supports, found, alarms float64 }

// variedFloors hold for the stated seeds; they are raised when the program
// gets better, never lowered. The goal is 99.5 % of sequences exact, 99 % of
// kinds right, and one clean shoot in 1,000 above a note.
var variedFloors = map[string]floor{
	"slow stacks":            {exact: 100, kinds: 68, supports: 100},
	"bursts by hand":         {exact: 99, kinds: 69, supports: 67, alarms: 46},
	"unreadable at a border": {exact: 73, kinds: 61, supports: 78, found: 42},
	"pause inside":           {exact: 75, kinds: 49, supports: 73, found: 1},
	"pause between":          {exact: 86, kinds: 70, supports: 85, alarms: 23},
	"numbers reversed":       {exact: 40, kinds: 34, supports: 29},
	"copies":                 {exact: 78, kinds: 53, supports: 75},
	"merged pictures":        {exact: 53, kinds: 53, supports: 100, alarms: 98},
	"focus x exposure":       {exact: 21, kinds: 21, alarms: 1},
	"brackets by hand":       {exact: 46, kinds: 46, supports: 38},
	"columns":                {exact: 19, kinds: 19, supports: 15, alarms: 70},
	"turntables":             {exact: 18, kinds: 18, supports: 15, alarms: 87},
	"small JPEGs":            {exact: 100, kinds: 86, supports: 100},
	"two bodies":             {exact: 100, kinds: 83, supports: 100, alarms: 1},
	"time-lapses":            {exact: 99, kinds: 99, supports: 99},
}

const (
	variedShoots = 150       // of each variety
	variedFrom   = 3_000_000 // seeds below variedTuned are for tuning
	variedTuned  = 1_000_000
)

// Made-up shoots of the ways of working that are hard to read from the files:
// a table of what is found exactly, of which kind, on what support, what must be
// found, and how many clean shoots raise more than a note. Seeds for tuning print
// every miss: go test ./rules -run Varied -v -seeds-at 0 -seeds 200.
func TestVariedShoots(t *testing.T) {
	n, from := variedShoots, uint64(variedFrom)
	stated := *seedsAt == 2_000_000 && *seeds == 300
	if !stated {
		n, from = *seeds, *seedsAt
	}
	if testing.Short() {
		n, stated = n/10, false
	}
	var table strings.Builder
	fmt.Fprintf(&table, "%-24s %18s %18s %18s %16s %16s\n", "variety", "exact", "kinds right", "support right", "found", "clean alarmed")
	for _, v := range audittest.Varieties {
		var sum audittest.Outcome
		clean, alarmed := 0, 0
		for seed := from; seed < from+uint64(n); seed++ {
			made := audittest.Varied(v, seed)
			result, err := audit.Judge(t.Context(), &shoot.Collection{Files: made.Files}, &audit.Options{Rules: All()})
			if err != nil {
				t.Fatal(err)
			}
			onceEach(t, v.Name, seed, made, result)
			o := made.Judge(result)
			sum.Add(o)
			if o.Clean {
				clean++
			}
			if o.Alarms > 0 {
				alarmed++
			}
			for _, m := range o.Misses {
				if seed < variedTuned { // nobody is to look at the others
					t.Logf("%s, seed %d: %s", v.Name, seed, m)
				}
			}
		}
		fmt.Fprintf(&table, "%-24s %18s %18s %18s %16s %16s\n", v.Name, rate(sum.Exact, sum.Sequences), rate(sum.Kinds, sum.Sequences),
			rate(sum.Held, sum.Supports), rate(sum.Found, sum.Must), rate(alarmed, clean))
		f, ok := variedFloors[v.Name]
		if !ok {
			t.Errorf("%s has no floor", v.Name)
		}
		if !stated {
			continue
		}
		for _, c := range []struct {
			what      string
			part, all int
			floor     float64
		}{
			{"sequences exact", sum.Exact, sum.Sequences, f.exact}, {"kinds right", sum.Kinds, sum.Sequences, f.kinds},
			{"supports right", sum.Held, sum.Supports, f.supports}, {"faults found", sum.Found, sum.Must, f.found},
			{"clean shoots without an alarm", clean - alarmed, clean, 100 - f.alarms},
		} {
			if c.all > 0 && share(c.part, c.all) < c.floor {
				t.Errorf("%s: %s %s, want %.1f %% at least", v.Name, c.what, rate(c.part, c.all), c.floor)
			}
		}
	}
	t.Logf("seeds from %d, %d shoots of each variety\n%s", from, n, table.String())
}

// onceEach holds that every frame made is in one sequence just once, but for
// copies and pictures that the camera merged.
func onceEach(t *testing.T, variety string, seed uint64, made *audittest.Shoot, result *audit.Result) {
	t.Helper()
	seen := map[string]int{}
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Frames {
				for _, file := range f.Files {
					seen[file.Path]++
				}
			}
		}
	}
	for _, f := range made.Files {
		_, copied := made.Copies[f.Path]
		most := seen[f.Path] <= 1
		if !most || seen[f.Path] == 0 && !copied && !made.Merged[f.Path] && len(made.Copies) == 0 {
			t.Errorf("%s, seed %d: %s stands in %d sequences", variety, seed, f.Path, seen[f.Path])
		}
	}
}

func share(part, all int) float64 { return 100 * float64(part) / float64(max(all, 1)) }

func rate(part, all int) string {
	if all == 0 {
		return "-"
	}
	return fmt.Sprintf("%d/%d %.1f %%", part, all, share(part, all))
}
