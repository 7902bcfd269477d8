package evidence

import "testing"

// A pause of two cadences over which focus moves some two steps is a frame that was
// left out; one over which it moves one step is a pause, and one over which it moves
// far more is neither.
func TestSkipped(t *testing.T) {
	for _, tt := range []struct {
		ticks, jump float64
		want        bool
	}{{2, 2, true}, {2, 2.6, true}, {2, 1.5, true}, {2, 0, false}, {2, 4, false}, {1.2, 2, false}, {3, 2.1, true}, {3, 1.9, false}} {
		g := Gap{Ticks: tt.ticks, Jump: tt.jump}
		if got := g.Skipped(); got != tt.want {
			t.Errorf("a pause of %v cadences, focus over %v steps: %v, want %v", tt.ticks, tt.jump, got, tt.want)
		}
	}
}
