package shoot_test

import (
	"flag"
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

var (
	seeds   = flag.Int("seeds", 1000, "made-up shoots to group")
	seedsAt = flag.Uint64("seeds-at", 1_000_000, "first seed; those below 1000000 were used to choose the constants")
)

// The share of sequences found exactly, frame by frame, over made-up shoots
// that the constants were not chosen on.
func TestGroupFindsMadeUpSequences(t *testing.T) {
	n := *seeds
	if testing.Short() {
		n /= 10
	}
	exact, total, wrongKind, misses := 0, 0, map[string]int{}, map[string]int{}
	for seed := *seedsAt; seed < *seedsAt+uint64(n); seed++ {
		made := audittest.Random(seed)
		sessions := shoot.Group(made.Files, &shoot.Options{})
		found, missed := made.Compare(sessions)
		exact += len(found)
		total += len(found) + len(missed)
		for _, m := range missed {
			misses[strings.TrimRight(m.What, "0123456789. sEV")]++
			t.Logf("seed %d: missed %s (%d frames from %s)", seed, m.What, len(m.Frames), m.Frames[0])
		}
		kinds := map[string]shoot.Kind{}
		for _, session := range sessions {
			for _, q := range session.Sequences {
				kinds[q.Frames[0].Path()] = q.Kind
			}
		}
		for _, f := range found {
			if k := kinds[f.Frames[0]]; k != f.Kind {
				wrongKind[f.Kind.String()+" taken for "+k.String()]++
			}
		}
	}
	share := float64(exact) / float64(total)
	t.Logf("%d of %d sequences found exactly: %.2f %%; other kinds: %v; missed: %v", exact, total, 100*share, wrongKind, misses)
	if share < 0.995 {
		t.Errorf("found %.2f %% of the sequences exactly, want 99.5 %%", 100*share)
	}
}
