package pixelstest

import (
	"image"
	"math"
	"math/rand/v2"
)

// A Truth is what a run shows, in the geometry of one of its shots.
type Truth struct {
	// Sharp has the subject in focus everywhere, and its background as sharp as in the
	// run's sharpest shot; without noise.
	Sharp *image.Gray
	// Depth is the focus at which each pixel is sharp: 0 to 1 on the subject, more in the
	// background.
	Depth []float32
	// Textured marks the pixels with texture.
	Textured []bool
}

// Truth returns the truth of a run in the geometry of a shot.
func (b *Built) Truth(s Shot, run []Shot) *Truth {
	nearest := func(z float32) float64 {
		if z <= 1 {
			return float64(z)
		}
		best := run[0].Focus
		for _, r := range run {
			if math.Abs(r.Focus-float64(z)) < math.Abs(best-float64(z)) {
				best = r.Focus
			}
		}
		return best
	}
	t := &Truth{Sharp: coded(b.gather(s, nearest), b.Width, b.Height, s.EV)}
	t.Depth, t.Textured = make([]float32, b.Width*b.Height), make([]bool, b.Width*b.Height)
	zoom := 1 / (1 + b.Breathing*(s.Focus-0.5))
	dx, dy := s.ShiftX+b.DriftX*(s.Focus-0.5), s.ShiftY+b.DriftY*(s.Focus-0.5)
	for y := range b.Height {
		for x := range b.Width {
			sx := int(min(float64(b.Width-1), max(0, zoom*(float64(x)-b.centreX-dx)+b.centreX)))
			sy := int(min(float64(b.Height-1), max(0, zoom*(float64(y)-b.centreY-dy)+b.centreY)))
			t.Depth[y*b.Width+x], t.Textured[y*b.Width+x] = b.depth[sy*b.Width+sx], b.textured[sy*b.Width+sx]
		}
	}
	return t
}

// coded returns linear light as code values, without noise.
func coded(light []float32, w, h int, ev float64) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, w, h))
	gain := float32(math.Exp2(ev))
	for i, v := range light {
		img.Pix[i] = encodeTable[int(min(1, max(0, v*gain))*(1<<14)+0.5)]
	}
	return img
}

// Layers is a scene of two planes, of which the near one hides parts of the far one: what
// is blurred in front of an edge lets the far one shine through, as through a real lens.
type Layers struct {
	Scene
	// Blur is the diameter of the blur disk of one plane while the other is in focus, px.
	Blur float64
}

// BuiltLayers can be photographed, by the focus of a [Shot]: 0 on the near plane, 1 on the far one.
type BuiltLayers struct {
	Blur      float64
	near, far *Built
	cover     []float32 // by the near plane, 0 to 1
}

// Build makes the planes.
func (l Layers) Build() *BuiltLayers {
	s := l.Scene
	s.Shape, s.Background, s.Highlights, s.Breathing, s.DriftX, s.DriftY = Plane, false, 0, 0, 0, 0
	b := &BuiltLayers{Blur: l.Blur, near: s.Build()}
	s.Seed += 500_000
	b.far = s.Build()
	rng := rand.New(rand.NewPCG(l.Seed, 4711))
	form := fractal(rng, s.Width, s.Height, float64(s.Width)/4, 2)
	edge := quantile(form, 0.6)
	b.cover = make([]float32, len(form))
	for i, v := range form {
		if v > edge {
			b.cover[i] = 1
		}
	}
	b.cover = gauss(b.cover, s.Width, s.Height, max(s.PSF, 0.5))
	return b
}

// Picture renders one exposure and compresses it.
func (b *BuiltLayers) Picture(s Shot) image.Image {
	return decoded(b.near.record(b.expose(s.Focus, s.Focus), s), b.near.Quality)
}

// Sharp is the picture with both planes in focus, without noise.
func (b *BuiltLayers) Sharp() *image.Gray {
	return coded(b.expose(0, 1), b.near.Width, b.near.Height, 0)
}

// Ring marks the pixels of the far plane that lie within a distance of the near one's
// edge.
func (b *BuiltLayers) Ring(px float64) []bool {
	near := disk(b.cover, b.near.Width, b.near.Height, 2*px)
	out := make([]bool, len(near))
	for i, v := range near {
		out[i] = v > 0.001 && b.cover[i] < 0.5
	}
	return out
}

// expose returns the light with the near plane seen at one focus and the far one at another.
func (b *BuiltLayers) expose(near, far float64) []float32 {
	w, h := b.near.Width, b.near.Height
	blurred := func(in []float32, focus, at float64) []float32 {
		d := b.Blur * math.Abs(at-focus)
		if d < 0.5 { // no disk to speak of
			return in
		}
		return disk(in, w, h, d)
	}
	front := make([]float32, w*h)
	for i, v := range b.near.levels[0]() {
		front[i] = v * b.cover[i]
	}
	front = blurred(front, near, 0)
	cover := blurred(b.cover, near, 0)
	out := make([]float32, w*h)
	for i, v := range blurred(b.far.levels[0](), far, 1) {
		out[i] = front[i] + (1-cover[i])*v
	}
	return out
}
