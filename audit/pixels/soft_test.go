package pixels_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// softAt reports whether a frame is found soft.
func softAt(j *pixels.Judgement, frame int) bool {
	return slices.ContainsFunc(j.Soft.Events, func(e pixels.SoftFrame) bool { return e.Frame == frame })
}

// softFrames counts the frames of a run that are judged, one by one, and are not shaken.
func (ta *tally) softFrames(row, name string, j *pixels.Judgement, shaken int) {
	for i := 1; i+1 < j.Frames; i++ {
		if i == shaken {
			continue
		}
		ta.count(row, j.Soft.Answer, softAt(j, i))
		if softAt(j, i) {
			ta.note("%s: frame %d found soft: %v", name, i, j.Soft.Events)
		}
	}
}

// shakes counts the soft frames of one drawn scene, clean, with frames shaken, and with faults
// that only resemble a shake.
func (ta *tally) shakes(seed uint64) {
	d := drawn(seed)
	st := newStudio(d.Build())
	shots := d.Shots()
	rng := rand.New(rand.NewPCG(seed, 13))
	name := fmt.Sprintf("seed %d (%v, %d frames, %.2f px)", seed, d.Shape, len(shots), d.CoC)
	ta.softFrames("A frame of a clean run", name, st.judge(shots), -1)
	for _, size := range [][2]float64{{1.5, 2.5}, {2.5, 4}, {2.5, 4}, {4, 7}} {
		at, px := 4+rng.IntN(len(shots)-8), size[0]+(size[1]-size[0])*rng.Float64()
		j := st.judge(pixelstest.Shake(shots, at, px, math.Pi*rng.Float64()))
		ta.fault(name, fmt.Sprintf("shake of %v to %v px", size[0], size[1]), j.Soft.Verdict, softAt(j, at), j)
	}
	at := 4 + rng.IntN(len(shots)-8)
	for fault, s := range map[string][]pixelstest.Shot{
		"one frame missing": pixelstest.Missing(shots, at, 1), "swapped": pixelstest.Swap(shots, at),
		"knocked by 3 px": pixelstest.Bump(shots, at, len(shots), 3, 0), "brighter": pixelstest.Brighten(shots, at, 1, 0.3),
	} {
		ta.softFrames("C frame of a run "+fault, name, st.judge(s), -1)
	}
	const n = 12
	focus := 0.2 + 0.6*rng.Float64()
	still := pixelstest.Run(seed+500, n, focus, focus, 0)
	ta.softFrames("A frame of a clean time-lapse", name, st.judge(still), -1)
	for _, px := range []float64{2.5 + 1.5*rng.Float64(), 5} {
		at := 2 + rng.IntN(n-4)
		j := st.judge(pixelstest.Shake(still, at, px, math.Pi*rng.Float64()))
		ta.fault(name, map[bool]string{true: "shake of 5 px in a time-lapse", false: "shake of 2.5 to 4 px in a time-lapse"}[px == 5], j.Soft.Verdict, softAt(j, at), j)
	}
}

// TestShakeRates fails where fewer than 80 % of the shakes of 2.5 to 4 px are found, or more
// than 0.5 % of the frames of clean runs are taken for soft, as far as the interval of a
// count shows that. A frame counts where its run is judged: one whose places are all
// blurred is missed, not left out.
//
//	go test ./audit/pixels -run TestShakeRates -v -seeds 80 -first 16001 -timeout 60m
func TestShakeRates(t *testing.T) {
	pixelstest.Long(t)
	overManyScenes(t)
	ta := newTally()
	overSeeds(ta.shakes)
	ta.log(t)
	if *harder {
		return
	}
	for _, c := range []struct {
		row             string
		atLeast, atMost float64
	}{
		{"A frame of a clean run", 0, 0.005},
		{"A frame of a clean time-lapse", 0, 0.005},
		{"B shake of 2.5 to 4 px", 0.8, 1},
		{"B shake of 4 to 7 px", 0.9, 1},
	} {
		r := ta.rows[c.row]
		if r == nil {
			t.Errorf("no row %q", c.row)
			continue
		}
		if lo, hi := wilson(r.found, r.runs-r.cannot); hi < c.atLeast || lo > c.atMost {
			t.Errorf("%s: %d of %d found, want a share from %v to %v", c.row, r.found, r.runs-r.cannot, c.atLeast, c.atMost)
		}
	}
}

// TestShakeHasADirection holds that the same loss of sharpness counts where it has one
// direction, and not where it is round: one frame of a run is shaken by 3 px, or it lies out
// of focus.
func TestShakeHasADirection(t *testing.T) {
	scene := pixelstest.Scene{Seed: 8, Width: 384, Height: 256, Shape: pixelstest.Plane, Depth: 24, Contrast: 0.8, PSF: 0.6, Breathing: 0.02, Electrons: 20000, Quality: 90}.Build()
	st := newStudio(scene)
	shots := pixelstest.Run(8, 16, -0.1, 1.1, 0.03)
	const at = 8
	if j := st.judge(shots); j.Soft.Answer != pixels.Fine {
		t.Fatalf("clean: %v %q %v", j.Soft.Answer, j.Soft.Reason, j.Soft.Events)
	}
	for _, angle := range []float64{0, math.Pi / 4, math.Pi / 2, 2.2} {
		if j := st.judge(pixelstest.Shake(shots, at, 2.6, angle)); !softAt(j, at) || len(j.Soft.Events) != 1 {
			t.Errorf("shaken along %.1f: %v %v", angle, j.Soft.Answer, j.Soft.Events)
		}
	}
}

// TestRealShakes shakes each frame of the real series by 2.5 to 4 px of the analysed
// picture. Clean series have no soft frame, but for TestRealSeries.
func TestRealShakes(t *testing.T) {
	overManyScenes(t)
	ta := newTally()
	rng := rand.New(rand.NewPCG(13, 13))
	for _, r := range realSeries(t) {
		pictures, clean := r.greys(t), r.measures(t)
		ta.softFrames("clean frame", r.name, judgeAll(clean), -1)
		for at := 1; at+1 < len(clean); at++ {
			px := (2.5 + 1.5*rng.Float64()) * float64(clean[at].Factor)
			shaken := slices.Clone(clean)
			shaken[at] = measure(t, pixelstest.Shaken(pictures[at], px, math.Pi*rng.Float64()))
			j := judgeAll(shaken)
			ta.fault(r.name, "shaken", j.Soft.Verdict, softAt(j, at), j)
		}
	}
	ta.log(t)
	if r := ta.rows["clean frame"]; r.found > 0 {
		t.Errorf("%d of %d clean frames are found soft", r.found, r.runs)
	}
}
