package shoot

import (
	"math"
	"slices"
	"testing"
)

// inTurn returns the distances of a run that goes outwards from its middle in turn.
func inTurn(n int) []float64 {
	at := []float64{100}
	for k := 1; len(at) < n; k++ {
		at = append(at, 100-float64(k), 100+float64(k))
	}
	return at[:n]
}

// TestOutwards: runs from the middle outwards are distinguished from all that goes back over
// what was covered.
func TestOutwards(t *testing.T) {
	steps := func(at ...float64) []float64 { return at }
	monotone := make([]float64, 12)
	for i := range monotone {
		monotone[i] = float64(i)
	}
	mirrored := inTurn(13)
	for i := range mirrored {
		mirrored[i] = 200 - mirrored[i]
	}
	lost := slices.Delete(inTurn(15), 5, 6)
	coarse := inTurn(17)
	for i := range coarse {
		coarse[i] = math.Round(coarse[i]/2) * 2
	}
	swapped := inTurn(13)
	swapped[6], swapped[8] = swapped[8], swapped[6]
	for _, c := range []struct {
		name string
		at   []float64
		want bool
	}{
		{"in turn", inTurn(13), true},
		{"in turn, farther first", mirrored, true},
		{"in turn, an even number", inTurn(14), true},
		{"one lost", lost, true},
		{"on a coarse scale", coarse, true},
		{"one side, then the other", steps(10, 9, 8, 7, 6, 11, 12, 13, 14), true},
		{"ends at infinity", steps(10, 9, 11, 8, 12, 7, 13, 6, math.Inf(1), 5, math.Inf(1)), true},
		{"too few", inTurn(8), false},
		{"one way", monotone, false},
		{"turns", steps(0, 1, 2, 3, 4, 5, 4, 3, 2, 1, 0, -1, -2, -3), false},
		{"starts over", steps(0, 1, 2, 3, 4, 5, 0, 1, 2, 3, 4, 5), false},
		{"starts over the other way, but far off", steps(10, 11, 12, 13, 14, 15, 6, 5, 4, 3, 2), false},
		{"gives way at the start", steps(10, 9, 8, 11, 12, 13, 14, 15, 16, 17), false},
		{"two swapped", steps(0, 1, 2, 4, 3, 5, 6, 7, 8, 9), false},
		{"in turn, two swapped", swapped, false},
		{"stands", make([]float64, 12), false},
		{"at infinity", slices.Repeat([]float64{math.Inf(1)}, 12), false},
		{"none", nil, false},
	} {
		order, ok := Outwards(c.at)
		if ok != c.want {
			t.Errorf("%s: %v, want %v", c.name, ok, c.want)
		}
		if !ok {
			continue
		}
		if len(order) != len(c.at) || !slices.IsSortedFunc(order, func(a, b int) int {
			if c.at[a] < c.at[b] {
				return -1
			} else if c.at[a] > c.at[b] {
				return 1
			}
			return 0
		}) {
			t.Errorf("%s: order %v", c.name, order)
		}
	}
}
