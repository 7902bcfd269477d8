package pixelstest

import (
	"math"
	"math/rand/v2"
)

// glideReach is by how much highlights move at most from the nearest to the farthest
// focus, px.
const glideReach = 6

// A glint is a highlight that moves as focus does, as on a curved gloss where the camera
// or the lens moves.
type glint struct {
	x, y, toX, toY float64 // px; to is over the whole depth
	bright         float64 // times white, over four pixels
}

// Harder returns the same subject under harder conditions: a textured table in front and
// a background behind with edges of depth between them, highlights that move with focus,
// noise as of ISO 800, JPEG files of quality 75, breathing of 0 to 9 % of either sign, and
// on one in three a rail's drift besides.
func (d Draw) Harder() Draw {
	rng := rand.New(rand.NewPCG(d.Seed, 800))
	d.Background, d.Table = true, true
	d.Glints = 20 + rng.IntN(60)
	d.Electrons = min(d.Electrons, 5000) // an eighth of 40,000 at ISO 100
	d.Quality = 75
	d.Breathing = 0.09 * rng.Float64()
	if rng.IntN(3) == 0 {
		d.Breathing = -d.Breathing
	}
	if rng.IntN(3) == 0 {
		d.DriftX, d.DriftY = 40*(rng.Float64()-0.5), 40*(rng.Float64()-0.5)
	}
	return d
}

// layTable puts a plane into the lower quarter, from the farthest point of the subject to
// the nearest.
func layTable(depth []float32, w, h int) {
	top := h - h/4
	for y := top; y < h; y++ {
		z := 1 - float32(y-top)/float32(h-top)
		for x := range w {
			depth[y*w+x] = z
		}
	}
}

// drawGlints draws the highlights that move.
func (s Scene) drawGlints() (list []glint) {
	rng := rand.New(rand.NewPCG(s.Seed, 801))
	for range s.Glints {
		way, far := 2*math.Pi*rng.Float64(), glideReach*rng.Float64()
		list = append(list, glint{
			x: float64(s.Width) * rng.Float64(), y: float64(s.Height) * rng.Float64(),
			toX: far * math.Cos(way), toY: far * math.Sin(way), bright: 1 + 29*rng.Float64(),
		})
	}
	return list
}

// shine adds the highlights to light: discs of the blur at their depth, of at least two
// pixels.
func (b *Built) shine(light []float32, s Shot) {
	for _, g := range b.glints {
		x, y := g.x+g.toX*(s.Focus-0.5)+s.ShiftX, g.y+g.toY*(s.Focus-0.5)+s.ShiftY
		cx, cy := min(b.Width-1, max(0, int(x))), min(b.Height-1, max(0, int(y)))
		radius := max(2, b.Depth*math.Abs(float64(b.depth[cy*b.Width+cx])-s.Focus)) / 2
		each := float32(4 * g.bright / (math.Pi * radius * radius))
		for v := max(0, int(y-radius-1)); v <= min(b.Height-1, int(y+radius+1)); v++ {
			for u := max(0, int(x-radius-1)); u <= min(b.Width-1, int(x+radius+1)); u++ {
				// A soft edge of one pixel, so that they move by parts of one.
				cover := min(1, max(0, radius+0.5-math.Hypot(float64(u)-x, float64(v)-y)))
				light[v*b.Width+u] += each * float32(cover)
			}
		}
	}
}

// reflect lays the broad reflections of a lamp on a picture in linear light.
func (s Scene) reflect(light []float32) {
	rng := rand.New(rand.NewPCG(s.Seed, 803))
	w, h := s.Width, s.Height
	for range s.Gloss {
		x, y := float64(w)*rng.Float64(), float64(h)*rng.Float64()
		radius := float64(w) * (0.005 + 0.02*rng.Float64())
		more := 1 + 7*rng.Float64()
		for v := max(0, int(y-2*radius)); v <= min(h-1, int(y+2*radius)); v++ {
			for u := max(0, int(x-2*radius)); u <= min(w-1, int(x+2*radius)); u++ {
				// A Gaussian of which radius is the half width at half maximum.
				d := math.Hypot(float64(u)-x, float64(v)-y) / radius
				light[v*w+u] *= float32(1 + (more-1)*math.Exp2(-d*d))
			}
		}
	}
}
