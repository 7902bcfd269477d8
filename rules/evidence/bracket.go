package evidence

import (
	"math"
	"slices"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// levels returns the exposures of a bracket, EV, from the darkest to the brightest, and
// how many frames have each; not ok where one records none.
func levels(frames []*shoot.Frame) (evs []float64, counts []int, ok bool) {
	for _, f := range frames {
		ev, ok := exposure(f.Meta())
		if !ok {
			return nil, nil, false
		}
		i := 0
		for i < len(evs) && evs[i] < ev-Tolerance.Default {
			i++
		}
		if i < len(evs) && math.Abs(evs[i]-ev) < Tolerance.Default {
			counts[i]++
			continue
		}
		if len(evs) == mostLevels {
			return nil, nil, false
		}
		evs, counts = slices.Insert(evs, i, ev), slices.Insert(counts, i, 1)
	}
	return evs, counts, len(evs) > 1
}

// BracketLacks reports whether the exposures of a bracket, of one or several
// cycles, lack exactly this number of frames for even steps with the same number of frames each.
func BracketLacks(frames []*shoot.Frame, lost int) bool {
	levels, counts, ok := levels(frames)
	if !ok {
		return false
	}
	step, most := math.Inf(1), 0
	for i, n := range counts {
		most = max(most, n)
		if i > 0 {
			step = min(step, levels[i]-levels[i-1])
		}
	}
	lacks := 0
	for i, n := range counts {
		lacks += most - n
		if i > 0 {
			steps := (levels[i] - levels[i-1]) / step
			if math.Abs(steps-math.Round(steps)) > 0.25 {
				return false
			}
			lacks += most * (int(math.Round(steps)) - 1)
		}
	}
	return lacks == lost
}

// AutomaticBracket reports whether all frames record that the camera bracketed.
func AutomaticBracket(frames []*shoot.Frame) bool {
	for _, f := range frames {
		if mode, ok := f.Meta().ExposureMode.Get(); !ok || mode != exifread.ExposureBracket {
			return false
		}
	}
	return len(frames) > 0
}

// BracketCycle returns the step of a bracket that is one whole cycle: an odd number of
// exposures in even steps, one frame each, as they lie on both sides of the metered one.
func BracketCycle(frames []*shoot.Frame) (step float64, whole bool) {
	levels, _, ok := levels(frames)
	if !ok || len(levels) != len(frames) || len(frames)%2 == 0 || len(frames) < 3 || !BracketLacks(frames, 0) {
		return 0, false
	}
	return (levels[len(levels)-1] - levels[0]) / float64(len(levels)-1), true
}

// BracketShort reports whether a bracket of different exposures is one frame short of a
// cycle with the given step: in even steps, or with one left out. Of two frames that is
// the step or twice as much.
func BracketShort(frames []*shoot.Frame, step float64) bool {
	levels, _, ok := levels(frames)
	if !ok || len(levels) != len(frames) || len(frames)%2 == 1 {
		return false
	}
	span := (levels[len(levels)-1] - levels[0]) / step
	n := float64(len(levels))
	const off = 0.25 // steps
	return (math.Abs(span-(n-1)) <= off || math.Abs(span-n) <= off) && (n == 2 || BracketLacks(frames, 0) || BracketLacks(frames, 1))
}

// mostLevels is more exposures than any bracket has.
const mostLevels = 16
