package pixels_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// openEnd cuts the shots where a share of the textured surface is left out at one end; it
// returns where they stop and how much is lost, and false where that is not near the
// share: steps and terraces jump.
func openEnd(b *pixelstest.Built, shots []pixelstest.Shot, share float64, last bool) (cut []pixelstest.Shot, goal float64, ok bool) {
	var lost float64
	if last {
		i := slices.IndexFunc(shots, func(s pixelstest.Shot) bool { return s.Focus > b.FocusAt(1-share) })
		if i < 8 {
			return nil, 0, false
		}
		cut, goal = shots[:i], shots[len(shots)-1].Focus
		lost = b.LostBehind(cut[i-1].Focus)
	} else {
		i := slices.IndexFunc(shots, func(s pixelstest.Shot) bool { return s.Focus >= b.FocusAt(share) })
		if i < 0 || len(shots)-i < 8 {
			return nil, 0, false
		}
		cut, goal = shots[i:], shots[0].Focus
		lost = b.LostBefore(cut[0].Focus)
	}
	return cut, goal, lost > share/2 && lost < 2*share
}

// tooShort is the trial that leaves more than an eighth of the surface out.
const tooShort = "stops after a third of the way"

// turnedBy10 is the trial whose view alone shows that it does not fit, where focusing hardly moves
// the picture.
const turnedBy10 = "the subject turned by 10°"

// endTrials are frames that go on from a focus to another, and what does not cover that.
func endTrials(d pixelstest.Draw, b *pixelstest.Built, end, goal float64, frames int) []trial {
	step := d.CoC / d.Depth
	if goal < end {
		step = -step
	}
	n := max(4, frames)
	patch := patchShots(d.Seed+80, n, end, goal)
	w := float64(d.Width)
	list := []trial{
		{"from the end on", patch, nil, true},
		{"from a step before the end", patchShots(d.Seed+81, n+1, end-step, goal), nil, true},
		{"back to the end", patchShots(d.Seed+82, n, goal, end), nil, true},
		{"begins four steps behind the end", patchShots(d.Seed+83, n, end+4*step, end+4*step+(goal-end)), nil, false},
		{"inside the run", patchShots(d.Seed+84, n, end-8*step, end-8*step-(goal-end)), nil, false},
		{"the camera moved by 1 %", pixelstest.Bump(patch, 0, n, 0.008*w, -0.006*w), nil, false},
		{"half a stop brighter", pixelstest.Brighten(patch, 0, n, 0.5), nil, false},
		{turnedBy10, patch, b.Yawed(10), false},
	}
	short := end + (goal-end)/3
	left := b.LostBehind(short)
	if goal < end {
		left = b.LostBefore(short)
	}
	if left > 0.12 {
		list = append(list, trial{tooShort, patchShots(d.Seed+85, max(4, n/3+1), end, short), nil, false})
	}
	return list
}

// extendOf judges a run that stops short at one end, and each trial that is wanted; what is
// not found to be open is not asked.
func extendOf(st *studio, d pixelstest.Draw, share float64, last bool, wants func(name string) bool, each func(tr trial, p pixels.Patch)) {
	shots := d.Shots()
	cut, goal, ok := openEnd(st.built, shots, share, last)
	if !ok {
		return
	}
	j := st.judge(cut)
	if !j.Extendable(last) {
		return
	}
	end := cut[0].Focus
	if last {
		end = cut[len(cut)-1].Focus
	}
	for _, tr := range endTrials(d, st.built, end, goal, len(shots)-len(cut)+1) {
		if !wants(tr.name) {
			continue
		}
		of := st
		if tr.built != nil {
			of = newStudio(tr.built)
		}
		each(tr, j.Extend(of.judge(tr.shots), last))
	}
}

// TestExtend: frames that go on from an open end cover it, and are refused where they
// begin too far on, stop too early, the camera moved, or they are brighter.
func TestExtend(t *testing.T) {
	pixelstest.Long(t)
	d := pixelstest.Draw{Scene: pixelstest.Scene{
		Seed: 5, Width: 368, Height: 256, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.02, Electrons: 40000, Quality: 90,
	}, Frames: 18, Jitter: 0.04, CoC: 1.8, Margin: 1.5}
	st := newStudio(d.Build())
	why := map[string]string{
		"from a step before the end": "", "begins four steps behind the end": pixels.PatchNarrow, tooShort: pixels.PatchShort,
		"the camera moved by 1 %": pixels.PatchMoved, "half a stop brighter": pixels.PatchLight, turnedBy10: pixels.PatchMoved,
	}
	asked := 0
	extendOf(st, d, 0.45, true, func(name string) bool { _, ok := why[name]; return ok }, func(tr trial, p pixels.Patch) {
		asked++
		if tr.fits != (p.Answer == pixels.Found) || p.Why != why[tr.name] || p.Turned != (tr.name == turnedBy10) {
			t.Errorf("%s: %+v, want %q", tr.name, p, why[tr.name])
		}
	})
	if asked != len(why) {
		t.Errorf("%d trials asked, want %d", asked, len(why))
	}
}

// TestExtendRates counts the runs that cover an open end, and those that do not, by what
// is answered of them:
//
//	go test ./audit/pixels -run TestExtendRates -v -seeds 60 -first 3701 -timeout 60m
func TestExtendRates(t *testing.T) {
	overManyScenes(t) // TestExtend asks of one
	ta := newTally()
	overSeeds(ta.extensions)
	ta.log(t)
	ta.holdTrials(t)
}

// extensions leaves an end of one drawn scene open and offers runs that go on there.
func (ta *tally) extensions(seed uint64) {
	d := drawn(seed)
	rng := rand.New(rand.NewPCG(seed, 402))
	share := 0.12 + 0.2*rng.Float64()
	last := rng.IntN(2) == 0
	extendOf(newStudio(d.Build()), d, share, last, func(string) bool { return true }, func(tr trial, p pixels.Patch) {
		// What stops too early is seen as well as an end is, and no better.
		if !ta.trial(tr, p, tr.name != tooShort) {
			ta.note("seed %d (%v, %d frames, %.2f px), last %v, %.2f left out: %s: %+v", seed, d.Shape, d.Frames, d.CoC, last, share, tr.name, p)
		}
	})
}
