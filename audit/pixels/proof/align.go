package proof

import "math"

// An aligner finds where each frame lies against the one before more exactly than the
// registration of audit/pixels. That reads pictures of half the size, in which texture
// finer than their pixels shows as coarser one that moves by another amount: its motions are
// wrong by up to a twentieth of a pixel, always to the same side where frames move evenly,
// and over thirty frames that adds up to one or two pixels. Here the pictures of full size
// are laid on each other, a few bands of rows, by the method of Lucas and Kanade ("An
// iterative image registration technique with an application to stereo vision", Proceedings
// of the 7th IJCAI, 1981), from the motion that is known.
type aligner struct {
	w, h   int
	before []uint8 // luma of the frame before; nil where there is none
}

const (
	// alignPixels is about how many pixels are laid on each other: where noise is high a
	// motion is still known to some hundredths of a pixel.
	alignPixels = 50_000
	// alignBand is how many rows next to one another are taken, and then none for a while. What
	// one frame is sharper than the other then adds up to nothing over the band, as over the
	// whole picture; over single rows it does not, and is taken for a shift. Eight
	// rows lie at all heights of the blocks of compression, which do not move.
	alignBand = 8
	// alignSteps is enough: the motion is known to a tenth of a pixel, and each step leaves
	// less than a fifth.
	alignSteps = 2
	// alignWidth is the difference, code values, from which a pixel counts less, by the weight of
	// Geman and McClure, which falls off fast: a highlight or a blurred edge differs from
	// frame to frame by more than texture, and grows to all sides.
	alignWidth = 3.5
	// alignMost is by how many px a corner may be corrected: more is not the error of
	// the registration, but pictures that do not show enough to be laid on each other.
	alignMost = 1.0
)

// next takes the next frame and returns where it lies against the one before, px: known is
// that motion as it was registered. The first frame lies where it is known to lie.
func (a *aligner) next(s *source, known affine) affine {
	out := known
	if a.before != nil {
		out = a.refined(s, known)
	}
	if a.before == nil {
		a.w, a.h = s.w, s.h
		a.before = make([]uint8, s.w*s.h)
	}
	for y := range s.h {
		copy(a.before[y*s.w:(y+1)*s.w], s.luma[y*s.stride:])
	}
	return out
}

func (a *aligner) refined(s *source, known affine) affine {
	every := alignBand * max(1, a.w*a.h/alignPixels)
	m := known
	for range alignSteps {
		var n normals
		for from := max(1, (every-alignBand)/2); from < a.h-1; from += every {
			for y := from; y < min(from+alignBand, a.h-1); y++ {
				n.addRow(a, s, m, y)
			}
		}
		step, ok := n.solve()
		if !ok {
			return known
		}
		m = step.after(m, a.w, a.h)
	}
	for _, c := range [4][2]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
		x, y := c[0]*float64(a.w), c[1]*float64(a.h)
		mx, my := m.of(x, y)
		kx, ky := known.of(x, y)
		if !(math.Hypot(mx-kx, my-ky) <= alignMost) { // NaN, too
			return known
		}
	}
	return m
}

// unknowns of a step: scale and rotation, per half of the width, shift in x and y, px, and
// brightness, code values.
const unknowns = 5

// normals are the normal equations of a step, with their right side.
type normals [unknowns][unknowns + 1]float64

// addRow adds what row y of the frame before and the frame in its place show.
func (n *normals) addRow(a *aligner, s *source, m affine, y int) {
	const margin, eighth = 2, 1.0 / 8
	row := func(k int) []uint8 { return a.before[(y+k)*a.w:][:a.w] }
	p, up, down := row(0), row(-1), row(1)
	up, down = up[:len(p)], down[:len(p)]
	cx, cy := float64(a.w)/2, float64(a.h)/2
	unit := 1 / cx
	v := (float64(y) - cy) * unit
	bx, by := m.of(margin, float64(y))
	bx, by = bx+0.5/phases, by+0.5/phases // to the nearest phase
	var r rowSums
	for x := margin; x < len(p)-margin; x, bx, by = x+1, bx+m.p, by+m.q {
		if !(bx >= 1 && by >= 1 && bx < float64(s.w-2) && by < float64(s.h-2)) {
			continue
		}
		left := float64(s.cubic(bx, by))*(1.0/(1<<(2*weightBits))) - float64(p[x])
		// Gradients over 3 x 3 pixels: noise in them would make steps too short.
		u3, p3, d3 := up[x-1:x+2:x+2], p[x-1:x+2:x+2], down[x-1:x+2:x+2]
		gx := float64(2*(int32(p3[2])-int32(p3[0]))+int32(u3[2])-int32(u3[0])+int32(d3[2])-int32(d3[0])) * eighth
		gy := float64(2*(int32(d3[1])-int32(u3[1]))+int32(d3[0])-int32(u3[0])+int32(d3[2])-int32(u3[2])) * eighth
		w := 1 / (1 + left*left*(1.0/(alignWidth*alignWidth)))
		r.add(gx, gy, left, (float64(x)-cx)*unit, w*w)
	}
	n.addSums(&r, v)
}

// cubic samples the luma, in units of two weights.
func (s *source) cubic(x, y float64) int64 {
	ix, iy := int(x), int(y)
	kx, ky := &cubic[int((x-float64(ix))*phases)&(phases-1)], &cubic[int((y-float64(iy))*phases)&(phases-1)]
	var sum int64
	for k, weight := range ky {
		r := s.luma[(iy-1+k)*s.stride+ix-1:][:4:4]
		sum += weight * (kx[0]*int64(r[0]) + kx[1]*int64(r[1]) + kx[2]*int64(r[2]) + kx[3]*int64(r[3]))
	}
	return sum
}

// rowSums are what the pixels of a row add up to: x and y are the gradients, u the place in
// the row, b brightness and d the difference; each by the weights.
type rowSums struct {
	xx, xxu, xxuu, xy, xyu, xyuu, yy, yyu, yyuu float64
	xb, xbu, yb, ybu, bb                        float64
	xd, xdu, yd, ydu, bd                        float64
}

func (r *rowSums) add(gx, gy, d, u, w float64) {
	wx, wy := w*gx, w*gy
	v := wx * gx
	r.xx += v
	v *= u
	r.xxu += v
	r.xxuu += v * u
	v = wx * gy
	r.xy += v
	v *= u
	r.xyu += v
	r.xyuu += v * u
	v = wy * gy
	r.yy += v
	v *= u
	r.yyu += v
	r.yyuu += v * u
	r.xb += wx
	r.xbu += wx * u
	r.yb += wy
	r.ybu += wy * u
	r.bb += w
	v = wx * d
	r.xd += v
	r.xdu += v * u
	v = wy * d
	r.yd += v
	r.ydu += v * u
	r.bd += w * d
}

// addSums adds a row at v: scaling moves a pixel by u and v, rotation by -v and u.
func (n *normals) addSums(r *rowSums, v float64) {
	for i, row := range [unknowns][unknowns + 1]float64{
		{r.xxuu + 2*v*r.xyu + v*v*r.yy, r.xyuu + v*(r.yyu-r.xxu) - v*v*r.xy, r.xxu + v*r.xy, r.xyu + v*r.yy, r.xbu + v*r.yb, -r.xdu - v*r.yd},
		{0, r.yyuu - 2*v*r.xyu + v*v*r.xx, r.xyu - v*r.xx, r.yyu - v*r.xy, r.ybu - v*r.xb, -r.ydu + v*r.xd},
		{0, 0, r.xx, r.xy, r.xb, -r.xd},
		{0, 0, 0, r.yy, r.yb, -r.yd},
		{0, 0, 0, 0, r.bb, -r.bd},
	} {
		for k, s := range row {
			n[i][k] += s
		}
	}
}

// solve returns the step; there is none where nothing shows where the frame lies.
func (n *normals) solve() (out alignStep, ok bool) {
	rows := make([][]float64, unknowns)
	for i := range rows {
		for k := range i {
			n[i][k] = n[k][i]
		}
		rows[i] = n[i][:]
	}
	v, ok := solved(rows)
	copy(out[:], v)
	return out, ok
}

type alignStep [unknowns]float64

// after returns a motion corrected by the step, about the middle of the picture.
func (d alignStep) after(m affine, w, h int) affine {
	cx, cy := float64(w)/2, float64(h)/2
	s, r := d[0]/cx, d[1]/cx
	return affine{p: m.p + s, q: m.q + r, c: m.c + d[2] - s*cx + r*cy, d: m.d + d[3] - r*cx - s*cy}
}
