package pixels

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestQuickMedian holds the median found without sorting to that of sorted values.
func TestQuickMedian(t *testing.T) {
	if !math.IsNaN(quickMedian(nil)) {
		t.Error("there is a median of nothing")
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 1; n < 200; n++ {
		for _, kinds := range []int{1, 3, 1 << 30} { // alike, with many ties, and all different
			v := make([]float64, n)
			for i := range v {
				v[i] = float64(rng.IntN(kinds)) - 5
			}
			want := median(slices.Clone(v))
			slices.Sort(v[:n/2]) // in part, as values in the order of the picture are
			if got := quickMedian(v); got != want {
				t.Fatalf("median of %d values: %v, want %v", n, got, want)
			}
		}
	}
}
