// Package scene renders the made-up subject of the demonstration session: an
// ammonite in relief on a woven cloth, lit from the side. It knows nothing of
// cameras' files or of the session that is shot of it.
package scene

import (
	"math"
	"slices"
)

// A Scene is a subject of which pictures can be made. It is safe for use by
// several goroutines.
type Scene struct {
	width, height int
	depth         []float32 // 0 at the nearest point, 1 at the farthest
	// points holds for each pixel its linear brightness for each of the diameters,
	// and its tint: 0 cloth, 1 fossil. What one pixel needs lies side by side.
	points []float32
}

// diameters are those of the blur disks, in pixels, for which the scene is
// prepared; between them it is interpolated, and beyond the last it stays.
var diameters = [...]float64{0, 1, 2, 3, 4, 5.5, 7.5, 10, 14, 19, 26}

const (
	tintAt = len(diameters) // of the tint, in what points holds of a pixel
	stride = tintAt + 1
)

// New prepares the scene at a picture size in pixels.
func New(width, height int) *Scene {
	s := &Scene{
		width: width, height: height,
		depth: make([]float32, width*height), points: make([]float32, width*height*stride),
	}
	light, depth := make([]float64, width*height), make([]float64, width*height)
	for y := range height {
		for x := range width {
			u, v := s.place(x, y)
			h, fossil := relief(u, v)
			// The slope of the surface, by differences over half a pixel.
			e := 0.5 / float64(height)
			right, _ := relief(u+e, v)
			below, _ := relief(u, v+e)
			i := y*width + x
			// The subject leans back: its lower edge is nearer.
			depth[i] = -0.35*v - 0.6*h
			light[i] = shade((right-h)/e, (below-h)/e) * texture(u, v, fossil)
			s.points[i*stride+tintAt] = float32(fossil)
		}
	}
	light = s.disk(light, 2) // what the lens itself blurs
	near, far := slices.Min(depth), slices.Max(depth)
	for i, d := range depth {
		s.depth[i] = float32((d - near) / (far - near))
	}
	for k, d := range diameters {
		for i, l := range s.disk(light, d) {
			s.points[i*stride+k] = float32(l)
		}
	}
	return s
}

// place returns the pixel's place with the picture's centre at 0 and its
// height as 2.
func (s *Scene) place(x, y int) (u, v float64) {
	half := float64(s.height) / 2
	return (float64(x) + 0.5 - float64(s.width)/2) / half, (float64(y) + 0.5 - half) / half
}

// relief returns the height of the surface, 0 at the cloth, and whether it is fossil.
func relief(u, v float64) (height, fossil float64) {
	const growth = 0.16             // of the logarithmic spiral r = exp(growth × angle), per radian
	u, v = 0.75*u-0.18, 0.75*v+0.12 // the spiral's centre is not the fossil's
	r := math.Hypot(u, v)
	outer := 0.86 * math.Exp(growth*(math.Atan2(v, u)-math.Pi))
	if r > outer || r < 0.01 {
		return 0, 0
	}
	angle := math.Atan2(v, u)
	turn := (math.Log(r/0.86)/growth - angle + math.Pi) / (2 * math.Pi)
	across := turn - math.Floor(turn) // 0 to 1 across the whorl
	tube := math.Sqrt(max(1-(2*across-1)*(2*across-1), 0))
	ribs := math.Cos(34*(angle+2*math.Pi*math.Floor(turn)) + 2.2*across)
	return 0.75 * math.Sqrt(r) * tube * (1 + 0.05*ribs), 1
}

// shade returns the brightness of a slope under a low light from the upper
// left, by the cosine law.
func shade(du, dv float64) float64 {
	n := 1 / math.Sqrt(1+du*du+dv*dv)
	return 0.08 + 0.5*max((0.55*du+0.45*dv+0.7)*n, 0)
}

// texture returns the reflectance: grain on the fossil, weave on the cloth.
func texture(u, v, fossil float64) float64 {
	if fossil > 0 {
		return 0.75 + 0.18*grain(u*60, v*60) + 0.12*grain(u*19, v*19)
	}
	return 0.3 + 0.06*math.Sin(u*95)*math.Sin(v*95)
}

// grain is smooth noise from -1 to 1, one lump per unit.
func grain(x, y float64) float64 {
	x0, y0 := math.Floor(x), math.Floor(y)
	fx, fy := x-x0, y-y0
	fx, fy = fx*fx*(3-2*fx), fy*fy*(3-2*fy)
	at := func(dx, dy float64) float64 {
		return 2*unit(uint64(int64(x0+dx)+1<<20)<<32|uint64(int64(y0+dy)+1<<20)) - 1
	}
	return (at(0, 0)*(1-fx)+at(1, 0)*fx)*(1-fy) + (at(0, 1)*(1-fx)+at(1, 1)*fx)*fy
}

// unit returns a number from 0 to below 1 that appears random and is the same
// for the same n (the finaliser of SplitMix64; Steele, Lea and Flood, OOPSLA 2014).
func unit(n uint64) float64 {
	n += 0x9E3779B97F4A7C15
	n = (n ^ n>>30) * 0xBF58476D1CE4E5B9
	n = (n ^ n>>27) * 0x94D049BB133111EB
	return float64((n^n>>31)>>11) / (1 << 53)
}

// disk returns the picture averaged over disks: what a lens makes of points out
// of focus. Pixels at the rim count by the part that the disk covers.
func (s *Scene) disk(in []float64, diameter float64) []float64 {
	radius := diameter / 2
	reach := int(math.Ceil(radius))
	if diameter < 1 {
		return in
	}
	type row struct {
		dy, reach int
		rim       float64 // weight of the two outermost pixels
	}
	var rows []row
	for dy := -reach; dy <= reach; dy++ {
		half := math.Sqrt(max(0, (radius+0.25)*(radius+0.25)-float64(dy*dy)))
		if n := int(half); half > 0 {
			rows = append(rows, row{dy, n, half - float64(n)})
		}
	}
	out := make([]float64, len(in))
	weights := make([]float64, len(in))
	sums := make([]float64, s.width+1)
	for y := range s.height {
		line := in[y*s.width : (y+1)*s.width]
		for x, v := range line {
			sums[x+1] = sums[x] + v
		}
		for _, r := range rows {
			to := y + r.dy
			if to < 0 || to >= s.height {
				continue
			}
			for x := range s.width {
				a, b := max(x-r.reach, 0), min(x+r.reach+1, s.width)
				sum, weight := sums[b]-sums[a], float64(b-a)
				if a > 0 {
					sum += r.rim * line[a-1]
					weight += r.rim
				}
				if b < s.width {
					sum += r.rim * line[b]
					weight += r.rim
				}
				out[to*s.width+x] += sum
				weights[to*s.width+x] += weight
			}
		}
	}
	for i := range out {
		out[i] /= weights[i]
	}
	return out
}

func clamp(x, low, high float64) float64 { return min(max(x, low), high) }
