package pixels_test

import (
	"image"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// turned returns the picture stored upright, by a quarter turn.
func turned(img image.Image) image.Image {
	b := img.Bounds()
	out := image.NewGray(image.Rect(0, 0, b.Dy(), b.Dx()))
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.Set(b.Dy()-1-y, x, img.At(b.Min.X+x, b.Min.Y+y))
		}
	}
	return out
}

// TestBands puts a curtain's shadow or a pulsing lamp into one frame of rendered runs,
// and what only resembles it.
func TestBands(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	const at = 6
	one := func(change func(s *pixelstest.Shot)) func([]pixelstest.Shot) {
		return func(shots []pixelstest.Shot) { change(&shots[at]) }
	}
	built := map[uint64]*pixelstest.Built{}
	seeds := []uint64{2}
	if *seedCount >= statedScenes {
		seeds = append(seeds, 10, 18)
	}
	for _, seed := range seeds {
		d := drawn(seed)
		d.Width, d.Height = 480, 320
		built[seed] = d.Build()
	}
	for _, c := range []struct {
		name           string
		change         func([]pixelstest.Shot)
		upright        bool
		edges, ripples int
	}{
		{name: "clean", change: func([]pixelstest.Shot) {}},
		{name: "covered by a seventh", change: one(func(s *pixelstest.Shot) { s.Covered = 0.15 }), edges: 1},
		{name: "covered by half", change: one(func(s *pixelstest.Shot) { s.Covered = 0.5 }), edges: 1},
		{name: "covered, stored upright", change: one(func(s *pixelstest.Shot) { s.Covered = 0.2 }), upright: true, edges: 1},
		{name: "covered alike in all frames", change: func(shots []pixelstest.Shot) {
			for i := range shots {
				shots[i].Covered = 0.2
			}
		}},
		{name: "darker all over", change: one(func(s *pixelstest.Shot) { s.EV = -2 })},
		{name: "a shadow across", change: one(func(s *pixelstest.Shot) { s.Cloud, s.CloudAt = 1.5, 0.3 })},
		{name: "knocked", change: one(func(s *pixelstest.Shot) { s.ShiftX, s.ShiftY = 4, 6 })},
		{name: "a lamp that pulses", change: func(shots []pixelstest.Shot) {
			for i := range shots {
				shots[i].Ripple, shots[i].Phase = 0.3, 0.37*float64(i)
			}
		}, ripples: 5}, // of 11: some pictures cannot be registered
		{name: "pulses under the limit", change: func(shots []pixelstest.Shot) {
			for i := range shots {
				shots[i].Ripple, shots[i].Phase = 0.03, 0.37*float64(i)
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed, built := range built {
				shots := pixelstest.Run(seed, 12, 0, 1, 0.04)
				c.change(shots)
				var s pixels.Sequence
				for _, shot := range shots {
					img := built.Picture(shot)
					if c.upright {
						img = turned(img)
					}
					m, err := pixels.Measure(img)
					if err != nil {
						t.Fatal(err)
					}
					s.Add(m)
				}
				b := s.Judge(pixels.DefaultThresholds(), nil).Bands
				if len(b.Edges) != c.edges || len(b.Ripples) < c.ripples || c.ripples == 0 && len(b.Ripples) > 0 {
					miss(t, "seed %d: %v %q %+v", seed, b.Answer, b.Reason, b)
					continue
				}
				if c.edges > 0 && (b.Edges[0].Frame != at || b.Edges[0].EV < 1.5) {
					miss(t, "seed %d: %+v, want frame %d", seed, b.Edges, at)
				}
			}
		})
	}
}
