package evidence

import (
	"math"

	"prestrike/audit/shoot"
)

// BracketLacks reports whether the exposures of a bracket, of one or several
// cycles, lack just so many frames for even steps with equally many frames each.
func BracketLacks(frames []*shoot.Frame, lost int) bool {
	var levels []float64
	var counts []int
	for _, f := range frames {
		ev, ok := exposure(f.Meta())
		if !ok {
			return false
		}
		i := 0
		for i < len(levels) && levels[i] < ev-Tolerance.Default {
			i++
		}
		if i < len(levels) && math.Abs(levels[i]-ev) < Tolerance.Default {
			counts[i]++
			continue
		}
		if len(levels) == mostLevels {
			return false
		}
		levels = append(levels[:i], append([]float64{ev}, levels[i:]...)...)
		counts = append(counts[:i], append([]int{1}, counts[i:]...)...)
	}
	if len(levels) < 2 {
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

// mostLevels is more exposures than any bracket has.
const mostLevels = 16
