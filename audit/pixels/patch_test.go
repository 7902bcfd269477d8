package pixels_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// patchShots are n shots, made later, from one focus to another.
func patchShots(seed uint64, n int, from, to float64) []pixelstest.Shot {
	s := pixelstest.Run(seed, n, from, to, 0.05)
	for i := range s {
		s[i].Noise += 90_000_000
	}
	return s
}

// A trial is a run with a hole and what came behind it.
type trial struct {
	name  string
	shots []pixelstest.Shot
	built *pixelstest.Built // where it is not the run's own
	fits  bool
}

// trials are four frames and more over a hole between two focuses, and what does not close it.
func trials(d pixelstest.Draw, b *pixelstest.Built, from, to float64) []trial {
	step := d.CoC / d.Depth
	patch := patchShots(d.Seed+70, 4, from, to)
	w := float64(d.Width)
	away := 3*step + (to - from)
	if from > 0.5 {
		away = -away
	}
	return []trial{
		{"four frames over the hole", patch, nil, true},
		{"six frames, from a step before to a step behind", patchShots(d.Seed+71, 6, from-step, to+step), nil, true},
		{"fourteen frames, from five steps before to five behind", patchShots(d.Seed+73, 14, from-5*step, to+5*step), nil, true},
		{"wrong place", patchShots(d.Seed+72, 4, from+away, to+away), nil, false},
		{"the camera moved by 1 %", pixelstest.Bump(patch, 0, 4, 0.008*w, -0.006*w), nil, false},
		{"half a stop brighter", pixelstest.Brighten(patch, 0, 4, 0.5), nil, false},
		{"the subject turned by 10°", patch, b.Yawed(10), false},
	}
}

// fewTrials are as many frames as are missing in a hole, one to three, made later, and what
// does not close it: other is another subject.
func fewTrials(d pixelstest.Draw, b, other *pixelstest.Built, from, to float64, missing int) []trial {
	step := d.CoC / d.Depth
	between := (to - from) / float64(missing+1)
	at := func(seed uint64, aside float64, n int) []pixelstest.Shot {
		return patchShots(d.Seed+seed, n, from+between+aside, from+float64(n)*between+aside)
	}
	away := 3*step + (to - from)
	if from > 0.5 {
		away = -away
	}
	patch := at(80, 0, missing)
	w := float64(d.Width)
	list := []trial{
		{"as many as are missing", patch, nil, true},
		{"few in the wrong place", at(81, away, missing), nil, false},
		{"few, a step aside", at(83, math.Copysign(step, away), missing), nil, false},
		{"few, the camera moved by 1 %", pixelstest.Bump(patch, 0, missing, 0.008*w, -0.006*w), nil, false},
		{"few, half a stop brighter", pixelstest.Brighten(patch, 0, missing, 0.5), nil, false},
		{"few, the subject turned by 10°", patch, b.Yawed(10), false},
		{"few of another subject", patch, other, false},
	}
	if missing > 1 {
		list = append(list, trial{"one fewer, at one side", at(82, 0, missing-1), nil, false})
	}
	return list
}

// patchOf judges a run with a hole of missing frames at a place, and each trial of a few
// frames, or of four and six.
func patchOf(st *studio, d pixelstest.Draw, at, missing int, few bool, each func(tr trial, p pixels.Patch, jumps pixels.Jumps)) {
	shots := d.Shots()
	run := pixelstest.Missing(shots, at, missing)
	j := st.judge(run)
	list := trials(d, st.built, run[at-1].Focus, run[at].Focus)
	if few {
		other := d.Scene
		other.Seed += 5000
		list = fewTrials(d, st.built, other.Build(), run[at-1].Focus, run[at].Focus, missing)
	}
	for _, tr := range list {
		of := st
		if tr.built != nil {
			of = newStudio(tr.built)
		}
		o := of.judge(tr.shots)
		each(tr, j.Patch(o, at-1, at), j.Jumps)
	}
}

// patched is a run that is offered patches in several tests, each picture of it made once.
var patched = sync.OnceValues(func() (pixelstest.Draw, *studio) {
	d := pixelstest.Draw{Scene: pixelstest.Scene{
		Seed: 5, Width: 480, Height: 320, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.02, Electrons: 40000, Quality: 90,
	}, Frames: 24, Jitter: 0.04, CoC: 1.2, Margin: 2}
	return d, newStudio(d.Build())
})

// TestPatch: four frames made later close the hole of a run, and are refused where they
// lie elsewhere, the camera moved, or they are brighter.
func TestPatch(t *testing.T) {
	d, st := patched()
	patchOf(st, d, 11, 2, false, func(tr trial, p pixels.Patch, _ pixels.Jumps) {
		if want := map[bool]pixels.Answer{true: pixels.Found, false: pixels.Fine}[tr.fits]; p.Answer != want {
			t.Errorf("%s: %+v, want %v", tr.name, p, want)
		}
	})
}

// TestFewPatch: one frame closes the hole that one left, and so do as many as are missing.
func TestFewPatch(t *testing.T) {
	d, st := patched()
	for missing := 1; missing <= 2; missing++ {
		patchOf(st, d, 11, missing, true, func(tr trial, p pixels.Patch, _ pixels.Jumps) {
			if want := map[bool]pixels.Answer{true: pixels.Found, false: pixels.Fine}[tr.fits]; p.Answer != want {
				t.Errorf("%d missing, %s: %+v, want %v", missing, tr.name, p, want)
			}
		})
	}
}

// TestPatchRates counts the runs that close a hole, and those that do not, by what is
// answered of them:
//
//	go test ./audit/pixels -run TestPatchRates -v -seeds 60 -first 3501 -timeout 60m
func TestPatchRates(t *testing.T) {
	overManyScenes(t) // TestPatch asks of one
	ta := newTally()
	overSeeds(func(seed uint64) { ta.patches(seed, false) })
	ta.log(t)
	ta.holdTrials(t)
}

// TestFewPatchRates counts the same of one to three frames:
//
//	go test ./audit/pixels -run TestFewPatchRates -v -seeds 60 -first 25001 -timeout 90m
func TestFewPatchRates(t *testing.T) {
	overManyScenes(t) // TestFewPatch asks of one
	ta := newTally()
	overSeeds(func(seed uint64) {
		if *seedCount > statedScenes || seed%4 == 1 { // half of the scenes, where they are few: the large sample has them all
			ta.patches(seed, true)
		}
	})
	ta.log(t)
	ta.holdTrials(t)
}

// patches offers patches to one drawn scene.
func (ta *tally) patches(seed uint64, few bool) {
	d := drawn(seed)
	rng := rand.New(rand.NewPCG(seed, 401))
	missing := 1 + rng.IntN(3)
	at := 4 + rng.IntN(d.Frames-8-missing)
	patchOf(newStudio(d.Build()), d, at, missing, few, func(tr trial, p pixels.Patch, jumps pixels.Jumps) {
		if !slices.ContainsFunc(jumps.Events, func(e pixels.Jump) bool { return e.From == at-1 }) {
			return // where the hole is not located, nothing is asked
		}
		if !ta.trial(tr, p, true) {
			ta.note("seed %d at %d, %d missing: %s: %+v", seed, at, missing, tr.name, p)
		}
	})
}

// trial counts what is answered of a trial, in the sums where it counts among them, and
// returns whether that is right.
func (ta *tally) trial(tr trial, p pixels.Patch, sum bool) bool {
	want := map[bool]pixels.Answer{true: pixels.Found, false: pixels.Fine}[tr.fits]
	ta.count(tr.name, p.Answer, p.Answer == want)
	if sum {
		ta.count(fmt.Sprintf("all that fit: %v", tr.fits), p.Answer, p.Answer == want)
	}
	return p.Answer == want
}

// holdTrials fails where trials are answered wrong more often than stated.
func (ta *tally) holdTrials(t *testing.T) {
	t.Helper()
	if *harder {
		return
	}
	ta.atLeast(t, "all that fit: true", 0.95)
	ta.atLeast(t, "all that fit: false", 0.99)
}
