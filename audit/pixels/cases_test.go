package pixels_test

import (
	"math"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// small is a scene that renders quickly.
func small(seed uint64, breathing float64) *pixelstest.Built {
	return pixelstest.Scene{
		Seed: seed, Width: 480, Height: 320, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: breathing, Electrons: 40000, Quality: 90,
	}.Build()
}

func shoot(t *testing.T, b *pixelstest.Built, shots []pixelstest.Shot) []*pixels.FrameMeasure {
	t.Helper()
	var out []*pixels.FrameMeasure
	for _, s := range shots {
		out = append(out, measure(t, b.Picture(s)))
	}
	return out
}

// px1600 returns px of the small scene for px of a picture with a long side of 1,600.
func px1600(px float64) float64 { return px * 480 / 1600 }

// TestJumpBesideStall: where focus stands for two frames and a frame is missing next
// to that, both are named; where it only stands, no jump is.
func TestJumpBesideStall(t *testing.T) {
	b := small(5, 0.03)
	run := pixelstest.Run(3, 26, -0.1, 1.1, 0.03)
	for _, missing := range []bool{true, false} {
		shots := pixelstest.Stall(run, 11, 2, true) // frames 11, 12 and 13 at one focus
		if missing {
			shots = pixelstest.Missing(shots, 15, 1) // 14 to 15 is a step of two
		}
		j := judgeAll(shoot(t, b, shots))
		at := slices.ContainsFunc(j.Jumps.Events, func(e pixels.Jump) bool { return e.From == 14 && e.To == 15 })
		if at != missing || !missing && j.Jumps.Answer != pixels.Fine || j.Stalls.Answer != pixels.Found {
			t.Errorf("missing %v: jumps %v %+v, stalls %v; %s", missing, j.Jumps.Answer, j.Jumps.Events, j.Stalls.Events, summary(j))
		}
	}
}

// TestWalkOfUnrelated: pictures of one thing after another, two or three of each, show
// no focus that walks.
func TestWalkOfUnrelated(t *testing.T) {
	for _, each := range []int{2, 3} {
		var list []*pixels.FrameMeasure
		for k := range uint64(5) {
			list = append(list, shoot(t, small(40+k, 0.02), pixelstest.Run(k+1, each, 0.3, 0.5, 0))...)
		}
		j := judgeAll(list)
		if j.Walk.Answer != pixels.CannotTell {
			t.Errorf("%d of each: walk %v; %s", each, j.Walk.Answer, summary(j))
		}
		for _, name := range []string{"order", "jump", "stall", "first edge", "last edge", "soft"} {
			if v := verdicts(j)[name]; v.Answer != pixels.CannotTell || v.Reason == "" {
				t.Errorf("%d of each: %s %v, %q", each, name, v.Answer, v.Reason)
			}
		}
	}
}

// TestWalkOfExposures: what comes and goes with the exposure is no focus; one step of
// it leaves the rest comparable.
func TestWalkOfExposures(t *testing.T) {
	b := small(7, 0.02)
	judge := func(shots []pixelstest.Shot, settings []float64) *pixels.Judgement {
		var s pixels.Sequence
		for i := range shots {
			shots[i].EV += settings[i]
		}
		for _, m := range shoot(t, b, shots) {
			s.Add(m)
		}
		return s.Judge(pixels.DefaultThresholds(), settings)
	}
	if j := judge(pixelstest.Run(4, 6, 0.4, 0.4, 0), []float64{0, -1, -2, -3, -4, -5}); j.Walk.Answer != pixels.CannotTell || j.Walk.Reason != pixels.ReasonSettings {
		t.Errorf("six exposures: walk %v, %q; %s", j.Walk.Answer, j.Walk.Reason, summary(j))
	}
	step := make([]float64, 24)
	for i := 13; i < 24; i++ {
		step[i] = -1.3
	}
	if j := judge(pixelstest.Run(4, 24, -0.1, 1.1, 0.03), step); j.Walk.Answer != pixels.Found {
		t.Errorf("one step of 1.3 EV: walk %v, %q; %s", j.Walk.Answer, j.Walk.Reason, summary(j))
	}
}

// TestMovedByTheLens: a small jump where focus starts or stops is the lens's play, and
// the place is named as one that cannot be decided; a large one is the camera.
func TestMovedByTheLens(t *testing.T) {
	pixelstest.Long(t)
	for _, breathing := range []float64{0.03, 0.001} { // with a signature, and without
		st := newStudio(small(5, breathing))
		run := pixelstest.Run(3, 24, -0.1, 1.1, 0.03)
		for name, c := range map[string]struct {
			shots []pixelstest.Shot
			at    int // of the first frame behind the jump
		}{
			"starts": {pixelstest.Stall(run, 0, 4, true), 5},
			"stops":  {pixelstest.Stall(run, len(run)-1, 4, true), len(run) - 1},
		} {
			for px, moved := range map[float64]bool{1.8: false, 5: true} {
				j := st.judge(pixelstest.Bump(c.shots, c.at, len(c.shots), px1600(px), 0))
				found := slices.ContainsFunc(j.Moved.Events, func(e pixels.Move) bool { return e.To == c.at })
				if found != moved || !moved && (len(j.Moved.Events) > 0 || !slices.Contains(j.Moved.Doubtful, c.at)) {
					t.Errorf("breathing %v, focus %s, %v px: moved %v %+v, doubtful %v; %s", breathing, name, px, j.Moved.Answer, j.Moved.Events, j.Moved.Doubtful, summary(j))
				}
			}
		}
		// In the midst of the walk it is the camera.
		j := st.judge(pixelstest.Bump(run, 12, len(run), px1600(1.8), 0))
		if len(j.Moved.Events) != 1 || j.Moved.Events[0].To != 12 {
			t.Errorf("breathing %v, 1.8 px while focus walks: %+v; %s", breathing, j.Moved.Events, summary(j))
		}
	}
}

// TestFaintSwap: two neighbours that changed places are named where focus shows too
// faintly in the motion for all else, and are no gap.
func TestFaintSwap(t *testing.T) {
	pixelstest.Long(t)
	found, faint := 0, 0
	for seed := range uint64(6) {
		st := newStudio(small(60+seed, 0.006))
		shots := pixelstest.Run(seed, 24, -0.1, 1.1, 0.08)
		j := st.judge(pixelstest.Swap(shots, 11))
		if j.Jumps.Answer == pixels.Found {
			t.Errorf("seed %d: jumps %+v; %s", seed, j.Jumps.Events, summary(j))
		}
		if j.Signature.Kind == "" {
			faint++
		}
		if slices.ContainsFunc(j.Order.Events, func(e pixels.Reversal) bool { return e.Kind == pixels.Swapped && e.From == 11 && e.To == 12 }) {
			found++
		}
		if clean := st.judge(shots); clean.Order.Answer == pixels.Found {
			t.Errorf("seed %d, nothing swapped: %+v; %s", seed, clean.Order.Events, summary(clean))
		}
	}
	if faint < 3 || found < 5 {
		t.Errorf("%d of 6 swaps named, %d of them with a faint signature; want 5 and 3", found, faint)
	}
}

// TestJumpWithoutSignature: where the lens does not breathe, sharpness with what little
// registration sees locates a missing frame, and finds none where none is missing.
func TestJumpWithoutSignature(t *testing.T) {
	b := small(8, 0.002)
	run := pixelstest.Run(9, 26, -0.1, 1.1, 0.06)
	frames := shoot(t, b, run)
	clean := judgeAll(frames)
	if clean.Signature.Kind != "" || clean.Jumps.Answer != pixels.Fine {
		t.Errorf("clean: signature %q, jumps %v %+v; want none, and fine", clean.Signature.Kind, clean.Jumps.Verdict, clean.Jumps.Events)
	}
	for _, at := range []int{6, 13, 20} {
		j := judgeAll(slices.Delete(slices.Clone(frames), at, at+1))
		if len(j.Jumps.Events) != 1 || j.Jumps.Events[0].From != at-1 || j.Jumps.Events[0].Ratio < 1.6 || j.Jumps.Events[0].Ratio > 2.5 {
			t.Errorf("frame %d missing: %v %+v; %s", at, j.Jumps.Verdict, j.Jumps.Events, summary(j))
		}
	}
}

// TestSwapAndStallWithoutSignature: where the lens does not breathe, two frames that
// changed places are found by the steps of focus, and so is focus that stands; neither is
// taken for a missing frame.
func TestSwapAndStallWithoutSignature(t *testing.T) {
	b := small(8, 0.002)
	run := pixelstest.Run(9, 26, -0.1, 1.1, 0.06)
	frames := shoot(t, b, run)
	for _, at := range []int{8, 15} {
		j := judgeAll(shoot(t, b, pixelstest.Swap(run, at)))
		if o := j.Order; len(o.Events) != 1 || o.Events[0].Kind != pixels.Swapped || o.Events[0].From != at || len(j.Jumps.Events) != 0 {
			t.Errorf("frames %d and %d changed places: order %+v, jumps %+v; %s", at, at+1, o, j.Jumps, summary(j))
		}
		stands := pixelstest.Stall(run, at, 1, true)
		j = judgeAll(slices.Insert(slices.Clone(frames), at+1, shoot(t, b, stands[at+1:at+2])...))
		if s := j.Stalls; len(s.Events) != 1 || s.Events[0].From != at || len(j.Jumps.Events) != 0 {
			t.Errorf("focus stands at frame %d: stalls %+v, jumps %+v; %s", at, s, j.Jumps, summary(j))
		}
	}
	if j := judgeAll(frames); j.Stalls.Answer != pixels.Fine {
		t.Errorf("focus moves throughout: stalls %+v; %s", j.Stalls, summary(j))
	}
	// At the ends there are steps on one side alone.
	for at, n := range map[int]int{0: 3, len(run) - 1: 2} {
		stands := pixelstest.Stall(run, at, n, true)
		j := judgeAll(slices.Insert(slices.Clone(frames), at+1, shoot(t, b, stands[at+1:at+1+n])...))
		if s := j.Stalls; len(s.Events) != 1 || s.Events[0].From != at || s.Events[0].To != at+n || len(j.Jumps.Events) != 0 {
			t.Errorf("focus stands for %d frames behind frame %d: stalls %+v, jumps %+v; %s", n, at, s, j.Jumps, summary(j))
		}
	}
}

// TestRegisterBetweenPixels: pictures that lie half a pixel of the small picture apart in both
// directions are registered, too: there the nearest pixel, whose gradient counts, changes from
// step to step. These two frames of a rail were taken for different things.
func TestRegisterBetweenPixels(t *testing.T) {
	d := pixelstest.Random(35045)
	shots := d.Shots()[12:14]
	m := shoot(t, d.Build(), shots)
	got := pixels.Register(m[0], m[1])
	way := shots[1].Focus - shots[0].Focus
	if !got.Converged || math.Hypot(got.ShiftX-way*d.DriftX, got.ShiftY-way*d.DriftY) > 0.3 {
		t.Errorf("shifted by %.2f and %.2f px: %+v", way*d.DriftX, way*d.DriftY, got)
	}
}
