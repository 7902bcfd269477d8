package proof

import "math"

const (
	blockSide  = 32 // pixels of the square blocks that are interpolated in one go
	phases     = 64 // places between two pixels that are distinguished
	weightBits = 14 // of the integer weights
	fixedBits  = 6  // of the fraction of what is kept between the two passes
	// shear is by how many pixels a row may be bent within one block before the block is
	// made narrower.
	shear = 0.2
)

// cubic are Catmull and Rom's weights of four neighbours (a = -1/2), for each phase.
// Source: Keys, "Cubic convolution interpolation for digital image processing", IEEE
// Transactions on Acoustics, Speech and Signal Processing 29(6), 1981.
var cubic = func() (t [phases][4]int32) {
	for i := range t {
		f := float64(i) / phases
		w := [4]float64{
			0.5 * (-f + 2*f*f - f*f*f),
			0.5 * (2 - 5*f*f + 3*f*f*f),
			0.5 * (f + 4*f*f - 3*f*f*f),
			0.5 * (-f*f + f*f*f),
		}
		sum := int32(0)
		for k, v := range w {
			t[i][k] = int32(math.Round(v * (1 << weightBits)))
			sum += t[i][k]
		}
		t[i][1] += 1<<weightBits - sum
	}
	return t
}()

// sample is a kind of stored pixel: code values, or code values in 64ths.
type sample interface{ uint8 | int16 }

// A grid is a picture to be interpolated.
type grid[T sample] struct {
	w, h   int
	stride int
	pix    []T
	shift  int // bits by which a sum of weighted pixels is too large for 64ths
}

// A warper interpolates blocks of a picture between its pixels. Its scratch is used
// again.
type warper struct {
	rows []int32
}

// block writes the w x h pixels at x0, y0 of the merged picture to out, row after row with
// the given stride, in code values, interpolated by Catmull and Rom's cubic in each
// direction. The border of the picture is continued by itself.
func block[T sample](wp *warper, out []float32, stride int, g *grid[T], a affine, x0, y0, w, h int) {
	step := w
	if bend := math.Abs(a.q); bend*float64(w) > shear {
		step = max(1, int(shear/bend))
	}
	for x := 0; x < w; x += step {
		strip(wp, out[x:], stride, g, a, x0+x, y0, min(step, w-x), h)
	}
}

// strip writes a block that rotation bends by a fraction of a pixel only: first along
// the rows, then along the columns.
func strip[T sample](wp *warper, out []float32, stride int, g *grid[T], a affine, x0, y0, w, h int) {
	mid := float64(x0) + float64(w-1)/2
	top := a.q*mid + a.p*float64(y0) + a.d + 0.5/phases // to the nearest phase
	first := int(math.Floor(top)) - 1
	last := int(math.Floor(top+a.p*float64(h-1))) + 2
	n := last - first + 1
	if len(wp.rows) < n*w {
		wp.rows = make([]int32, n*w)
	}
	for i := range n {
		r := first + i
		y := (float64(r) - a.d - a.q*mid) / a.p // of the merged picture
		along(wp, wp.rows[i*w:(i+1)*w], g, min(max(r, 0), g.h-1), a.p*float64(x0)-a.q*y+a.c, a.p)
	}
	const scale = 1.0 / (1 << (fixedBits + weightBits))
	for y := range h {
		at := top + a.p*float64(y)
		iy := int(math.Floor(at))
		k := &cubic[int((at-float64(iy))*phases)&(phases-1)]
		i := (iy - 1 - first) * w
		r0, r1, r2, r3 := wp.rows[i:i+w], wp.rows[i+w:i+2*w], wp.rows[i+2*w:i+3*w], wp.rows[i+3*w:i+4*w]
		o := out[y*stride : y*stride+w]
		r0, r1, r2, r3 = r0[:len(o)], r1[:len(o)], r2[:len(o)], r3[:len(o)]
		k0, k1, k2, k3 := k[0], k[1], k[2], k[3]
		for x := range o {
			o[x] = float32(k0*r0[x]+k1*r1[x]+k2*r2[x]+k3*r3[x]) * scale
		}
	}
}

// along interpolates a row of the picture from x on, in steps of p, in 64ths.
func along[T sample](wp *warper, out []int32, g *grid[T], r int, x, p float64) {
	row := g.pix[r*g.stride : r*g.stride+g.w]
	const one = 1 << 16
	at := int(math.Floor(x*one)) + one/(2*phases) // to the nearest phase
	by := int(math.Round(p * one))
	end := at + by*(len(out)-1)
	if at>>16 >= 1 && end>>16 < g.w-2 {
		shift := uint(g.shift)
		round := int32(1) << shift >> 1
		for i := range out {
			ix := at >> 16
			k := &cubic[at>>10&(phases-1)]
			s := row[ix-1 : ix+3 : ix+3]
			out[i] = (k[0]*int32(s[0]) + k[1]*int32(s[1]) + k[2]*int32(s[2]) + k[3]*int32(s[3]) + round) >> shift
			at += by
		}
		return
	}
	for i := range out {
		ix := at >> 16
		k := &cubic[at>>10&(phases-1)]
		var sum int32
		for j, weight := range k {
			sum += weight * int32(row[min(max(ix-1+j, 0), g.w-1)])
		}
		out[i] = sum >> uint(g.shift)
		at += by
	}
}

// covered returns the pixels from x0 to x1 of row y of the merged picture that the frame
// covers.
func (a affine) covered(y, w, fw, fh int) (x0, x1 int) {
	lo, hi := 0.0, float64(w-1)
	bound := func(slope, at, most float64) { // 0 <= slope x + at <= most
		const hardly = 1e-9
		if math.Abs(slope) < hardly {
			if at < -hardly || at > most+hardly {
				hi = -1
			}
			return
		}
		p, q := -at/slope, (most-at)/slope
		lo, hi = max(lo, min(p, q)), min(hi, max(p, q))
	}
	bound(a.p, -a.q*float64(y)+a.c, float64(fw-1))
	bound(a.q, a.p*float64(y)+a.d, float64(fh-1))
	if hi < lo {
		return 0, 0
	}
	return int(math.Ceil(lo - 1e-6)), int(math.Floor(hi+1e-6)) + 1
}

// bilinear interpolates a row of the merged picture from src, from x0 to x1, and
// writes it to out[x0:x1]. All of it must lie in src.
func bilinear(out []float32, src *plane, a affine, y, x0, x1 int) {
	sx, sy := a.p*float64(x0)-a.q*float64(y)+a.c, a.q*float64(x0)+a.p*float64(y)+a.d
	const one = 1 << 20
	ux, uy := int(sx*one), int(sy*one)
	px, qy := int(math.Round(a.p*one)), int(math.Round(a.q*one))
	w := src.w
	for x := x0; x < x1; x, ux, uy = x+1, ux+px, uy+qy {
		ix, iy := min(max(ux>>20, 0), w-2), min(max(uy>>20, 0), src.h-2)
		fx, fy := float32(ux-ix<<20)*(1.0/one), float32(uy-iy<<20)*(1.0/one)
		s, t := src.pix[iy*w+ix:iy*w+ix+2], src.pix[(iy+1)*w+ix:(iy+1)*w+ix+2]
		top := s[0] + fx*(s[1]-s[0])
		out[x] = top + fy*(t[0]+fx*(t[1]-t[0])-top)
	}
}

// bilinearBytes is bilinear for bytes.
func bilinearBytes(out []float32, src *chroma, a affine, y, x0, x1 int) {
	const one = 1 << 8
	sx, sy := a.p*float64(x0)-a.q*float64(y)+a.c, a.q*float64(x0)+a.p*float64(y)+a.d
	const fine = 1 << 20
	ux, uy := int(sx*fine), int(sy*fine)
	px, qy := int(math.Round(a.p*fine)), int(math.Round(a.q*fine))
	for x := x0; x < x1; x, ux, uy = x+1, ux+px, uy+qy {
		ix, iy := min(max(ux>>20, 0), src.w-2), min(max(uy>>20, 0), src.h-2)
		fx, fy := min(int32((ux-ix<<20)>>12), one), min(int32((uy-iy<<20)>>12), one)
		i := iy*src.stride + ix
		s, t := src.pix[i:i+2], src.pix[i+src.stride:i+src.stride+2]
		top := int32(s[0])*(one-fx) + int32(s[1])*fx
		bot := int32(t[0])*(one-fx) + int32(t[1])*fx
		out[x] = float32(top*(one-fy)+bot*fy) * (1.0 / (one * one))
	}
}
