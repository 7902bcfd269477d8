package pixels

import (
	"math"
	"slices"
)

// A sample is one pixel of picture a and what b shows in its place.
type sample struct {
	value  float64 // of a
	left   float64 // what gain and offset leave between the two
	gx, gy float64 // gradients, means of both pictures
}

// A line is neighbouring samples, the first of which lies at x, y from the middle of the picture.
type line struct {
	x, y float64
	row  []sample
}

// to returns the part of the line that lies before x, and what is behind.
func (l line) to(x float64) (part, rest line) {
	n := min(max(0, int(x-l.x)), len(l.row)) // places are a whole number of pixels apart
	return line{l.x, l.y, l.row[:n]}, line{l.x + float64(n), l.y, l.row[n:]}
}

// samples returns the pixels of row y of picture a that b covers. They are valid until the
// next call. Gradients of b are those of the nearest pixel, or those of the pixel to the
// upper left.
func (s *solver) samples(y int, nearest bool) line {
	A, B := s.a, s.b
	w, ht := A.w, A.h
	cx, cy := float64(w-1)/2, float64(ht-1)/2
	p, q := 1+s.mo.Scale, s.mo.Rotation
	yc := float64(y) - cy
	// Places in b, of x = 1, are whole numbers of parts: these take fewer conversions.
	bx, by := inParts(p*(1-cx)-q*yc+s.mo.ShiftX+cx), inParts(q*(1-cx)+p*yc+s.mo.ShiftY+cy)
	stepX, stepY := inParts(p), inParts(q)
	right, bottom := int64(w-2)*placeParts, int64(ht-2)*placeParts
	covers := func(x int) bool {
		bx, by := bx+int64(x-1)*stepX, by+int64(x-1)*stepY
		return bx >= placeParts && by >= placeParts && bx < right && by < bottom
	}
	// Those that b covers are neighbours, as it is bounded by straight lines.
	first, end := 1, w-1
	for first < end && !covers(first) {
		first++
	}
	for first < end && !covers(end-1) {
		end--
	}
	n := end - first
	s.row = slices.Grow(s.row[:0], n)[:n]
	row := s.row
	bx, by = bx+int64(first-1)*stepX, by+int64(first-1)*stepY
	gain, offset := s.mo.Gain, s.mo.Offset
	gradientGain := float32(gain)
	near := int64(0)
	if nearest {
		near = placeNear
	}
	// What is read from slices of known lengths takes no check of its own.
	at := y*w + first
	left, here, next := A.pix[at-1:][:len(row)], A.pix[at:][:len(row)], A.pix[at+1:][:len(row)]
	up, down := A.pix[at-w:][:len(row)], A.pix[at+w:][:len(row)]
	pix := B.pix
	for i := range row {
		fx, fy := float32(bx&(placeParts-1))*(1.0/placeParts), float32(by&(placeParts-1))*(1.0/placeParts)
		j := int(by>>placeBits)*w + int(bx>>placeBits)
		k := int((by+near)>>placeBits)*w + int((bx+near)>>placeBits)
		bx, by = bx+stepX, by+stepY
		b0, b1 := pix[j:j+2:j+2], pix[j+w:j+w+2:j+w+2]
		top := b0[0] + fx*(b0[1]-b0[0])
		bot := b1[0] + fx*(b1[1]-b1[0])
		vb := float64(top + fy*(bot-top))
		b := pix[k-1 : k+2 : k+2]
		va := float64(here[i])
		to := &row[i]
		to.value, to.left = va, vb-gain*va-offset
		to.gx = float64(0.25 * (gradientGain*(next[i]-left[i]) + (b[2] - b[0])))
		to.gy = float64(0.25 * (gradientGain*(down[i]-up[i]) + (pix[k+w] - pix[k-w])))
	}
	return line{float64(first) - cx, yc, row}
}

// placeParts are the parts of a pixel that places are counted in.
const placeBits, placeParts = 32, 1 << placeBits

// placeNear takes a place to the nearest pixel: to the next one from beyond the half, as far as
// a float32 distinguishes it.
const placeNear = placeParts/2 - 129

// inParts returns a place or length in pixels in its parts.
func inParts(px float64) int64 { return int64(math.Floor(px * placeParts)) }

// Equations are the normal equations of the six unknowns scale, rotation, shift in x
// and y, gain and offset, with what the samples leave.
type equations struct {
	h [6][6]float64
	g [6]float64

	count                      int
	sumAbs, sumR2, sumA, sumA2 float64
}

// add adds samples, each with Cauchy's weight 1 / (1 + left² invC2). It takes two at a time,
// as to read and write the sums is what takes the time.
func (n *equations) add(l line, invC2 float64) {
	h, g := &n.h, &n.g
	row, sx, y := l.row, l.x, l.y
	for i := 0; i < len(row); i, sx = i+2, sx+2 {
		tx := sx + 1
		s, t, w, v := pairOf(row[i:], invC2)
		r, gx, gy, va := s.left, s.gx, s.gy, s.value
		q, fx, fy, vb := t.left, t.gx, t.gy, t.value
		d0, d1 := gx*sx+gy*y, gy*sx-gx*y
		e0, e1 := fx*tx+fy*y, fy*tx-fx*y
		w0, w1, w2, w3, w4 := w*d0, w*d1, w*gx, w*gy, w*va
		v0, v1, v2, v3, v4 := v*e0, v*e1, v*fx, v*fy, v*vb
		h[0][0] += w0*d0 + v0*e0
		h[0][1] += w0*d1 + v0*e1
		h[0][2] += w0*gx + v0*fx
		h[0][3] += w0*gy + v0*fy
		h[0][4] -= w0*va + v0*vb
		h[0][5] -= w0 + v0
		h[1][1] += w1*d1 + v1*e1
		h[1][2] += w1*gx + v1*fx
		h[1][3] += w1*gy + v1*fy
		h[1][4] -= w1*va + v1*vb
		h[1][5] -= w1 + v1
		h[2][2] += w2*gx + v2*fx
		h[2][3] += w2*gy + v2*fy
		h[2][4] -= w2*va + v2*vb
		h[2][5] -= w2 + v2
		h[3][3] += w3*gy + v3*fy
		h[3][4] -= w3*va + v3*vb
		h[3][5] -= w3 + v3
		h[4][4] += w4*va + v4*vb
		h[4][5] += w4 + v4
		h[5][5] += w + v
		g[0] -= w0*r + v0*q
		g[1] -= w1*r + v1*q
		g[2] -= w2*r + v2*q
		g[3] -= w3*r + v3*q
		g[4] += w4*r + v4*q
		g[5] += w*r + v*q
		n.sumAbs += math.Abs(r) + math.Abs(q)
		n.sumR2 += w*r*r + v*q*q
		n.sumA += va + vb
		n.sumA2 += va*va + vb*vb
	}
	n.count += len(row)
}

// addShift adds samples where scale and rotation are not asked: shift in x and y, gain and
// offset come first.
func (n *equations) addShift(row []sample, invC2 float64) {
	h, g := &n.h, &n.g
	for i := 0; i < len(row); i += 2 {
		s, t, w, v := pairOf(row[i:], invC2)
		r, gx, gy, va := s.left, s.gx, s.gy, s.value
		q, fx, fy, vb := t.left, t.gx, t.gy, t.value
		w0, w1, w2 := w*gx, w*gy, w*va
		v0, v1, v2 := v*fx, v*fy, v*vb
		h[0][0] += w0*gx + v0*fx
		h[0][1] += w0*gy + v0*fy
		h[0][2] -= w0*va + v0*vb
		h[0][3] -= w0 + v0
		h[1][1] += w1*gy + v1*fy
		h[1][2] -= w1*va + v1*vb
		h[1][3] -= w1 + v1
		h[2][2] += w2*va + v2*vb
		h[2][3] += w2 + v2
		h[3][3] += w + v
		g[0] -= w0*r + v0*q
		g[1] -= w1*r + v1*q
		g[2] += w2*r + v2*q
		g[3] += w*r + v*q
	}
}

// pairOf returns the first two samples and their weights; for a single one, one more that
// counts for nothing.
func pairOf(row []sample, invC2 float64) (s, t *sample, w, v float64) {
	s, t = &row[0], &noSample
	w = 1 / (1 + s.left*s.left*invC2)
	if len(row) > 1 {
		t = &row[1]
		v = 1 / (1 + t.left*t.left*invC2)
	}
	return s, t, w, v
}

var noSample sample

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
		n.add(s.samples(y, true), invC2)
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
	for y := 1; y < ht-1; y++ {
		all := s.samples(y, false)
		lower := 0
		if 2*y >= ht {
			lower = 2
		}
		line := &blocks[y*partRows/ht]
		rest := all
		for k := range line {
			part := rest
			part, rest = rest.to(float64(((k+1)*w+partCols-1)/partCols) - cx)
			line[k].add(part.row)
		}
		left, right := all.to(float64((w+1)/2) - cx) // as half of the blocks
		quarters[lower].addShift(left.row, invC2)
		quarters[lower+1].addShift(right.row, invC2)
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

// A blockShift is that of one block, and its deviation, in thousandths of a pixel of the small
// picture; known where the block shows it.
type blockShift struct {
	dx, dy int16
	sigma  uint8 // 1 and more where it is known, and no more than partSigma
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

func (b *blockSums) add(row []sample) {
	var x, y, r, xx, xy, yy, rx, ry float64 // in registers
	for i := range row {
		left, gx, gy := row[i].left, row[i].gx, row[i].gy
		x += gx
		y += gy
		r += left
		xx += gx * gx
		xy += gx * gy
		yy += gy * gy
		rx += gx * left
		ry += gy * left
	}
	b.n += float64(len(row))
	b.x += x
	b.y += y
	b.r += r
	b.xx += xx
	b.xy += xy
	b.yy += yy
	b.rx += rx
	b.ry += ry
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
				shifts[i] = blockShift{thousandths(dx), thousandths(dy), uint8(math.Ceil(1000 * max(sigma, 0.001))), true}
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
