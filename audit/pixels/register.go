package pixels

import "math"

// A Motion maps the picture of one frame onto the next:
//
//	x' = (1+Scale) x - Rotation y + ShiftX
//	y' = Rotation x + (1+Scale) y + ShiftY
//	brightness' = Gain brightness + Offset
//
// in px from the middle of the picture, x to the right and y down.
type Motion struct {
	Scale    float64 // 0 where nothing changes
	Rotation float64 // radians, small
	ShiftX   float64 // px
	ShiftY   float64 // px
	Gain     float64 // of code values, 1 where nothing changes
	Offset   float64 // code values
	// Residual is the mean absolute difference that remains, in code values,
	// on the small pictures.
	Residual float64
	// Unexplained is the share of the first picture's variance that remains.
	Unexplained float64
	// Doubt is by how many px the quarters of the picture, each for itself,
	// want to lie elsewhere (median): a passing shadow or a moving subject is
	// not a moved camera. Where the pictures match badly it is at least the
	// disagreement of the motions there and back.
	Doubt float64
	// Converged tells that the pictures show the same thing and that the
	// numbers above stand still; without it they mean nothing.
	Converged bool
}

// then returns the motion of a after which comes b.
func (a Motion) then(b Motion) Motion {
	// (1+s+ir) as complex factors
	re := (1+a.Scale)*(1+b.Scale) - a.Rotation*b.Rotation
	im := (1+a.Scale)*b.Rotation + a.Rotation*(1+b.Scale)
	return Motion{
		Scale: re - 1, Rotation: im,
		ShiftX: (1+b.Scale)*a.ShiftX - b.Rotation*a.ShiftY + b.ShiftX,
		ShiftY: b.Rotation*a.ShiftX + (1+b.Scale)*a.ShiftY + b.ShiftY,
		Gain:   1,
	}
}

const (
	minLevelW, minLevelH = 48, 32 // pyramid levels are not made smaller than this
	maxLevels            = 4
	// Pictures that show the same thing leave under a fifth of their
	// variance unexplained, even where the blur changes much; pictures of
	// different things leave most of it.
	maxUnexplained = 0.3
	// From here on the way back is asked too, and the two must agree to a
	// quarter of a pixel of the small picture: blur that changes much pulls
	// the two apart.
	askUnexplained = 0.01
	maxDisagree    = 0.25
	minContrast    = 1.0 // code values; standard deviation of a picture that can be registered
)

// A regLevel is one level of the pyramid with its gradients.
type regLevel struct {
	img, gx, gy plane
}

// pyramid returns the levels, finest first, of the small picture smoothed by
// the 3x3 binomial kernel.
func (m *FrameMeasure) pyramid() []regLevel {
	p := smooth(m.small)
	levels := []regLevel{gradients(p)}
	for len(levels) < maxLevels && p.w/2 >= minLevelW && p.h/2 >= minLevelH {
		p = halve(p)
		levels = append(levels, gradients(p))
	}
	return levels
}

func smooth(p plane) plane {
	tmp := make([]float32, len(p.pix))
	for y := range p.h {
		in, out := p.pix[y*p.w:(y+1)*p.w], tmp[y*p.w:(y+1)*p.w]
		out[0], out[p.w-1] = in[0], in[p.w-1]
		for x := 1; x < p.w-1; x++ {
			out[x] = 0.25*in[x-1] + 0.5*in[x] + 0.25*in[x+1]
		}
	}
	out := plane{p.w, p.h, make([]float32, len(p.pix))}
	copy(out.pix[:p.w], tmp[:p.w])
	copy(out.pix[(p.h-1)*p.w:], tmp[(p.h-1)*p.w:])
	for y := 1; y < p.h-1; y++ {
		a, b, c := tmp[(y-1)*p.w:y*p.w], tmp[y*p.w:(y+1)*p.w], tmp[(y+1)*p.w:(y+2)*p.w]
		o := out.pix[y*p.w : (y+1)*p.w]
		for x := range o {
			o[x] = 0.25*a[x] + 0.5*b[x] + 0.25*c[x]
		}
	}
	return out
}

func halve(p plane) plane {
	o := plane{p.w / 2, p.h / 2, make([]float32, (p.w/2)*(p.h/2))}
	for y := range o.h {
		a, b := p.pix[2*y*p.w:(2*y+1)*p.w], p.pix[(2*y+1)*p.w:(2*y+2)*p.w]
		row := o.pix[y*o.w : (y+1)*o.w]
		for x := range row {
			row[x] = 0.25 * (a[2*x] + a[2*x+1] + b[2*x] + b[2*x+1])
		}
	}
	return o
}

func gradients(p plane) regLevel {
	l := regLevel{p, plane{p.w, p.h, make([]float32, len(p.pix))}, plane{p.w, p.h, make([]float32, len(p.pix))}}
	for y := 1; y < p.h-1; y++ {
		i := y * p.w
		for x := 1; x < p.w-1; x++ {
			l.gx.pix[i+x] = 0.5 * (p.pix[i+x+1] - p.pix[i+x-1])
			l.gy.pix[i+x] = 0.5 * (p.pix[i+x+p.w] - p.pix[i+x-p.w])
		}
	}
	return l
}

// Register finds the motion from picture a to picture b. Shifts up to about
// 50 px are found. The motion of pictures of different size, of pictures
// without contrast, and of pictures that do not show the same thing, is not
// converged.
func Register(a, b *FrameMeasure) Motion {
	if !a.sameGrid(b) {
		return Motion{Gain: 1}
	}
	return register(a.pyramid(), b.pyramid(), float64(a.smallPx))
}

// register aligns two pyramids; px is the size of a small picture's pixel.
func register(a, b []regLevel, px float64) Motion {
	mo := align(a, b)
	if mo.Converged && mo.Unexplained > askUnexplained {
		back := align(b, a)
		round := mo.then(back)
		half := math.Hypot(float64(a[0].img.w), float64(a[0].img.h)) / 4
		d := math.Hypot(round.ShiftX, round.ShiftY) + half*math.Hypot(round.Scale, round.Rotation)
		mo.Converged = back.Converged && d < maxDisagree
		mo.Doubt = max(mo.Doubt, d)
	}
	mo.Doubt *= px
	mo.ShiftX *= px
	mo.ShiftY *= px
	return mo
}

// align finds the motion in pixels of the small picture.
func align(a, b []regLevel) Motion {
	mo := Motion{Gain: 1}
	last := len(a) - 1
	for l := last; l >= 0; l-- {
		// Pixels of a level's picture are averages of 2^l ones: the middle
		// stays where it is but for the odd row or column cut off.
		f := float64(int(1) << l)
		s := solver{a: a[l], b: b[l], mo: mo}
		s.mo.ShiftX /= f
		s.mo.ShiftY /= f
		s.meanAbs = math.Inf(1)
		steps, least := 4, 0.05 // the next level goes on from there
		if l == last {
			steps = 10
		}
		if l == 0 {
			steps, least = 10, 0.01
		}
		ok := true
		var moved float64
		for i := 0; i < steps && ok; i++ {
			s.every = 1
			if i == 0 && l == 0 {
				s.every = 2 // the steps to come see to the rest
			}
			moved, ok = s.step()
			if i > 0 && moved < least {
				break
			}
		}
		if !ok {
			return Motion{Gain: 1, Unexplained: 1}
		}
		mo = s.mo
		mo.ShiftX *= f
		mo.ShiftY *= f
		if l == 0 {
			mo.Residual = s.meanAbs
			mo.Converged = moved < 0.05 && s.unexplained < maxUnexplained && s.contrast > minContrast && s.overlap > 0.5
			mo.Unexplained = s.unexplained
			mo.Doubt = s.quarters()
		}
	}
	return mo
}

// A solver holds the state of the Gauss-Newton iteration on one level.
type solver struct {
	a, b        regLevel
	mo          Motion
	every       int     // how many rows apart the rows are that a step looks at
	meanAbs     float64 // mean absolute residual of the last step
	unexplained float64 // share of a's variance left by the last step
	contrast    float64 // standard deviation of a
	overlap     float64 // share of a that b covers
}

// step does one iteration and returns by how many of the level's pixels a
// point half-way to the corner moved. It is not ok where the equations do not
// determine the motion.
func (s *solver) step() (moved float64, ok bool) {
	const n = 6
	var h [n][n]float64
	var g [n]float64
	A, B := s.a.img, s.b.img
	w, ht := A.w, A.h
	cx, cy := float64(w-1)/2, float64(ht-1)/2
	p, q := 1+s.mo.Scale, s.mo.Rotation
	gain, offset := s.mo.Gain, s.mo.Offset
	c := 1.5*s.meanAbs + 0.2
	invC2 := 1 / (c * c) // 0 in the first step: plain least squares
	if math.IsInf(c, 1) {
		invC2 = 0
	}
	var sumAbs, sumR2, sumA, sumA2 float64
	count := 0
	for y := 1; y < ht-1; y += s.every {
		yc := float64(y) - cy
		bx := p*(1-cx) - q*yc + s.mo.ShiftX + cx // of x = 1
		by := q*(1-cx) + p*yc + s.mo.ShiftY + cy
		row := y * w
		for x := 1; x < w-1; x, bx, by = x+1, bx+p, by+q {
			if bx < 1 || by < 1 || bx >= float64(w-2) || by >= float64(ht-2) {
				continue
			}
			ix, iy := int(bx), int(by)
			fx, fy := float32(bx)-float32(ix), float32(by)-float32(iy)
			j := iy*w + ix
			b0, b1 := B.pix[j:j+2:j+2], B.pix[j+w:j+w+2:j+w+2]
			top := b0[0] + fx*(b0[1]-b0[0])
			bot := b1[0] + fx*(b1[1]-b1[0])
			vb := float64(top + fy*(bot-top))
			if fx > 0.5 {
				j++
			}
			if fy > 0.5 {
				j += w
			}
			va := float64(A.pix[row+x])
			r := vb - gain*va - offset
			gx := 0.5 * (gain*float64(s.a.gx.pix[row+x]) + float64(s.b.gx.pix[j]))
			gy := 0.5 * (gain*float64(s.a.gy.pix[row+x]) + float64(s.b.gy.pix[j]))
			xc := float64(x) - cx
			wt := 1 / (1 + r*r*invC2)
			d0, d1 := gx*xc+gy*yc, gy*xc-gx*yc
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
			sumAbs += math.Abs(r)
			sumR2 += wt * r * r
			sumA += va
			sumA2 += va * va
			count++
		}
	}
	s.overlap = float64(count) / float64((w-2)*((ht-3)/s.every+1))
	if count < 200 || s.overlap < 0.25 {
		return 0, false
	}
	k := float64(count)
	s.meanAbs = sumAbs / k
	variance := max(0, sumA2/k-sumA/k*sumA/k)
	s.contrast = math.Sqrt(variance)
	s.unexplained = sumR2 / k / max(gain*gain*variance, 1e-9)
	d, ok := solve(h, g)
	if !ok {
		return 0, false
	}
	s.mo.Scale += d[0]
	s.mo.Rotation += d[1]
	s.mo.ShiftX += d[2]
	s.mo.ShiftY += d[3]
	s.mo.Gain += d[4]
	s.mo.Offset += d[5]
	half := math.Hypot(cx, cy) / 2
	moved = math.Hypot(d[2], d[3]) + half*math.Hypot(d[0], d[1])
	sane := math.Abs(s.mo.Scale) < 0.2 && math.Abs(s.mo.Rotation) < 0.2 && s.mo.Gain > 0.01 && s.mo.Gain < 100
	return moved, sane && !math.IsNaN(moved)
}

// quarters solves shift, gain and offset once more for each quarter of the
// picture and returns the median distance from what the whole says. Quarters
// without contrast have no say; without two of them there is no doubt to tell.
func (s *solver) quarters() float64 {
	A, B := s.a.img, s.b.img
	w, ht := A.w, A.h
	cx, cy := float64(w-1)/2, float64(ht-1)/2
	p, q := 1+s.mo.Scale, s.mo.Rotation
	gain, offset := s.mo.Gain, s.mo.Offset
	c := 1.5*s.meanAbs + 0.2
	invC2 := 1 / (c * c)
	var h [4][6][6]float64
	var g [4][6]float64
	for y := 1; y < ht-1; y++ {
		yc := float64(y) - cy
		bx := p*(1-cx) - q*yc + s.mo.ShiftX + cx
		by := q*(1-cx) + p*yc + s.mo.ShiftY + cy
		row := y * w
		for x := 1; x < w-1; x, bx, by = x+1, bx+p, by+q {
			if bx < 1 || by < 1 || bx >= float64(w-2) || by >= float64(ht-2) {
				continue
			}
			ix, iy := int(bx), int(by)
			fx, fy := float32(bx)-float32(ix), float32(by)-float32(iy)
			j := iy*w + ix
			top := B.pix[j] + fx*(B.pix[j+1]-B.pix[j])
			bot := B.pix[j+w] + fx*(B.pix[j+w+1]-B.pix[j+w])
			va := float64(A.pix[row+x])
			r := float64(top+fy*(bot-top)) - gain*va - offset
			gx := 0.5 * (gain*float64(s.a.gx.pix[row+x]) + float64(s.b.gx.pix[j]))
			gy := 0.5 * (gain*float64(s.a.gy.pix[row+x]) + float64(s.b.gy.pix[j]))
			wt := 1 / (1 + r*r*invC2)
			k := 0
			if 2*x >= w {
				k = 1
			}
			if 2*y >= ht {
				k += 2
			}
			m, n := &h[k], &g[k]
			wx, wy, wa := wt*gx, wt*gy, wt*va
			m[0][0] += wx * gx
			m[0][1] += wx * gy
			m[0][2] -= wx * va
			m[0][3] -= wx
			m[1][1] += wy * gy
			m[1][2] -= wy * va
			m[1][3] -= wy
			m[2][2] += wa * va
			m[2][3] += wa
			m[3][3] += wt
			n[0] -= wx * r
			n[1] -= wy * r
			n[2] += wa * r
			n[3] += wt * r
		}
	}
	var d []float64
	for k := range h {
		h[k][4][4], h[k][5][5] = 1, 1 // unknowns that are not asked
		if v, ok := solve(h[k], g[k]); ok {
			d = append(d, math.Hypot(v[0], v[1]))
		}
	}
	if len(d) < 2 {
		return 0
	}
	return median(d)
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
