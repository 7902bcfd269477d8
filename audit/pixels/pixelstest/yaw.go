package pixelstest

import (
	"math"
	"slices"
)

// deep is how deep the subject is, as a share of the picture's width: an ammonite 10 mm
// deep in a field of 36 mm has 0.28.
const deep = 0.2

// Yawed returns the scene with the subject turned about a vertical axis: near points
// move one way, far points the other, and hide what lies behind them. What has no
// depth of the subject, the background, stays where it is.
func (b *Built) Yawed(degrees float64) *Built { return b.turned(degrees, 1) }

// Around returns the scene as the camera sees it that went around it: the background turns,
// too.
func (b *Built) Around(degrees float64) *Built { return b.turned(degrees, math.Inf(1)) }

// turned turns what lies no deeper than this.
func (b *Built) turned(degrees, deepest float64) *Built {
	out := &Built{Scene: b.Scene, centreX: b.centreX, centreY: b.centreY}
	w, h := b.Width, b.Height
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	thick := deep * float64(w)
	sharp, base := b.levels[0](), make([]float32, w*h)
	out.depth, out.textured = make([]float32, w*h), slices.Clone(b.textured)
	for y := range h {
		depth, light := out.depth[y*w:(y+1)*w], base[y*w:(y+1)*w]
		for x := range depth {
			depth[x] = math.MaxFloat32
		}
		place := func(x int) (at, z float64) {
			z = float64(b.depth[y*w+x])
			if z > deepest {
				return float64(x), z
			}
			u := float64(x) - b.centreX
			return b.centreX + u*cos - (z-0.5)*thick*sin, 0.5 + (z-0.5)*cos + u/thick*sin
		}
		for x := range w - 1 {
			x0, z0 := place(x)
			x1, z1 := place(x + 1)
			if x1 <= x0 {
				continue // turned away
			}
			v0, v1 := sharp[y*w+x], sharp[y*w+x+1]
			for at := max(0, int(math.Ceil(x0))); float64(at) < x1 && at < w; at++ {
				t := (float64(at) - x0) / (x1 - x0)
				if z := float32(z0 + t*(z1-z0)); z < depth[at] {
					depth[at], light[at] = z, v0+float32(t)*(v1-v0)
				}
			}
		}
		fill(depth, light)
	}
	out.blur(base)
	return out
}

// fill puts the nearest known pixel where a row has none.
func fill(depth, light []float32) {
	last := slices.IndexFunc(depth, func(z float32) bool { return z < math.MaxFloat32 })
	if last < 0 {
		return
	}
	for x := range depth {
		if depth[x] == math.MaxFloat32 {
			depth[x], light[x] = depth[last], light[last]
			continue
		}
		last = x
	}
}
