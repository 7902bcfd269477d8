package pixels

import (
	"math"
	"testing"
)

// TestDisc: a disc spreads the light of a point evenly over its area, and loses none.
func TestDisc(t *testing.T) {
	const side, n = 81, 49
	in := make([]float32, side*side)
	in[side/2*side+side/2] = 1
	out := make([]float32, n*n)
	for _, diameter := range blurs[1:] {
		disc(out, make([]float32, (side+1)*side), in, side, n, diameter)
		sum, second := 0.0, 0.0
		for i, v := range out {
			x, y := float64(i%n-n/2), float64(i/n-n/2)
			sum += float64(v)
			second += float64(v) * (x*x + y*y)
		}
		if math.Abs(sum-1) > 1e-4 {
			t.Errorf("a disc of %v px: %v of the light is left", diameter, sum)
		}
		// The mean square distance from the middle of a disc is half its radius squared; the
		// squares of the grid, of 1/12 px² in each direction, add up to 1/6.
		if want := diameter * diameter / 8; diameter >= 2 && (second < want || second > want+1.0/6+0.12) {
			t.Errorf("a disc of %v px: second moment %.3f, want %.3f", diameter, second, want)
		}
	}
	squares := squaredBlurs()
	for d := 1; d < len(squares); d++ {
		if squares[d] <= squares[d-1] {
			t.Errorf("discs of %v and %v px spread light by as much", blurs[d-1], blurs[d])
		}
	}
}

// TestInverted: the blur that leaves a share of the sharpness is found again.
func TestInverted(t *testing.T) {
	var ratio [len(blurs)]float64
	for d, square := range squaredBlurs() {
		ratio[d] = math.Exp(-square / 50)
	}
	for _, want := range []float64{0, 0.5, 4, 9, 30, 100} {
		if got, slope, ok := inverted(&ratio, math.Exp(-want/50)); !ok || math.Abs(got-want) > 1e-6 || math.Abs(slope-50) > 1e-6 {
			t.Errorf("%v px²: %v, slope %v, %v", want, got, slope, ok)
		}
	}
	if _, _, ok := inverted(&ratio, math.Exp(-600.0/50)); ok {
		t.Error("more blur than the widest disc makes is found")
	}
	ratio[5] = ratio[4] // does not fall
	if _, _, ok := inverted(&ratio, ratio[5]/2); ok {
		t.Error("a blur is found beyond where sharpness does not fall")
	}
}

// TestSharpnessSum: means over parts of a picture, by hand.
func TestSharpnessSum(t *testing.T) {
	// A single bright square of 2 x 2 px, 8 above the rest, among 8 x 8 squares: at the
	// square itself 2·8 in both directions, 8 at each of its four neighbours.
	s := sharpnessSum(16, 16, 2, func(x, y int) float32 {
		if x/2 == 4 && y/2 == 4 {
			return 8
		}
		return 0
	})
	if got, want := s.mean(0, 0, 16, 16), float32(32*32+4*8*8)/64; got != want {
		t.Errorf("the whole picture: %v, want %v", got, want)
	}
	if got, want := s.mean(8, 8, 10, 10), float32(32*32); got != want {
		t.Errorf("the square: %v, want %v", got, want)
	}
	if got, want := s.mean(9, 8, 11, 10), float32(32*32+8*8)/2; got != want {
		t.Errorf("half of it: %v, want %v", got, want)
	}
	if got := s.mean(12, 12, 20, 20); got != -1 {
		t.Errorf("outside: %v, want -1", got)
	}
}
