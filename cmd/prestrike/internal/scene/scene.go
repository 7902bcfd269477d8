// Package scene renders the made-up subject of the demonstration session: an
// ammonite in relief on a woven cloth, lit from the side. It knows nothing of
// cameras' files or of the session that is shot of it.
package scene

import (
	"image"
	"image/color"
	"math"
)

// A Scene is a subject of which pictures can be made. It is safe for use by
// several goroutines.
type Scene struct {
	width, height int
	depth         []float64   // 0 at the nearest point, 1 at the farthest
	tint          []float64   // 0 cloth, 1 fossil
	levels        [][]float64 // linear brightness, each more out of focus than the last
}

// A View says how a picture of the scene is made.
type View struct {
	Focus  float64 // depth of the sharp plane: 0 nearest point, 1 farthest; beyond is in front of or behind the subject
	Blur   float64 // how quickly sharpness is lost with depth; 0 is sharp throughout
	EV     float64 // exposure against the right one, in EV
	Noise  float64 // standard deviation of the noise, as a part of mid-grey; 0 is none
	Hand   bool    // a hand before the lens: a marker frame
	Serial uint64  // makes the noise of each picture its own
}

// New prepares the scene at a picture size in pixels.
func New(width, height int) *Scene {
	s := &Scene{
		width: width, height: height,
		depth: make([]float64, width*height), tint: make([]float64, width*height),
	}
	light := make([]float64, width*height)
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
			s.depth[i] = clamp(0.75-0.35*v-0.6*h, 0, 1)
			s.tint[i] = fossil
			light[i] = shade((right-h)/e, (below-h)/e) * texture(u, v, fossil)
		}
	}
	s.levels = [][]float64{light}
	radius := max(float64(height)/320, 0.4)
	for range 5 {
		s.levels = append(s.levels, s.soften(light, max(int(radius+0.5), 1)))
		radius *= 2
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

// unit returns a number from 0 to below 1 that looks random and is the same
// for the same n (the finaliser of SplitMix64; Steele, Lea and Flood, OOPSLA 2014).
func unit(n uint64) float64 {
	n += 0x9E3779B97F4A7C15
	n = (n ^ n>>30) * 0xBF58476D1CE4E5B9
	n = (n ^ n>>27) * 0x94D049BB133111EB
	return float64((n^n>>31)>>11) / (1 << 53)
}

// soften returns the picture averaged over squares, twice each way.
func (s *Scene) soften(in []float64, radius int) []float64 {
	out := append([]float64(nil), in...)
	for range 2 {
		for y := range s.height {
			average(out[y*s.width:], s.width, 1, radius)
		}
		for x := range s.width {
			average(out[x:], s.height, s.width, radius)
		}
	}
	return out
}

// average replaces n values, step apart, by the mean of those within radius.
func average(v []float64, n, step, radius int) {
	sums := make([]float64, n+1)
	for i := range n {
		sums[i+1] = sums[i] + v[i*step]
	}
	for i := range n {
		from, to := max(i-radius, 0), min(i+radius+1, n)
		v[i*step] = (sums[to] - sums[from]) / float64(to-from)
	}
}

// Render makes a picture of the scene.
func (s *Scene) Render(v View) image.Image {
	picture := image.NewRGBA(image.Rect(0, 0, s.width, s.height))
	gain := math.Exp2(v.EV)
	for i, depth := range s.depth {
		light, tint := s.at(i, math.Abs(depth-v.Focus)*v.Blur), s.tint[i]
		x, y := i%s.width, i/s.width
		if v.Hand {
			light, tint = hand(s.place(x, y))
		}
		light *= gain
		if v.Noise > 0 {
			key := v.Serial<<32 + uint64(i)*4
			// Three uniform numbers are near enough to normal.
			light += v.Noise * 0.18 * 2 * (unit(key) + unit(key+1) + unit(key+2) - 1.5)
		}
		picture.SetRGBA(x, y, color.RGBA{
			level(light * (0.9 + 0.2*tint)), level(light * (0.92 + 0.06*tint)), level(light * (1 - 0.2*tint)), 255,
		})
	}
	return picture
}

// at returns the brightness of a pixel at a blur, between two prepared levels.
func (s *Scene) at(i int, blur float64) float64 {
	blur = clamp(blur, 0, float64(len(s.levels)-1))
	k := min(int(blur), len(s.levels)-2)
	f := blur - float64(k)
	return s.levels[k][i]*(1-f) + s.levels[k+1][i]*f
}

// hand returns the brightness and tint of a spread hand out of focus.
func hand(u, v float64) (light, tint float64) {
	near := math.Hypot(u*1.1, v-0.75) - 0.5 // the palm
	for finger := range 4 {
		lean := (float64(finger) - 1.5) * 0.24
		along := clamp(0.3-v, 0, 0.9)
		near = min(near, math.Hypot(u-lean*(1+along), v-0.3+along)-0.1)
	}
	cover := clamp(0.5-near*6, 0, 1)
	return 0.1 + 0.3*cover, cover
}

// levels8 holds the stored level of each linear brightness, in equal steps
// from 0 to 1, by the curve of sRGB (IEC 61966-2-1).
var levels8 = func() (table [1 << 12]uint8) {
	for i := range table {
		light := float64(i) / float64(len(table)-1)
		if light <= 0.0031308 {
			light *= 12.92
		} else {
			light = 1.055*math.Pow(light, 1/2.4) - 0.055
		}
		table[i] = uint8(light*255 + 0.5)
	}
	return table
}()

func level(light float64) uint8 {
	return levels8[int(clamp(light, 0, 1)*float64(len(levels8)-1)+0.5)]
}

func clamp(x, low, high float64) float64 { return min(max(x, low), high) }
