package pixels_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// TestGapRates counts how often missing frames are located, one at three places and two
// at one of each scene, and how often a clean run is reported to have a gap:
//
//	go test ./audit/pixels -run TestGapRates -v -seeds 150 -first 3001 -timeout 60m
func TestGapRates(t *testing.T) {
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.gaps)
	ta.log(t)
	if *harder {
		return
	}
	if r := ta.rows["A gap | clean"]; r.found > 0 {
		if lo, _ := wilson(r.found, r.runs); lo > 0.01 {
			t.Errorf("gaps found in %d of %d clean runs", r.found, r.runs)
		}
	}
	for name, least := range map[string]float64{"B gap | 1 missing, located": 0.92, "B gap | 2 missing, located": 0.97} {
		ta.atLeast(t, name, least)
	}
}

// gaps takes frames out of one drawn scene.
func (ta *tally) gaps(seed uint64) {
	d := drawn(seed)
	st := newStudio(d.Build())
	shots := d.Shots()
	rng := rand.New(rand.NewPCG(seed, 400))
	name := fmt.Sprintf("seed %d (%v, %d frames, %.2f px)", seed, d.Shape, len(shots), d.CoC)
	j := st.judge(shots)
	ta.count("A gap | clean", j.Jumps.Answer, j.Jumps.Answer == pixels.Found)
	if j.Jumps.Answer == pixels.Found {
		ta.note("%s: gap found in the clean run\n    %s", name, summary(j))
	}
	for _, missing := range []int{1, 1, 1, 2} {
		at := 4 + rng.IntN(len(shots)-8)
		j := st.judge(pixelstest.Missing(shots, at, missing))
		hit := slices.ContainsFunc(j.Jumps.Events, func(e pixels.Jump) bool { return e.From == at-1 })
		elsewhere := slices.ContainsFunc(j.Jumps.Events, func(e pixels.Jump) bool { return e.From < at-2 || e.From > at })
		ta.fault(name, fmt.Sprintf("gap | %d missing, located", missing), j.Jumps.Verdict, hit, j)
		ta.count("A gap | elsewhere than where one is", j.Jumps.Answer, elsewhere)
	}
}
