package pixels

import (
	"math"
	"slices"
)

// A sample is one pixel of picture a and what b shows in its place.
type sample struct {
	x, y   float64 // from the middle of the picture
	value  float64 // of a
	left   float64 // what gain and offset leave between the two
	gx, gy float64 // gradients, means of both pictures
}

// samples appends the pixels of row y of picture a that b covers. Gradients of b are
// those of the nearest pixel, or those of the pixel to the upper left.
func (s *solver) samples(out []sample, y int, nearest bool) []sample {
	A, B := s.a, s.b
	w, ht := A.w, A.h
	cx, cy := float64(w-1)/2, float64(ht-1)/2
	p, q := 1+s.mo.Scale, s.mo.Rotation
	gain, offset := s.mo.Gain, s.mo.Offset
	yc := float64(y) - cy
	bx := p*(1-cx) - q*yc + s.mo.ShiftX + cx // of x = 1
	by := q*(1-cx) + p*yc + s.mo.ShiftY + cy
	right, bottom := float64(w-2), float64(ht-2)
	// What is read from slices of known lengths takes no check of its own.
	pixA, upA, downA := A.pix[y*w:][:w], A.pix[(y-1)*w:][:w], A.pix[(y+1)*w:][:w]
	pixB := B.pix
	out = slices.Grow(out, w)
	all := out[len(out):cap(out)]
	n := 0
	for x := 1; x < w-1; x, bx, by = x+1, bx+p, by+q {
		if bx < 1 || by < 1 || bx >= right || by >= bottom {
			continue
		}
		ix, iy := int(bx), int(by)
		fx, fy := float32(bx)-float32(ix), float32(by)-float32(iy)
		j := iy*w + ix
		b0, b1 := pixB[j:j+2:j+2], pixB[j+w:j+w+2:j+w+2]
		top := b0[0] + fx*(b0[1]-b0[0])
		bot := b1[0] + fx*(b1[1]-b1[0])
		vb := float64(top + fy*(bot-top))
		if nearest && fx > 0.5 {
			j++
		}
		if nearest && fy > 0.5 {
			j += w
		}
		va := float64(pixA[x])
		to := &all[n]
		n++
		to.x, to.y, to.value, to.left = float64(x)-cx, yc, va, vb-gain*va-offset
		to.gx = 0.5 * (gain*float64(0.5*(pixA[x+1]-pixA[x-1])) + float64(0.5*(pixB[j+1]-pixB[j-1])))
		to.gy = 0.5 * (gain*float64(0.5*(downA[x]-upA[x])) + float64(0.5*(pixB[j+w]-pixB[j-w])))
	}
	return out[:len(out)+n]
}

// Equations are the normal equations of the six unknowns scale, rotation, shift in x
// and y, gain and offset, with what the samples leave.
type equations struct {
	h [6][6]float64
	g [6]float64

	count                      int
	sumAbs, sumR2, sumA, sumA2 float64
}

// add adds samples, each with Cauchy's weight 1 / (1 + left² invC2).
func (n *equations) add(row []sample, invC2 float64) {
	h, g := &n.h, &n.g
	for i := range row {
		s := &row[i]
		r, gx, gy, va := s.left, s.gx, s.gy, s.value
		wt := 1 / (1 + r*r*invC2)
		d0, d1 := gx*s.x+gy*s.y, gy*s.x-gx*s.y
		w0, w1, w2, w3, w4 := wt*d0, wt*d1, wt*gx, wt*gy, wt*va
		h[0][0] += w0 * d0
		h[0][1] += w0 * d1
		h[0][2] += w0 * gx
		h[0][3] += w0 * gy
		h[0][4] -= w0 * va
		h[0][5] -= w0
		h[1][1] += w1 * d1
		h[1][2] += w1 * gx
		h[1][3] += w1 * gy
		h[1][4] -= w1 * va
		h[1][5] -= w1
		h[2][2] += w2 * gx
		h[2][3] += w2 * gy
		h[2][4] -= w2 * va
		h[2][5] -= w2
		h[3][3] += w3 * gy
		h[3][4] -= w3 * va
		h[3][5] -= w3
		h[4][4] += w4 * va
		h[4][5] += w4
		h[5][5] += wt
		g[0] -= w0 * r
		g[1] -= w1 * r
		g[2] -= w2 * r
		g[3] -= w3 * r
		g[4] += w4 * r
		g[5] += wt * r
		n.sumAbs += math.Abs(r)
		n.sumR2 += wt * r * r
		n.sumA += va
		n.sumA2 += va * va
	}
	n.count += len(row)
}

// addShift adds one sample where scale and rotation are not asked: shift in x and y,
// gain and offset come first.
func (n *equations) addShift(s *sample, invC2 float64) {
	h, g := &n.h, &n.g
	r, gx, gy, va := s.left, s.gx, s.gy, s.value
	wt := 1 / (1 + r*r*invC2)
	wx, wy, wa := wt*gx, wt*gy, wt*va
	h[0][0] += wx * gx
	h[0][1] += wx * gy
	h[0][2] -= wx * va
	h[0][3] -= wx
	h[1][1] += wy * gy
	h[1][2] -= wy * va
	h[1][3] -= wy
	h[2][2] += wa * va
	h[2][3] += wa
	h[3][3] += wt
	g[0] -= wx * r
	g[1] -= wy * r
	g[2] += wa * r
	g[3] += wt * r
}

// step does one iteration and returns by how many of the level's pixels a
// point half-way to the corner moved. It is not ok where the equations do not
// determine the motion.
func (s *solver) step() (moved float64, ok bool) {
	w, ht := s.a.w, s.a.h
	c := weightTimes*s.meanAbs + weightFloor
	invC2 := 1 / (c * c) // 0 in the first step: plain least squares
	if math.IsInf(c, 1) {
		invC2 = 0
	}
	var n equations
	for y := 1; y < ht-1; y += s.every {
		s.row = s.samples(s.row[:0], y, true)
		n.add(s.row, invC2)
	}
	s.overlap = float64(n.count) / float64((w-2)*((ht-3)/s.every+1))
	if n.count < leastPixels || s.overlap < leastOverlap {
		return 0, false
	}
	k := float64(n.count)
	s.meanAbs = n.sumAbs / k
	variance := max(0, n.sumA2/k-n.sumA/k*n.sumA/k)
	s.contrast = math.Sqrt(variance)
	s.unexplained = n.sumR2 / k / max(s.mo.Gain*s.mo.Gain*variance, 1e-9)
	d, ok := solve(n.h, n.g)
	if !ok {
		return 0, false
	}
	s.mo.Scale += d[0]
	s.mo.Rotation += d[1]
	s.mo.ShiftX += d[2]
	s.mo.ShiftY += d[3]
	s.mo.Gain += d[4]
	s.mo.Offset += d[5]
	half := math.Hypot(float64(w-1)/2, float64(ht-1)/2) / 2
	moved = math.Hypot(d[2], d[3]) + half*math.Hypot(d[0], d[1])
	sane := math.Abs(s.mo.Scale) < saneScale && math.Abs(s.mo.Rotation) < saneScale && s.mo.Gain > 1/saneGain && s.mo.Gain < saneGain
	return moved, sane && !math.IsNaN(moved)
}

// parts solves the shift once more for parts of the picture. Doubt is the median distance
// of its quarters from the shift of the whole. Quarters without contrast do not count;
// where fewer than two count, doubt is 0. Apart is the share of the blocks that lie
// elsewhere, together with their neighbours; NaN where too few blocks show where they
// lie. The blocks' own shifts come with them.
func (s *solver) parts() (doubt, apart float64, shifts *blockShifts) {
	w, ht := s.a.w, s.a.h
	cx := float64(w-1) / 2
	c := weightTimes*s.meanAbs + weightFloor
	invC2 := 1 / (c * c)
	var quarters [4]equations
	var blocks [partRows][partCols]blockSums
	column := make([]uint8, w) // of blocks, for each column of pixels
	for x := range column {
		column[x] = uint8(x * partCols / w)
	}
	for y := 1; y < ht-1; y++ {
		s.row = s.samples(s.row[:0], y, false)
		lower := 0
		if 2*y >= ht {
			lower = 2
		}
		line := &blocks[y*partRows/ht]
		for i := range s.row {
			x := s.row[i].x + cx
			k := lower
			if 2*x >= float64(w) {
				k++
			}
			quarters[k].addShift(&s.row[i], invC2)
			line[column[int(x)]].add(&s.row[i])
		}
	}
	var d []float64
	for k := range quarters {
		n := &quarters[k]
		n.h[4][4], n.h[5][5] = 1, 1 // unknowns that are not asked
		if v, ok := solve(n.h, n.g); ok {
			d = append(d, math.Hypot(v[0], v[1]))
		}
	}
	if len(d) >= 2 {
		doubt = median(d)
	}
	apart, shifts = s.apart(&blocks)
	return doubt, apart, shifts
}

// Blocks of the picture that are laid on each other each for itself.
const partCols, partRows = 16, 12

// blockShifts are by how much each block lies elsewhere than the whole picture.
type blockShifts [partRows * partCols]blockShift

// A blockShift is that of one block, in thousandths of a pixel of the small picture; known
// where the block shows it.
type blockShift struct {
	dx, dy int16
	known  bool
}

// thousandths rounds pixels; a shift of more than 32 of them is no shift of a block.
func thousandths(px float64) int16 {
	return int16(math.Round(1000 * min(max(px, -32), 32)))
}

// px returns the shift in px, of which a pixel of the small picture has so many.
func (b blockShift) px(smallPx int) (x, y float64) {
	return float64(b.dx) * float64(smallPx) / 1000, float64(b.dy) * float64(smallPx) / 1000
}

// blockSums are what the shift of a block and its brightness take.
type blockSums struct{ n, x, y, xx, xy, yy, r, rx, ry float64 }

func (b *blockSums) add(s *sample) {
	b.n++
	b.x += s.gx
	b.y += s.gy
	b.r += s.left
	b.xx += s.gx * s.gx
	b.xy += s.gx * s.gy
	b.yy += s.gy * s.gy
	b.rx += s.gx * s.left
	b.ry += s.gy * s.left
}

// shift returns by how many pixels the block lies elsewhere, and the deviation of that
// where the pictures differ by so much.
func (b *blockSums) shift(left float64) (dx, dy, sigma float64) {
	xx, xy, yy := b.xx-b.x*b.x/b.n, b.xy-b.x*b.y/b.n, b.yy-b.y*b.y/b.n
	rx, ry := b.rx-b.x*b.r/b.n, b.ry-b.y*b.r/b.n
	det := xx*yy - xy*xy
	if !(det > 1e-9*xx*yy) {
		return 0, 0, math.Inf(1)
	}
	weakest := (xx+yy)/2 - math.Hypot((xx-yy)/2, xy) // eigenvalue: along edges a shift does not show
	return -(yy*rx - xy*ry) / det, -(xx*ry - xy*rx) / det, left / math.Sqrt(max(weakest, 1e-12))
}

// apart returns the share of the blocks that show where they lie which lie elsewhere
// together, NaN of few; and where each lies.
func (s *solver) apart(blocks *[partRows][partCols]blockSums) (share float64, shifts *blockShifts) {
	shifts = new(blockShifts)
	m := &blockMap{
		cols: partCols, rows: partRows, known: make([]bool, partCols*partRows),
		dx: make([]float64, partCols*partRows), dy: make([]float64, partCols*partRows),
	}
	left := 1.25 * s.meanAbs // the deviation of a normal distribution from its mean absolute: √(π/2)
	known := 0
	for y := range blocks {
		for x := range blocks[y] {
			i := y*partCols + x
			dx, dy, sigma := blocks[y][x].shift(left)
			if sigma <= partSigma {
				m.known[i], m.dx[i], m.dy[i] = true, dx, dy
				shifts[i] = blockShift{thousandths(dx), thousandths(dy), true}
				known++
			}
		}
	}
	if known < partBlocks {
		return math.NaN(), shifts
	}
	return m.apart(partAside) / float64(known), shifts
}

// solve solves the symmetric positive equations h d = g, of which the upper half
// is given, by Cholesky's decomposition.
func solve(h [6][6]float64, g [6]float64) (d [6]float64, ok bool) {
	const n = 6
	var scale [n]float64 // unit diagonal: the unknowns have different units
	for i := range n {
		if !(h[i][i] > 0) {
			return d, false
		}
		scale[i] = 1 / math.Sqrt(h[i][i])
	}
	var l [n][n]float64
	for i := range n {
		for j := 0; j <= i; j++ {
			v := h[j][i] * scale[i] * scale[j]
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = v / l[j][j]
				continue
			}
			if v < 1e-9 {
				return d, false
			}
			l[i][i] = math.Sqrt(v)
		}
	}
	for i := range n {
		v := g[i] * scale[i]
		for k := range i {
			v -= l[i][k] * d[k]
		}
		d[i] = v / l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		v := d[i]
		for k := i + 1; k < n; k++ {
			v -= l[k][i] * d[k]
		}
		d[i] = v / l[i][i]
	}
	for i := range n {
		d[i] *= scale[i]
	}
	return d, true
}
