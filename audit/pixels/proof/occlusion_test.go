package proof

import (
	"image"
	"slices"
	"testing"

	"prestrike/audit/pixels/pixelstest"
)

// TestOcclusion merges runs through two planes, of which the near one hides parts of the
// far one, and is blurred over it by up to 20 px.
func TestOcclusion(t *testing.T) {
	pixelstest.Long(t)
	const blur = 20
	n := 10
	if testing.Short() || *rateScenes < someScenes {
		n = 2
	}
	var rings []float64
	for i := range n {
		b := pixelstest.Layers{Scene: pixelstest.Scene{
			Seed: 7001 + uint64(i), Width: 480, Height: 320, Contrast: 0.6 + 0.06*float64(i), PSF: 0.6, Electrons: 40000 / float64(1+i%4), Quality: 90,
		}, Blur: blur}.Build()
		shots := pixelstest.Run(uint64(i+1), 21, -0.05, 1.05, 0.04)
		var list []image.Image
		for _, s := range shots {
			list = append(list, b.Picture(s))
		}
		f := Focus(RunOf(measured(t, list)), listed(list))
		if len(f.Used) != len(list) {
			t.Errorf("scene %d: %d of %d frames were merged", i, len(f.Used), len(list))
		}
		sharp := b.Sharp()
		ring := b.Ring(blur / 2)
		all := psnr(f.Picture.Y, f.Picture.YStride, sharp, nil)
		behind := psnr(f.Picture.Y, f.Picture.YStride, sharp, func(i int) bool { return ring[i] })
		best := 0.0
		for _, img := range list {
			pix, stride := grey(img)
			best = max(best, psnr(pix, stride, sharp, nil))
		}
		t.Logf("scene %d: PSNR %.1f, %.1f in the ring behind edges; best frame %.1f", i, all, behind, best)
		if rings = append(rings, behind); behind < 30 || all < best+5 {
			t.Errorf("scene %d: %.1f dB, %.1f in the ring behind edges, want 5 more than the best frame's %.1f, and 30", i, all, behind, best)
		}
	}
	slices.Sort(rings)
	if median := rings[len(rings)/2]; median < 32.5 {
		t.Errorf("in the ring behind edges the median is %.1f dB, want 32.5", median)
	}
}
