// Package pixelstest renders sequences of pictures whose truth is known: a
// height field seen through a thin lens that focuses step by step, with shot
// and read noise, focus breathing, motor jitter and JPEG compression, and with
// faults put in at known places. Tests and proofs measure against it; the same
// seed renders the same bytes.
//
// Limits: blur is gathered by the depth of the seen point (no occlusion at
// depth edges), pictures are grey, and the scale grows evenly with focus.
package pixelstest

import (
	"math"
	"math/rand/v2"
	"sync"
)

// A Shape is the form of the rendered subject.
type Shape int

// The shapes.
const (
	Relief   Shape = iota // smooth hills
	Steps                 // terraces
	Plane                 // a tilted plane
	Dome                  // a ball's cap
	Ammonite              // a ribbed spiral on a flat stone
)

var shapeNames = [...]string{"relief", "steps", "plane", "dome", "ammonite"}

// String returns the shape's name.
func (s Shape) String() string { return shapeNames[s] }

// A Scene is what to render. [Scene.Build] does the costly part once.
type Scene struct {
	Seed          uint64
	Width, Height int
	Shape         Shape
	// Depth is the diameter of the blur disk, in px, of the nearest point
	// while the farthest is in focus: the depth of the subject in px of blur.
	Depth float64
	// Contrast of the surface, 1 for a well-textured one.
	Contrast float64
	// Plain is the share of the surface without texture, in patches.
	Plain float64
	// Highlights is the number of specular points, up to 30 times white.
	Highlights int
	// Gloss is the number of broad reflections of a lamp: with a soft edge, 1 to 5 % of
	// the picture's width across, up to 8 times as bright as the surface is.
	Gloss int
	// Background puts part of the picture 24 px of blur behind the subject:
	// not meant to be covered.
	Background bool
	// Lamp is by how much the lamp stands elsewhere, radians around the view.
	Lamp float64
	// Table puts a tilted textured plane into the lower quarter of the picture.
	Table bool
	// Glints is the number of specular points that move with focus.
	Glints int
	// PSF is the standard deviation of the lens's own blur, px.
	PSF float64
	// Breathing is the change of scale from the nearest to the farthest
	// focus; 0.02 is usual.
	Breathing float64
	// DriftX and DriftY are the shift from the nearest to the farthest
	// focus, px, as a rail or a microscope has.
	DriftX, DriftY float64
	// Dust is the seed of the dust on the sensor, the same for all that is photographed with
	// it; 0 for none.
	Dust uint64
	// Parallax is by how much more the nearest point of the subject takes part in Breathing
	// and drift than the farthest, as a share: a camera that goes along a rail sees near
	// things move farther. What lies behind the subject takes part still less.
	Parallax float64
	// Electrons is the number of photoelectrons at white: 40,000 is a low
	// sensitivity, 1,000 a high one.
	Electrons float64
	// Quality is that of the JPEG file.
	Quality int
}

// A Built scene can be photographed.
type Built struct {
	Scene
	glints   []glint
	depth    []float32 // 0 nearest, 1 farthest point of the subject, more in the background
	textured []bool
	levels   [len(diameters)]func() []float32 // linear light, by rising blur; each is made when first asked for
	centreX  float64
	centreY  float64
	nearest  float64 // bounds of the depth
	farthest float64
	files    sync.Map // of shots that were asked for, as tests do the same to the same run again and again
}

// Diameters of the blur disk, px, for which the scene is blurred in advance;
// other blurs are interpolated, larger ones are drawn as the last.
var diameters = [...]float64{0, 0.75, 1.5, 2.25, 3, 4, 5, 6.5, 8, 10, 13, 17, 22, 28}

// Build makes the surface and blurs it.
func (s Scene) Build() *Built {
	b := &Built{Scene: s}
	rng := rand.New(rand.NewPCG(s.Seed, 0x9E3779B97F4A7C15))
	w, h := s.Width, s.Height
	b.centreX = float64(w) * (0.5 + 0.06*(rng.Float64()-0.5))
	b.centreY = float64(h) * (0.5 + 0.06*(rng.Float64()-0.5))
	b.depth = s.heightField(rng)
	b.glints = s.drawGlints()
	if s.Table {
		layTable(b.depth, w, h)
	}
	if s.Background {
		side := rng.IntN(4)
		at := 0.15 + 0.15*rng.Float64()
		far := float32(1 + 24/s.Depth)
		for y := range h {
			for x := range w {
				p := [4]float64{float64(x) / float64(w), 1 - float64(x)/float64(w), float64(y) / float64(h), 1 - float64(y)/float64(h)}[side]
				if p < at {
					b.depth[y*w+x] = far
				}
			}
		}
	}
	plain := fractal(rng, w, h, float64(w)/5, 2)
	limit := quantile(plain, s.Plain)
	b.textured = make([]bool, w*h)
	for i, v := range plain {
		b.textured[i] = s.Plain == 0 || v > limit
	}
	base := b.surface(rng)
	s.reflect(base)
	if s.PSF > 0 {
		base = gauss(base, w, h, s.PSF)
	}
	b.blur(base)
	return b
}

// blur has the levels made of the sharp picture, and takes the bounds of the depth.
func (b *Built) blur(sharp []float32) {
	nearest, farthest := bounds(b.depth)
	b.nearest, b.farthest = float64(nearest), float64(farthest)
	for i, d := range diameters {
		b.levels[i] = sync.OnceValue(func() []float32 { return disk(sharp, b.Width, b.Height, d) })
	}
}

// levelsFrom returns the levels between which the blurs from least to most lie, px; the
// others are nil.
func (b *Built) levelsFrom(least, most float64) (levels [len(diameters)][]float32) {
	for i := levelOf(least); i <= levelOf(most)+1; i++ {
		levels[i] = b.levels[i]()
	}
	return levels
}

// levelOf returns the first of the two levels between which a blur lies, px.
func levelOf(blur float64) int {
	if blur < float64(len(levelTable))/64 {
		return int(levelTable[int(blur*64)])
	}
	return len(diameters) - 2
}

// levelTable is the first of the two levels by blur in 1/64 px.
var levelTable = func() (t [64 * 28]uint8) {
	for i, l := 0, 0; i < len(t); i++ {
		for l+2 < len(diameters) && float64(i)/64 >= diameters[l+1] {
			l++
		}
		t[i] = uint8(l)
	}
	return t
}()

// heightField returns the depth of each pixel, spread over 0 to 1.
func (s Scene) heightField(rng *rand.Rand) []float32 {
	w, h := s.Width, s.Height
	z := make([]float32, w*h)
	switch s.Shape {
	case Relief:
		z = fractal(rng, w, h, float64(w)/(2+2*rng.Float64()), 3)
	case Steps:
		z = fractal(rng, w, h, float64(w)/3, 1)
		n := float64(4 + rng.IntN(4))
		lo, hi := bounds(z)
		for i, v := range z {
			z[i] = float32(math.Floor(float64((v-lo)/(hi-lo))*n*0.999) / (n - 1))
		}
	case Plane:
		a := 2 * math.Pi * rng.Float64()
		for y := range h {
			for x := range w {
				z[y*w+x] = float32(math.Cos(a)*float64(x) + math.Sin(a)*float64(y))
			}
		}
		ripple := fractal(rng, w, h, float64(w)/8, 2)
		for i, v := range ripple {
			z[i] += v * float32(w) / 40
		}
	case Dome:
		cx, cy := float64(w)*(0.4+0.2*rng.Float64()), float64(h)*(0.4+0.2*rng.Float64())
		r := 0.62 * float64(w)
		for y := range h {
			for x := range w {
				d2 := (math.Pow(float64(x)-cx, 2) + math.Pow(float64(y)-cy, 2)) / (r * r)
				z[y*w+x] = float32(1 - math.Sqrt(max(0, 1-d2)))
			}
		}
	case Ammonite:
		cx, cy := float64(w)*(0.48+0.04*rng.Float64()), float64(h)*(0.48+0.04*rng.Float64())
		outer := 0.46 * float64(min(w, h))
		turn := 2 * math.Pi * rng.Float64()
		for y := range h {
			for x := range w {
				dx, dy := float64(x)-cx, float64(y)-cy
				r := math.Hypot(dx, dy) / outer
				if r >= 1 {
					z[y*w+x] = float32(1 - 0.08*float64(y)/float64(h))
					continue
				}
				th := math.Atan2(dy, dx) + turn
				whorl := math.Log(r+1e-3)/math.Log(1.9) - th/(2*math.Pi)
				tube := math.Sin(math.Pi * (whorl - math.Floor(whorl))) // height across one whorl
				rib := 0.07 * math.Sin(28*th) * tube
				body := 0.25 + 0.5*(1-r*r)
				z[y*w+x] = float32(1 - min(1, body*0.8+0.35*tube*(0.4+0.6*r)+rib))
			}
		}
	}
	lo, hi := bounds(z)
	for i, v := range z {
		z[i] = (v - lo) / (hi - lo)
	}
	return z
}

// surface returns the sharp picture in linear light.
func (b *Built) surface(rng *rand.Rand) []float32 {
	w, h := b.Width, b.Height
	coarse := fractal(rng, w, h, 40, 3)
	fine := fractal(rng, w, h, 7, 3)
	speckle := fractal(rng, w, h, 2.5, 1)
	out := make([]float32, w*h)
	lean := rng.Float64()*2*math.Pi + b.Lamp
	lx, ly := math.Cos(lean), math.Sin(lean)
	for y := range h {
		for x := range w {
			i := y*w + x
			t := 0.5 * float64(coarse[i])
			if b.textured[i] {
				t += float64(fine[i]) + 0.6*float64(speckle[i])
			} else {
				t += 0.02 * float64(fine[i])
			}
			light := 0.75 + 0.25*(lx*(float64(x)/float64(w)-0.5)+ly*(float64(y)/float64(h)-0.5))*2
			if x > 0 && y > 0 { // the relief shades itself
				light += max(-0.45, min(0.45, 25*float64(b.depth[i]-b.depth[i-1])*lx+25*float64(b.depth[i]-b.depth[i-w])*ly))
			}
			out[i] = float32(max(0.01, 0.22*light*math.Exp(0.22*b.Contrast*t)))
		}
	}
	for range b.Highlights {
		x, y := 2+rng.IntN(w-4), 2+rng.IntN(h-4)
		bright := float32(1 + 29*rng.Float64())
		for _, d := range [...]int{0, 1, w, w + 1} {
			out[y*w+x+d] = bright
		}
	}
	return out
}

// LostBefore returns the share of the textured surface that lies nearer than
// the given focus, LostBehind the share that lies farther. Background counts as
// neither.
func (b *Built) LostBefore(focus float64) float64 {
	return b.share(func(z float64) bool { return z < focus })
}

// LostBehind is described at [Built.LostBefore].
func (b *Built) LostBehind(focus float64) float64 {
	return b.share(func(z float64) bool { return z > focus })
}

func (b *Built) share(lost func(float64) bool) float64 {
	var all, n float64
	for i, z := range b.depth {
		if b.textured[i] && z <= 1 {
			all++
			if lost(float64(z)) {
				n++
			}
		}
	}
	return n / max(all, 1)
}

// FocusAt returns the focus before which the given share of the textured
// surface lies.
func (b *Built) FocusAt(share float64) float64 {
	var z []float32
	for i, v := range b.depth {
		if b.textured[i] && v <= 1 {
			z = append(z, v)
		}
	}
	return float64(quantile(z, share))
}
