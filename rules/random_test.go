package rules

import (
	"flag"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// statedSeeds is how many made-up shoots the floors are stated for. A plain go test
// judges fewer, and holds of them only what must never be.
const statedSeeds = 300

var (
	seeds   = flag.Int("seeds", 60, "made-up shoots to judge; floors are held from 300 at the default first seed")
	seedsAt = flag.Uint64("seeds-at", 2_000_000, "first seed")
)

// A shoot without faults must have no finding that asks for anything but those
// that a retake settles: whoever is called back for nothing switches the
// program off.
func TestCleanShootsRaiseNoAlarm(t *testing.T) {
	n := *seeds
	if testing.Short() {
		n /= 10
	}
	clean, alarms := 0, map[string]int{}
	for seed := *seedsAt; seed < *seedsAt+uint64(n); seed++ {
		made := audittest.Random(seed)
		if !made.Clean {
			continue
		}
		clean++
		opt := &audit.Options{Rules: All()}
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: made.Files}, opt)
		if err != nil {
			t.Fatal(err)
		}
		report := func(q *audit.Reviewed, findings []*audit.Finding) {
			for _, f := range findings {
				if f.Severity > audit.Note && (q == nil || q.SupersededBy == nil) {
					alarms[f.Rule]++
					t.Errorf("seed %d: %s: %s (%v)", seed, f.Rule, f.Message, f.Severity)
				}
			}
		}
		for _, session := range result.Sessions {
			report(nil, session.Findings)
			for _, q := range session.Sequences {
				report(q, q.Findings)
			}
		}
	}
	if clean == 0 {
		t.Fatal("no made-up shoot is clean")
	}
	t.Logf("%d clean shoots, alarms: %v", clean, alarms)
}
