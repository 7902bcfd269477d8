package pixels

import (
	"math"
	"testing"
)

// TestUnevenStepsAreNotSoft: towards the end of a run that does not cover the subject all gets
// sharper. Where focus hardly moves over one step and far over the next, the frame between is
// softer than the mean of its neighbours, but not than both of them, as a shaken one is.
func TestUnevenStepsAreNotSoft(t *testing.T) {
	const n, at, hw = 24, 22, 2.5
	for _, c := range []struct {
		name        string
		step, shake float64 // share of the usual step before the frame; its loss, ln
		found       bool
	}{
		{"even steps", 1, 0, false},
		{"a short step", 0.5, 0, false},
		{"no step", 0, 0, false},
		{"no step, and shaken", 0, 0.5, true},
	} {
		b := bells(n, hw)
		b.tilesOf(0, len(b.tiles), func(k int) float64 {
			place := float64(k)
			if k == at {
				place += c.step - 1
			}
			x, last := (place-n)/hw, 1/hw
			f := math.Exp2(last*last - x*x)
			if k == at {
				f *= math.Exp(-c.shake)
			}
			return f
		})
		s := tell(n).evidence().askSoft(walks, b, Stalls{}, Order{}, Brightness{})
		if c.found != (s.Answer == Found) || c.found && (len(s.Events) != 1 || s.Events[0].Frame != at) {
			t.Errorf("%s: %v %q %+v", c.name, s.Answer, s.Reason, s.Events)
		}
	}
}
