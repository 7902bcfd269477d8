package optics

import (
	"fmt"
	"math"
)

// StepRatio is the focus step to plan with, as a fraction of the depth of
// field: neighbouring frames overlap by the rest. Common practice: from 0.7
// down to a third, the smaller to absorb mechanical error
// (photomacrography.net viewtopic.php?t=43953).
const StepRatio = 0.7

// FocusStep returns the way from one focus plane to the next, on the subject's
// side, for a depth of field and the fraction of it by which neighbouring
// frames overlap.
//
//	(1-o) DoF
//
// depth must be above 0 and overlap from 0 to below 1, else NaN.
// Source: definition; the published table of cholla.mmto.org/bbb/focus/rail.html
// is this with no overlap.
func FocusStep(depth Length, overlap float64) Length {
	if !positive(depth) || !(overlap >= 0 && overlap < 1) {
		return Length(nan)
	}
	return depth * Length(1-overlap)
}

// MaxFrames is the most frames any count here is given for: more than a body's
// shutter lives through is a mistake in the input.
const MaxFrames = 1_000_000

// FramesToCover returns how many frames cover a depth in equal focus steps,
// with a focus plane at both ends.
//
//	⌈T/step⌉ + 1
//
// A quotient within a billionth of a whole number counts as whole. Both must be
// above 0 and the count at most [MaxFrames], else an error reports which is not.
// Source: counting.
func FramesToCover(depth, step Length) (int, error) {
	if !positive(depth) {
		return 0, fmt.Errorf("depth %v: must be above 0", depth)
	}
	if !positive(step) {
		return 0, fmt.Errorf("focus step %v: must be above 0", step)
	}
	steps := math.Ceil(float64(depth/step) * (1 - 1e-9))
	if steps >= MaxFrames {
		return 0, fmt.Errorf("a depth of %v in focus steps of %v takes more than %d frames", depth, step, MaxFrames)
	}
	return int(steps) + 1, nil
}
