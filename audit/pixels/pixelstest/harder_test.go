package pixelstest

import (
	"image"
	"math"
	"testing"
)

// TestHarder: the same subject and frames, under conditions within their bounds.
func TestHarder(t *testing.T) {
	signs := map[bool]bool{}
	for seed := range uint64(12) {
		d := Random(seed)
		h := d.Harder()
		if h.Seed != d.Seed || h.Shape != d.Shape || h.Depth != d.Depth || h.Frames != d.Frames || h.Jitter != d.Jitter {
			t.Errorf("seed %d: the subject is another: %+v, %+v", seed, h, d)
		}
		if !h.Table || !h.Background || h.Glints < 20 || h.Electrons > 5000 || h.Quality != 75 || math.Abs(h.Breathing) > 0.09 {
			t.Errorf("seed %d: %+v", seed, h)
		}
		signs[h.Breathing > 0] = true
	}
	if len(signs) != 2 {
		t.Error("breathing has one sign")
	}
}

// TestGlintsMove: a highlight goes over the picture as focus does, by as much as drawn.
func TestGlintsMove(t *testing.T) {
	b := Scene{Seed: 3, Width: 128, Height: 96, Shape: Plane, Depth: 2, Contrast: 0, Glints: 1}.Build()
	b.glints[0].x, b.glints[0].y, b.glints[0].toX, b.glints[0].toY, b.glints[0].bright = 60, 40, 5, -3, 30
	at := func(focus float64) (x, y float64) {
		with, sum := b.Shoot(Shot{Focus: focus, Noise: 1}), 0.0
		for i, v := range with.Pix {
			if w := float64(v) - 200; w > 0 { // only the highlight is as bright
				x, y, sum = x+w*float64(i%128), y+w*float64(i/128), sum+w
			}
		}
		return x / sum, y / sum
	}
	x0, y0 := at(0)
	x1, y1 := at(1)
	if math.Abs(x1-x0-5) > 0.3 || math.Abs(y1-y0+3) > 0.3 {
		t.Errorf("from %.1f, %.1f to %.1f, %.1f; want 5 to the right and 3 up", x0, y0, x1, y1)
	}
}

// TestTable: the lower quarter goes from the farthest to the nearest point.
func TestTable(t *testing.T) {
	b := Scene{Seed: 3, Width: 128, Height: 96, Shape: Dome, Depth: 8, Contrast: 1, Table: true}.Build()
	for y, want := range map[int]float64{72: 1, 84: 0.5, 95: 1.0 / 24} {
		if got := float64(b.depth[y*128+64]); math.Abs(got-want) > 1e-3 {
			t.Errorf("row %d lies at %.3f, want %.3f", y, got, want)
		}
	}
	if r := b.Shoot(Shot{Focus: 0.5}).Bounds(); r != image.Rect(0, 0, 128, 96) {
		t.Errorf("picture of %v", r)
	}
}
