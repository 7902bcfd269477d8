package proof

import (
	"image"
	"math"
	"testing"
)

// TestHighlights follows disks, whose frame of focus is known, through frames that each show a
// larger part: their middle, their frame of focus, and how they grow.
func TestHighlights(t *testing.T) {
	const w, h, frames, ground = 400, 300, 15, 90
	const light = 30 // of the points, in whites
	points := []struct{ x, y, focus float64 }{{100.5, 80, 4.3}, {105, 102, 11}, {300, 200.5, 7}, {220, 110, 9.5}}
	var all highlights
	for n := range frames {
		zoom := 1 + 0.004*float64(n)
		img := image.NewGray(image.Rect(0, 0, w, h))
		for i := range img.Pix {
			img.Pix[i] = ground
		}
		draw := func(x, y, radius float64) { // the light of a point, of 2 px in focus
			level := light / max(1, math.Pi*radius*radius/4)
			for v := range h {
				for u := range w {
					if d := math.Hypot(float64(u)-zoom*x, float64(v)-zoom*y); d < radius+0.5 {
						at := math.Pow(float64(ground)/255, 2.2) + level*min(1, radius+0.5-d)
						img.Pix[v*w+u] = uint8(255 * math.Pow(min(1, at), 1/2.2))
					}
				}
			}
		}
		for _, p := range points {
			draw(p.x, p.y, 2+0.8*math.Abs(float64(n)-p.focus))
		}
		for u := 40; u < 90; u++ { // a hair, which is sharp in frame 6
			for v := 240; v < 242+n%7/6; v++ {
				img.Pix[v*w+u] = 255
			}
		}
		for v := 0; v < 70; v++ { // a white surface
			for u := 200; u < 300; u++ {
				img.Pix[v*w+u] = 255
			}
		}
		all.add(int16(n), newSource(img, 1), affine{p: zoom})
	}
	found := 0
	for _, l := range all.list {
		if l.blurs() && l.round {
			found++
		}
	}
	if found != len(points) {
		t.Errorf("%d highlights were found, want %d: %+v", found, len(points), all.list)
	}
	for _, p := range points {
		near := 0
		for _, l := range all.list {
			if math.Hypot(l.x-p.x, l.y-p.y) > 1.5 || !l.blurs() {
				continue
			}
			near++
			if z := float64(l.focus()); math.Abs(z-p.focus) > 0.4 {
				t.Errorf("the point at %v, %v is in focus in %.2f, want %v", p.x, p.y, z, p.focus)
			}
			for n := range frames {
				want := 2 + 0.8*math.Abs(float64(n)-p.focus)
				if r := l.at(float32(n)); math.Abs(r-want) > 3.5 {
					t.Errorf("the point at %v, %v has a radius of %.1f px in frame %d, want %.1f", p.x, p.y, r, n, want)
				}
			}
		}
		if near != 1 {
			t.Errorf("%d highlights lie at %v, %v", near, p.x, p.y)
		}
	}
}

// TestAnyClipped holds four pixels at once to each of them.
func TestAnyClipped(t *testing.T) {
	for v := range 256 {
		for place := range 4 {
			for _, rest := range []uint32{0, 0x7f, 0x80, clippedFrom - 1} {
				four := rest * 0x01010101
				four = four&^(0xff<<(8*place)) | uint32(v)<<(8*place)
				if got := anyClipped(four); got != (v >= clippedFrom) {
					t.Errorf("%08x: %v", four, got)
				}
			}
		}
	}
}
