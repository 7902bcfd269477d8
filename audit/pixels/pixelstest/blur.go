package pixelstest

import (
	"math"
	"math/rand/v2"
	"slices"
)

// fractal returns smooth noise of about unit deviation: octaves of interpolated
// random lattices, each of half the grain and half the height.
func fractal(rng *rand.Rand, w, h int, grain float64, octaves int) []float32 {
	out := make([]float32, w*h)
	amp := float32(1)
	for range octaves {
		grain = max(grain, 1)
		gw, gh := int(float64(w)/grain)+4, int(float64(h)/grain)+4
		lattice := make([]float32, gw*gh)
		for i := range lattice {
			lattice[i] = float32(rng.NormFloat64()) * 1.5
		}
		ox, oy := rng.Float64(), rng.Float64()
		for y := range h {
			fy := float64(y)/grain + oy
			iy := int(fy)
			ty := ease(float32(fy) - float32(iy))
			a, b := lattice[iy*gw:], lattice[(iy+1)*gw:]
			for x := range w {
				fx := float64(x)/grain + ox
				ix := int(fx)
				tx := ease(float32(fx) - float32(ix))
				top := a[ix] + tx*(a[ix+1]-a[ix])
				bot := b[ix] + tx*(b[ix+1]-b[ix])
				out[y*w+x] += amp * (top + ty*(bot-top))
			}
		}
		amp /= 2
		grain /= 2
	}
	return out
}

func ease(t float32) float32 { return t * t * (3 - 2*t) }

func bounds(z []float32) (lo, hi float32) {
	lo, hi = z[0], z[0]
	for _, v := range z {
		lo, hi = min(lo, v), max(hi, v)
	}
	if hi == lo {
		hi = lo + 1
	}
	return lo, hi
}

func quantile(z []float32, q float64) float32 {
	if len(z) == 0 {
		return 0
	}
	s := slices.Clone(z)
	slices.Sort(s)
	return s[min(len(s)-1, max(0, int(q*float64(len(s)))))]
}

// gauss convolves with a Gaussian of the given deviation.
func gauss(in []float32, w, h int, sigma float64) []float32 {
	r := int(math.Ceil(3 * sigma))
	k := make([]float32, 2*r+1)
	var sum float32
	for i := range k {
		k[i] = float32(math.Exp(-0.5 * math.Pow(float64(i-r)/sigma, 2)))
		sum += k[i]
	}
	tmp, out := make([]float32, len(in)), make([]float32, len(in))
	for y := range h {
		for x := range w {
			var s float32
			for i, f := range k {
				s += f * in[y*w+min(w-1, max(0, x+i-r))]
			}
			tmp[y*w+x] = s / sum
		}
	}
	for y := range h {
		for i, f := range k {
			row := tmp[min(h-1, max(0, y+i-r))*w:]
			for x := range w {
				out[y*w+x] += f / sum * row[x]
			}
		}
	}
	return out
}

// disk convolves with a disk of the given diameter, the thin lens's blur: rows
// of chords, each a difference of running sums.
func disk(in []float32, w, h int, diameter float64) []float32 {
	if diameter <= 0 {
		return in
	}
	sub := 4 // chords a row, so that small disks are round
	if diameter >= 6 {
		sub = 1
	}
	radius := diameter / 2
	pad := int(math.Ceil(radius)) + 2
	pw := w + 2*pad + 1
	sums := make([]float64, pw*h) // running sums of rows continued at their ends
	for y := range h {
		s := 0.0
		for x := 1; x < pw; x++ {
			s += float64(in[y*w+min(w-1, max(0, x-1-pad))])
			sums[y*pw+x] = s
		}
	}
	acc := make([]float64, w*h)
	var area float64
	for dy := -pad; dy <= pad; dy++ {
		for j := range sub {
			t := float64(dy) + (float64(j)+0.5)/float64(sub) - 0.5
			if math.Abs(t) >= radius {
				continue
			}
			chord := math.Sqrt(radius*radius - t*t)
			area += 2 * chord
			// from x+0.5-chord to x+0.5+chord in the running sums
			hi := float64(pad) + 0.5 + chord
			lo := float64(pad) + 0.5 - chord
			ih, il := int(hi), int(lo)
			fh, fl := hi-float64(ih), lo-float64(il)
			for y := range h {
				s := sums[min(h-1, max(0, y+dy))*pw:]
				a := acc[y*w : (y+1)*w]
				p, q := s[ih:ih+w+1], s[il:il+w+1]
				for x := range a {
					a[x] += p[x] + fh*(p[x+1]-p[x]) - q[x] - fl*(q[x+1]-q[x])
				}
			}
		}
	}
	out := make([]float32, w*h)
	for i, v := range acc {
		out[i] = float32(v / area)
	}
	return out
}
