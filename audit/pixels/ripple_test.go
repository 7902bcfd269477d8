package pixels

import (
	"math"
	"testing"
)

// Waves are those that the quarters of the lines share which make them.
func TestRipple(t *testing.T) {
	for _, c := range []struct {
		name  string
		lines int
		ev    func(line int) (ev, apart float64)
		found bool
	}{
		{"a lamp that pulses", 36, func(y int) (float64, float64) { return 0.15 * math.Sin(float64(y)/3), 0.01 }, true},
		{"the same in light that falls off", 36, func(y int) (float64, float64) { return 0.15*math.Sin(float64(y)/3) + 0.02*float64(y), 0.01 }, true},
		{"no waves", 36, func(y int) (float64, float64) { return 0.02 * float64(y), 0.01 }, false},
		{"waves that are not shared", 36, func(y int) (float64, float64) { return 0.15 * math.Sin(float64(y)/3), 0.1 }, false},
		// A step in few lines tilts the straight line, and with a line in between makes three turns.
		{"edges of things in few lines, plain ground in the others", 36, func(y int) (float64, float64) {
			switch {
			case y == 16:
				return -0.15, 0.14
			case y > 27:
				return -0.13, 0.07
			}
			return 0, 0.004
		}, false},
	} {
		ev, apart := make([]float64, c.lines), make([]float64, c.lines)
		for y := range ev {
			ev[y], apart[y] = c.ev(y)
		}
		if got := ripple(ev, apart); got > 0 != c.found {
			t.Errorf("%s: %.2f EV", c.name, got)
		}
	}
}
