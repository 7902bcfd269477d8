package proof

// A plane is a grey picture. Level l of a pyramid has its pixel i at pixel 2^l i of the
// finest level (Burt's grid).
type plane struct {
	w, h int
	pix  []float32
}

func newPlane(w, h int) plane { return plane{w, h, make([]float32, w*h)} }

func (p *plane) row(y int) []float32 { return p.pix[y*p.w : (y+1)*p.w : (y+1)*p.w] }

// half is the size of the next coarser level.
func half(n int) int { return (n + 1) / 2 }

// clampRow is the row y of p, or the nearest one.
func (p *plane) clampRow(y int) []float32 { return p.row(min(max(y, 0), p.h-1)) }

// reduce makes the next coarser level of src: each pixel is a mean by the kernel
// 1-4-6-4-1 of Burt and Adelson, with w = 3/8. The border is continued by itself.
func reduce(dst, src plane, tmp []float32) {
	tmp = tmp[:src.w]
	for y := range dst.h {
		a, b, c, d, e := src.clampRow(2*y-2), src.clampRow(2*y-1), src.clampRow(2*y), src.clampRow(2*y+1), src.clampRow(2*y+2)
		a, b, c, d, e = a[:len(tmp)], b[:len(tmp)], c[:len(tmp)], d[:len(tmp)], e[:len(tmp)]
		for x := range tmp {
			tmp[x] = a[x] + e[x] + 4*(b[x]+d[x]) + 6*c[x]
		}
		out := dst.row(y)
		for x := range out {
			i := 2 * x
			if i >= 2 && i+2 < len(tmp) {
				t := tmp[i-2 : i+3 : i+3]
				out[x] = (t[0] + t[4] + 4*(t[1]+t[3]) + 6*t[2]) * (1.0 / 256)
				continue
			}
			at := func(k int) float32 { return tmp[min(max(k, 0), len(tmp)-1)] }
			out[x] = (at(i-2) + at(i+2) + 4*(at(i-1)+at(i+1)) + 6*at(i)) * (1.0 / 256)
		}
	}
}

// expandRow writes the pixels x0 to x0+len(dst)-1 of row y of the level below src, by the
// same kernel. x0 is even. tmp is as long as a row of src, and one more.
func expandRow(dst []float32, src *plane, x0, y int, tmp []float32) {
	i0, i1 := x0/2-1, min(src.w, (x0+len(dst))/2+2)
	lo := max(i0, 0)
	k := y / 2
	b, c := src.clampRow(k)[lo:i1], src.clampRow(k + 1)[lo:i1]
	t := tmp[:i1-lo]
	if y%2 == 0 {
		a := src.clampRow(k - 1)[lo:i1]
		a, b, c = a[:len(t)], b[:len(t)], c[:len(t)]
		for i := range t {
			t[i] = (a[i] + 6*b[i] + c[i]) * (1.0 / 64)
		}
	} else {
		b, c = b[:len(t)], c[:len(t)]
		for i := range t {
			t[i] = (b[i] + c[i]) * (1.0 / 16)
		}
	}
	spread(dst, t, x0/2-lo)
}

// spread expands a row that begins at its pixel j, in eighths.
func spread(dst, t []float32, j int) {
	at := func(i int) float32 { return t[min(max(i, 0), len(t)-1)] }
	x := 0
	if j == 0 && len(dst) > 1 { // the left border
		dst[0], dst[1] = at(-1)+6*at(0)+at(1), 4*(at(0)+at(1))
		x, j = 2, 1
	}
	if n := min((len(dst)-x)/2, len(t)-1-j); n > 0 {
		s, d := t[j-1:j+n+1], dst[x:x+2*n]
		left, here := s[0], s[1]
		for i := range n {
			right := s[i+2]
			d[2*i] = left + 6*here + right
			d[2*i+1] = 4 * (here + right)
			left, here = here, right
		}
		x, j = x+2*n, j+n
	}
	for ; x < len(dst); x, j = x+2, j+1 { // the right border
		dst[x] = at(j-1) + 6*at(j) + at(j+1)
		if x+1 < len(dst) {
			dst[x+1] = 4 * (at(j) + at(j+1))
		}
	}
}

// between writes the pixels x0 to x0+len(dst)-1 of row y of the level below src, each
// the mean of its two or four neighbours. x0 is even.
func between(dst []float32, src *plane, x0, y int, tmp []float32) {
	i0, i1 := x0/2, min(src.w, (x0+len(dst))/2+1)
	t := src.row(y / 2)[i0:i1]
	if y%2 != 0 {
		b, c := t, src.clampRow(y/2 + 1)[i0:i1]
		t = tmp[:len(b)]
		c = c[:len(t)]
		for i := range t {
			t[i] = 0.5 * (b[i] + c[i])
		}
	}
	n := min(len(dst)/2, len(t)-1)
	d := dst[:2*n]
	here := t[0]
	for i := range n {
		next := t[i+1]
		d[2*i], d[2*i+1] = here, 0.5*(here+next)
		here = next
	}
	for x := 2 * n; x < len(dst); x++ {
		dst[x] = t[min(x/2, len(t)-1)]
	}
}

// doubled writes row y of a picture of twice the size of src, of which each pixel covers 2 x 2
// and the last the rest: between their middles values are interpolated.
func doubled(dst []float32, src *plane, y int, tmp []float32) {
	i := min(y/2, src.h-1)
	near, far := src.row(i), src.clampRow(i+2*(y%2)-1)
	t := tmp[:src.w]
	near, far = near[:len(t)], far[:len(t)]
	for x := range t {
		t[x] = 0.75*near[x] + 0.25*far[x]
	}
	before := t[0]
	d := dst[:2*len(t)]
	for x, here := range t {
		after := here
		if x+1 < len(t) {
			after = t[x+1]
		}
		d[2*x], d[2*x+1] = 0.75*here+0.25*before, 0.75*here+0.25*after
		before = here
	}
	for x := len(d); x < len(dst); x++ {
		dst[x] = before
	}
}

// box3 writes the sums over 3 x 3 pixels of src; the border is continued by itself.
func box3(dst, src plane, tmp []float32) {
	tmp = tmp[:src.w]
	for y := range src.h {
		a, b, c := src.clampRow(y - 1)[:len(tmp)], src.row(y)[:len(tmp)], src.clampRow(y + 1)[:len(tmp)]
		for x := range tmp {
			tmp[x] = a[x] + b[x] + c[x]
		}
		out := dst.row(y)
		for x := range out {
			out[x] = tmp[max(0, x-1)] + tmp[x] + tmp[min(len(tmp)-1, x+1)]
		}
	}
}

// pyramidSizes returns the planes of a pyramid from w x h down to a short side of about
// least pixels.
func pyramidSizes(w, h, least int) []plane {
	levels := []plane{newPlane(w, h)}
	for min(half(w), half(h)) >= least {
		w, h = half(w), half(h)
		levels = append(levels, newPlane(w, h))
	}
	return levels
}
