package pixels

import (
	"math"
	"slices"
	"testing"
)

func TestOutwardPlaces(t *testing.T) {
	// Frames 1, 3, 5 go to one side of frame 0, frames 2, 4, 6 to the other.
	if got, want := inTurn(7), []int{5, 3, 1, 0, 2, 4, 6}; !slices.Equal(got, want) {
		t.Errorf("in turn: %v, want %v", got, want)
	}
	// Frame 3 was lost: what is frame 3 now goes to the other side, as frame 5 does.
	if got, want := inTurnWithout(7, 3), []int{6, 4, 1, 0, 2, 3, 5}; !slices.Equal(got, want) {
		t.Errorf("in turn with one lost: %v, want %v", got, want)
	}
	if got, want := oneThenOther(7, 2), []int{2, 1, 0, 3, 4, 5, 6}; !slices.Equal(got, want) {
		t.Errorf("one side first: %v, want %v", got, want)
	}
}

func TestValley(t *testing.T) {
	f := []float32{1, 0.2, 0.8, 0.1, 0.4}
	for _, c := range []struct {
		order []int
		want  float64
	}{
		{[]int{0, 1, 2, 3, 4}, 0.6}, // 0.2 between 1 and 0.8
		{[]int{3, 1, 4, 2, 0}, 0},   // rises all through
		{[]int{1, 2, 0, 4, 3}, 0},   // rises and falls
		{[]int{0, 3, 2, 1, 4}, 0.7}, // 0.1 between 1 and 0.8
	} {
		if got := valley(f, c.order); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("order %v: %v, want %v", c.order, got, c.want)
		}
	}
}

// TestMotionTo: a motion to another place, after that from the first frame, leads there.
func TestMotionTo(t *testing.T) {
	a := Motion{Scale: 0.02, Rotation: 0.01, ShiftX: 12, ShiftY: -5}
	b := Motion{Scale: -0.03, Rotation: -0.004, ShiftX: -7, ShiftY: 9}
	got := a.then(a.to(b))
	for _, d := range []float64{got.Scale - b.Scale, got.Rotation - b.Rotation, got.ShiftX - b.ShiftX, got.ShiftY - b.ShiftY} {
		if math.Abs(d) > 1e-9 {
			t.Errorf("leads to %+v, want %+v", got, b)
		}
	}
}
