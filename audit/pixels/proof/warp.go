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
var cubic = func() (t [phases][4]int64) {
	for i := range t {
		f := float64(i) / phases
		w := [4]float64{
			0.5 * (-f + 2*f*f - f*f*f),
			0.5 * (2 - 5*f*f + 3*f*f*f),
			0.5 * (f + 4*f*f - 3*f*f*f),
			0.5 * (-f*f + f*f*f),
		}
		sum := int64(0)
		for k, v := range w {
			t[i][k] = int64(math.Round(v * (1 << weightBits)))
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

// A warper interpolates blocks of a picture between its pixels, two pixels at once in the halves
// of a word. Its scratch is used again.
type warper struct {
	rows  []uint32 // interpolated along rows, in 64ths, lifted
	pairs []uint64 // two rows of the picture
}

// lifted is added to all pixels between the two passes, 64ths, so that what overshoots black
// is not negative: a quarter of the scale at most.
const lifted = 1 << 13

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
	if len(wp.rows) < (n+1)*w {
		wp.rows = make([]uint32, (n+1)*w)
	}
	for i := 0; i < n; i += 2 {
		r := first + i
		y := (float64(r) + 0.5 - a.d - a.q*mid) / a.p // of the merged picture, between the two rows
		along(wp, wp.rows[i*w:(i+1)*w], wp.rows[(i+1)*w:(i+2)*w], g, r, a.p*float64(x0)-a.q*y+a.c, a.p)
	}
	for y := range h {
		at := top + a.p*float64(y)
		iy := int(math.Floor(at))
		down(out[y*stride:y*stride+w], wp.rows[(iy-1-first)*w:], &cubic[int((at-float64(iy))*phases)&(phases-1)])
	}
}

// along interpolates rows r and r+1 of the picture from x on, in steps of p, to 64ths, lifted.
func along[T sample](wp *warper, upper, lower []uint32, g *grid[T], r int, x, p float64) {
	const one = 1 << 16
	at := int(math.Floor(x*one)) + one/(2*phases) // to the nearest phase
	by := int(math.Round(p * one))
	base := at>>16 - 1
	wp.pair((at+by*(len(upper)-1))>>16 + 3 - base)
	fillPairs(wp.pairs, g, r, base)
	at -= base * one
	pairs, lower := wp.pairs, lower[:len(upper)]
	shift := uint(g.shift)
	both := uint64(1<<32 | 1)
	round, mask := both*(lifted<<shift+1<<shift>>1), both*(1<<(32-shift)-1)
	for i := range upper {
		k, s := &cubic[at>>10&(phases-1)], pairs[at>>16-1:][:4:4]
		v := uint64(k[0])*s[0] + uint64(k[1])*s[1] + uint64(k[2])*s[2] + uint64(k[3])*s[3] + round
		v = v >> shift & mask
		upper[i], lower[i] = uint32(v), uint32(v>>32)
		at += by
	}
}

// pair makes room for pairs.
func (wp *warper) pair(n int) {
	if cap(wp.pairs) < n {
		wp.pairs = make([]uint64, n)
	}
	wp.pairs = wp.pairs[:n]
}

// fillPairs takes pixels of rows r and r+1 from column base on.
func fillPairs[T sample](pairs []uint64, g *grid[T], r, base int) {
	row := func(r int) []T { return g.pix[min(max(r, 0), g.h-1)*g.stride:][:g.w] }
	a, b := row(r), row(r+1)
	if base >= 0 && base+len(pairs) <= g.w {
		a, b = a[base:][:len(pairs)], b[base:][:len(pairs)]
		for i := range pairs {
			pairs[i] = uint64(a[i]) | uint64(b[i])<<32
		}
		return
	}
	for i := range pairs {
		c := min(max(base+i, 0), g.w-1)
		pairs[i] = uint64(a[c]) | uint64(b[c])<<32
	}
}

// down interpolates a row between four that were interpolated along, one after the other.
func down(out []float32, rows []uint32, k *[4]int64) {
	const (
		scale = 1.0 / (1 << (fixedBits + weightBits))
		lift  = lifted << weightBits
	)
	n := len(out)
	r0, r1, r2, r3 := rows[:n], rows[n:2*n], rows[2*n:3*n], rows[3*n:4*n]
	k0, k1, k2, k3 := uint64(k[0]), uint64(k[1]), uint64(k[2]), uint64(k[3])
	pair := func(r []uint32, x int) uint64 { return uint64(r[x]) | uint64(r[x+1])<<32 }
	x := 0
	for ; x+2 <= n; x += 2 {
		v := k0*pair(r0, x) + k1*pair(r1, x) + k2*pair(r2, x) + k3*pair(r3, x)
		out[x], out[x+1] = float32(int32(v)-lift)*scale, float32(int32(v>>32)-lift)*scale
	}
	if x < n {
		v := k0*uint64(r0[x]) + k1*uint64(r1[x]) + k2*uint64(r2[x]) + k3*uint64(r3[x])
		out[x] = float32(int32(v)-lift) * scale
	}
}

// covered returns the pixels from x0 to x1 of row y of the merged picture that the frame
// covers, or lie beside it by slack pixels at most.
func (a affine) covered(y, w, fw, fh int, slack float64) (x0, x1 int) {
	lo, hi := 0.0, float64(w-1)
	bound := func(slope, at, most float64) { // 0 <= slope x + at <= most, but for slack
		const hardly = 1e-9
		at, most = at+slack, most+2*slack
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
// writes it to out[x0:x1]. The border of src is continued by itself.
func bilinear(out []float32, src *plane, a affine, y, x0, x1 int) {
	sx, sy := a.p*float64(x0)-a.q*float64(y)+a.c, a.q*float64(x0)+a.p*float64(y)+a.d
	const one = 1 << 20
	ux, uy := int(sx*one), int(sy*one)
	px, qy := int(math.Round(a.p*one)), int(math.Round(a.q*one))
	w := src.w
	for x := x0; x < x1; x, ux, uy = x+1, ux+px, uy+qy {
		ix, iy := min(max(ux>>20, 0), w-2), min(max(uy>>20, 0), src.h-2)
		fx, fy := min(max(float32(ux-ix<<20)*(1.0/one), 0), 1), min(max(float32(uy-iy<<20)*(1.0/one), 0), 1)
		s, t := src.pix[iy*w+ix:iy*w+ix+2], src.pix[(iy+1)*w+ix:(iy+1)*w+ix+2]
		top := s[0] + fx*(s[1]-s[0])
		out[x] = top + fy*(t[0]+fx*(t[1]-t[0])-top)
	}
}

// bilinearBytes is bilinear for both planes of chroma, at once in the halves of a word.
func bilinearBytes(out [2][]float32, src *[2]chroma, a affine, y, x0, x1 int) {
	const one, mask = 1 << 8, 1<<32 - 1
	sx, sy := a.p*float64(x0)-a.q*float64(y)+a.c, a.q*float64(x0)+a.p*float64(y)+a.d
	const fine = 1 << 20
	ux, uy := int(sx*fine), int(sy*fine)
	px, qy := int(math.Round(a.p*fine)), int(math.Round(a.q*fine))
	w, h, stride := src[0].w, src[0].h, src[0].stride
	blue, red := src[0].pix, src[1].pix
	cb, cr := out[0][x0:x1], out[1][x0:x1]
	cr = cr[:len(cb)]
	for x := range cb {
		ix, iy := min(max(ux>>20, 0), w-2), min(max(uy>>20, 0), h-2)
		fx, fy := uint64(min((ux-ix<<20)>>12, one)), uint64(min((uy-iy<<20)>>12, one))
		i := iy*stride + ix
		b, r := blue[i:i+2:i+2], red[i:i+2:i+2]
		top := (uint64(b[0])|uint64(r[0])<<32)*(one-fx) + (uint64(b[1])|uint64(r[1])<<32)*fx
		i += stride
		b, r = blue[i:i+2:i+2], red[i:i+2:i+2]
		low := (uint64(b[0])|uint64(r[0])<<32)*(one-fx) + (uint64(b[1])|uint64(r[1])<<32)*fx
		v := top*(one-fy) + low*fy
		cb[x], cr[x] = float32(int32(v&mask))*(1.0/(one*one)), float32(int32(v>>32))*(1.0/(one*one))
		ux, uy = ux+px, uy+qy
	}
}
