package pixelstest

import "math/rand/v2"

// A Draw is a random scene and the clean run that covers it.
type Draw struct {
	Scene
	Frames int
	Jitter float64 // of the motor's steps
	CoC    float64 // px by which the blur disk grows per frame
	Margin float64 // frames by which the run begins before and ends behind the subject
}

// Random draws a scene: all shapes, 0.25 to 0.7 megapixels, 12 to 40 frames, a
// blur of 0.5 to 3 px per frame, low and high sensitivity, one in five with
// little texture, one in three with highlights, one in three with a far
// background, breathing of both signs and on one in four almost none, and on
// one in six a rail's drift in its place.
func Random(seed uint64) Draw {
	rng := rand.New(rand.NewPCG(seed, 1234567))
	d := Draw{Scene: Scene{Seed: seed}}
	d.Shape = Shape(rng.IntN(5))
	d.Width = 576 + 16*rng.IntN(28)
	d.Height = d.Width * 2 / 3
	if rng.IntN(3) == 0 {
		d.Height = d.Width * 3 / 4
	}
	d.Frames = 12 + rng.IntN(29)
	d.CoC = 0.5 + 2.5*rng.Float64()*rng.Float64()
	d.Margin = 1.5 + 2*rng.Float64()
	d.Depth = d.CoC * max(4, float64(d.Frames-1)-2*d.Margin)
	d.Contrast = 0.5 + 0.7*rng.Float64()
	if rng.IntN(5) == 0 {
		d.Contrast *= 0.35
		d.Plain = 0.4 * rng.Float64()
	} else if rng.IntN(3) == 0 {
		d.Plain = 0.5 * rng.Float64()
	}
	if rng.IntN(3) == 0 {
		d.Highlights = 5 + rng.IntN(60)
	}
	d.Background = rng.IntN(3) == 0
	d.PSF = 0.55 + 0.35*rng.Float64()
	d.Breathing = 0.01 + 0.04*rng.Float64()
	if rng.IntN(3) == 0 {
		d.Breathing = -0.5 * d.Breathing
	}
	switch rng.IntN(12) {
	case 0, 1, 2:
		d.Breathing *= 0.1
	case 3, 4:
		d.Breathing *= 0.02
		d.DriftX = 40 * (rng.Float64() - 0.5)
		d.DriftY = 40 * (rng.Float64() - 0.5)
	}
	d.Electrons = []float64{40000, 40000, 10000, 5000, 2500, 1250}[rng.IntN(6)]
	d.Quality = 80 + rng.IntN(16)
	d.Jitter = 0.03 + 0.09*rng.Float64()
	return d
}

// Shots returns the clean run.
func (d Draw) Shots() []Shot {
	step := d.CoC / d.Depth
	first := -d.Margin * step
	s := Run(d.Seed+31, d.Frames, first, first+step*float64(d.Frames-1), d.Jitter)
	rng := rand.New(rand.NewPCG(d.Seed, 99))
	for i := range s {
		s[i].EV += 0.006 * rng.NormFloat64() // shutter and lamp, below 1 %
	}
	return s
}
