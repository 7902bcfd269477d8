package pixelstest

import (
	"bytes"
	"math"
	"testing"
)

func TestSameSeedSameBytes(t *testing.T) {
	d := Random(5)
	shot := d.Shots()[3]
	a, b := d.Build().JPEG(shot), d.Build().JPEG(shot)
	if !bytes.Equal(a, b) {
		t.Error("two renderings of one shot differ")
	}
	shot.Noise++
	if bytes.Equal(a, d.Build().JPEG(shot)) {
		t.Error("the noise of two shots is the same")
	}
}

// TestLostShares holds the truth that the proofs are held against: what lies
// before a focus and what lies behind it make the whole, and half of the
// surface lies before the median.
func TestLostShares(t *testing.T) {
	for seed := range uint64(5) {
		b := Random(seed).Build()
		if got := b.LostBefore(2) + b.LostBehind(-1); got != 2 {
			t.Errorf("seed %d: all of the surface counts as %v, want 2 times 1", seed, got)
		}
		if f := b.FocusAt(0.3); b.Shape != Steps && math.Abs(b.LostBefore(f)-0.3) > 0.01 {
			t.Errorf("seed %d: %v of the surface lies before %v, want 0.3", seed, b.LostBefore(f), f)
		}
	}
}
