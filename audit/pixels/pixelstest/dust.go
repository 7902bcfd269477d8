package pixelstest

import (
	"math"
	"math/rand/v2"
)

// A Grain is the shadow of a grain of dust on the sensor.
type Grain struct {
	X, Y   float64 // of its middle, shares of the picture's width
	Radius float64 // to half its depth, a share of the picture's width
	Depth  float64 // share of the light that it takes
}

// Grains draws the dust of a seed on a picture of the given ratio of height to width: 3 to
// 8 shadows of 5 to 15 % of the light, with radii of 4 to 20 px of a picture 1,600 wide;
// none for seed 0.
func Grains(seed uint64, ratio float64) (list []Grain) {
	if seed == 0 {
		return nil
	}
	rng := rand.New(rand.NewPCG(seed, 802))
	for range 3 + rng.IntN(6) {
		list = append(list, Grain{
			X: 0.05 + 0.9*rng.Float64(), Y: ratio * (0.05 + 0.9*rng.Float64()),
			Radius: (4 + 16*rng.Float64()) / 1600, Depth: 0.05 + 0.1*rng.Float64(),
		})
	}
	return list
}

// dustMask is the share of the light that dust leaves each pixel; nil without dust.
func (b *Built) dustMask() []float32 {
	if b.Dust == 0 {
		return nil
	}
	w, h := b.Width, b.Height
	mask := make([]float32, w*h)
	for i := range mask {
		mask[i] = 1
	}
	for _, g := range Grains(b.Dust, float64(h)/float64(w)) {
		x, y, r := g.X*float64(w), g.Y*float64(w), g.Radius*float64(w)
		soft := max(1, 0.5*r) // the cone of light blurs the edge
		for v := max(0, int(y-2*r-2)); v <= min(h-1, int(y+2*r+2)); v++ {
			for u := max(0, int(x-2*r-2)); u <= min(w-1, int(x+2*r+2)); u++ {
				d := math.Hypot(float64(u)+0.5-x, float64(v)+0.5-y)
				mask[v*w+u] *= 1 - float32(g.Depth*min(1, max(0, (r-d)/soft+0.5)))
			}
		}
	}
	return mask
}
