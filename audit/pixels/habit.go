package pixels

import (
	"math"
	"slices"
)

// pairs reports whether the run takes two frames at every position of focus: over
// every other link the picture changes by noise alone, less than over any of the
// others.
func (e *evidence) pairs(w Walk) bool {
	if w.Answer != Found || len(e.links) < habitLinks || len(e.frames) != e.added || slices.Contains(e.outside, true) {
		return false
	}
	for first := range 2 {
		var still, moves []float64
		for i, l := range e.links {
			switch {
			case l.to-l.from != 1 || !l.motion.Converged || l.same || math.IsNaN(l.change):
				return false
			case i%2 == first:
				still = append(still, l.change)
			default:
				moves = append(moves, l.change)
			}
		}
		if slices.Max(still) < slices.Min(moves) && median(still) <= habitChange*median(moves) {
			return true
		}
	}
	return false
}
