package pixels

import (
	"math"
	"slices"
)

// A View is what a run shows: a small picture with everything in focus. The zero View
// shows nothing.
type View struct {
	Width, Height int
	Luma          []byte // row by row, code values
	// Peak and Rise are of each block of blockSide pixels, row by row. Peak is how
	// sharp it is in its sharpest frame, code values²; Rise is how many times that
	// is its least sharp one. Firm is the correlation of its sharpest frame with the
	// next sharpest: noise is another in each.
	Peak, Rise, Firm []float32
	// Focused means that focus walks through the run: what does not rise is then
	// sharp in no frame.
	Focused bool
}

// view returns what the run shows.
func (s *Sequence) view(focused bool) View {
	c := s.composite
	if c == nil || s.long {
		return View{}
	}
	luma := c.plane(0)
	v := View{Width: c.w, Height: c.h, Luma: luma.bytes(), Focused: focused}
	sharpest, next := bandPass(luma), bandPass(c.plane(1))
	cols, rows := v.blocks()
	var peaks, rises []float64
	for by := range rows {
		for bx := range cols {
			peaks, rises = peaks[:0], rises[:0]
			for y := by * blockSide; y < (by+1)*blockSide; y++ {
				for i := y*c.w + bx*blockSide; i < y*c.w+(bx+1)*blockSide; i++ {
					if o := &c.pix[i]; o.peak[1] != noEnergy {
						peak := o.peak[0].value()
						peaks = append(peaks, peak)
						rises = append(rises, peak/max(riseFloor, min(o.least[1].value(), peak)))
					}
				}
			}
			var peak, rise, firm float64
			if len(peaks) == blockSide*blockSide {
				peak, rise = quickMedian(peaks), quickMedian(rises)
				firm, _ = correlation(sharpest, next, bx*blockSide, by*blockSide, 0, 0)
			}
			v.Peak, v.Rise, v.Firm = append(v.Peak, float32(peak)), append(v.Rise, float32(rise)), append(v.Firm, float32(firm))
		}
	}
	return v
}

func (v *View) blocks() (cols, rows int) { return v.Width / blockSide, v.Height / blockSide }

// valid reports whether the view is whole: it may come from a file.
func (v *View) valid() bool {
	cols, rows := v.blocks()
	return v.Width >= 2*blockSide && v.Height >= 2*blockSide && v.Width <= maxViewSide && v.Height <= maxViewSide &&
		len(v.Luma) == v.Width*v.Height && len(v.Peak) == cols*rows && len(v.Rise) == cols*rows && len(v.Firm) == cols*rows
}

// A Likeness reports how two views differ. Found means that they show the same,
// Fine that they show different things, or one thing turned, shifted or at another
// magnification.
type Likeness struct {
	Verdict
	// Shift is by how far the second picture lies aside, as a share of the long
	// side; Scale the change of scale.
	Shift, Scale float64
	Blocks       int // that are sharp in both
	// Apart03 and Apart05 are the shares of the blocks in the largest connected set
	// that lies more than 0.3 and 0.5 small pixels aside from where the common
	// motion puts it; Unlike is the share of blocks that are not alike.
	Apart03, Apart05, Unlike float64
}

// Same compares two views by laying the second on the first. A subject that turned
// shows in blocks that moved by their depth, with their neighbours.
func (v *View) Same(w *View) Likeness {
	l, _ := v.likeness(w)
	return l
}

// likeness is Same, with the motion from the first view to the second in pixels of the
// small picture.
func (v *View) likeness(w *View) (l Likeness, mo Motion) {
	if !v.valid() || !w.valid() || v.Width != w.Width || v.Height != w.Height {
		l.Verdict = cannot(ReasonNoView)
		return l, mo
	}
	a, b := v.plane(), w.plane()
	least := max(leastBlocks, len(v.Peak)/blocksEvery)
	mo = register((&FrameMeasure{small: a}).pyramid(), (&FrameMeasure{small: b}).pyramid(), 1)
	if !mo.Converged {
		if min(v.sharpBlocks(), w.sharpBlocks()) < least {
			l.Verdict = cannot(ReasonTexture)
		} else {
			l.Verdict = decided(false)
		}
		return l, mo
	}
	l.Shift = math.Hypot(mo.ShiftX, mo.ShiftY) / float64(max(v.Width, v.Height))
	l.Scale = mo.Scale
	if l.Shift > otherShift || math.Abs(l.Scale) > otherScale || math.Abs(mo.Rotation) > otherRoll {
		l.Verdict = decided(false)
		return l, mo
	}
	blocks := v.displacements(w, bandPass(a), bandPass(b.warped(mo)), mo)
	if l.Blocks = blocks.sharp; l.Blocks < least {
		l.Verdict = cannot(ReasonTexture)
		return l, mo
	}
	n := float64(l.Blocks)
	l.Apart03, l.Apart05, l.Unlike = blocks.apart(0.3)/n, blocks.apart(0.5)/n, float64(blocks.unlike)/n
	switch {
	case l.Apart05 > otherApart05 || l.Apart03 > otherApart03 || l.Unlike > otherUnlike:
		l.Verdict = decided(false)
	case l.Apart05 <= sameApart05 && l.Apart03 <= sameApart03 && l.Unlike <= sameUnlike && l.Shift <= sameShift:
		l.Verdict = decided(true)
	default:
		l.Verdict = cannot(ReasonBetweenViews)
	}
	return l, mo
}

func (v *View) plane() plane {
	p := plane{w: v.Width, h: v.Height, pix: make([]float32, len(v.Luma))}
	for i, x := range v.Luma {
		p.pix[i] = float32(x)
	}
	return p
}

// sharp reports whether a block is sharp in one frame of the run, by detail and not noise.
func (v *View) sharp(i int) bool {
	if v.Firm[i] < firmBlock {
		return false
	}
	if v.Focused {
		return v.Peak[i] >= sharpEnergy && v.Rise[i] >= sharpRise
	}
	return v.Peak[i] >= standingEnergy
}

func (v *View) sharpBlocks() int {
	n := 0
	for i := range v.Peak {
		if v.sharp(i) {
			n++
		}
	}
	return n
}

// warped returns the picture as it lies before the motion; outside it is NaN.
func (p plane) warped(mo Motion) plane {
	out := plane{w: p.w, h: p.h, pix: make([]float32, len(p.pix))}
	for y := range p.h {
		for x := range p.w {
			xc, yc := float64(x)+0.5-float64(p.w)/2, float64(y)+0.5-float64(p.h)/2
			sx := (1+mo.Scale)*xc - mo.Rotation*yc + mo.ShiftX + float64(p.w)/2 - 0.5
			sy := mo.Rotation*xc + (1+mo.Scale)*yc + mo.ShiftY + float64(p.h)/2 - 0.5
			value := float32(math.NaN())
			if sx >= 0 && sy >= 0 && sx <= float64(p.w-1) && sy <= float64(p.h-1) {
				value = p.at(sx, sy)
			}
			out.pix[y*p.w+x] = value
		}
	}
	return out
}

// bandPass takes what is coarser than some 5 pixels out of a picture, and noise of
// single pixels.
func bandPass(p plane) plane {
	fine := smooth(p)
	coarse := smooth(fine)
	for range coarsePasses - 1 {
		coarse.smoothed(coarse)
	}
	for i, v := range coarse.pix {
		coarse.pix[i] = fine.pix[i] - v
	}
	return coarse
}

// blockMap is where each block of one view lies in another.
type blockMap struct {
	cols, rows int
	known      []bool // sharp in both, and inside the other picture
	dx, dy     []float64
	sharp      int
	unlike     int
}

// displacements seeks each block of a that is sharp in both views in b.
func (v *View) displacements(w *View, a, b plane, mo Motion) *blockMap {
	cols, rows := v.blocks()
	m := &blockMap{cols: cols, rows: rows, known: make([]bool, cols*rows), dx: make([]float64, cols*rows), dy: make([]float64, cols*rows)}
	for by := range rows {
		for bx := range cols {
			i := by*cols + bx
			if !v.sharp(i) || bx == 0 || by == 0 || bx == cols-1 || by == rows-1 {
				continue
			}
			// The same block in the other view, as near as blocks go.
			ox := min(max(0, bx+int(math.Round(mo.ShiftX/blockSide))), cols-1)
			oy := min(max(0, by+int(math.Round(mo.ShiftY/blockSide))), rows-1)
			o := oy*cols + ox
			if ratio := float64(v.Peak[i] / max(w.Peak[o], riseFloor)); !w.sharp(o) || ratio > energyRatio || ratio < 1/energyRatio {
				continue
			}
			dx, dy, best, ok := seek(a, b, bx*blockSide, by*blockSide)
			if !ok {
				continue
			}
			m.known[i], m.dx[i], m.dy[i] = true, dx, dy
			m.sharp++
			if best < alikeBlock {
				m.unlike++
			}
		}
	}
	return m
}

// seek returns where the block of a at x, y lies in b, to parts of a pixel, and how
// well it fits there: normalised cross-correlation.
func seek(a, b plane, x, y int) (dx, dy, best float64, ok bool) {
	const side = 2*seekReach + 1
	var fit [side][side]float64
	best = -2
	var bi, bj int
	for j := range side {
		for i := range side {
			c, known := correlation(a, b, x, y, i-seekReach, j-seekReach)
			if !known {
				return 0, 0, 0, false
			}
			fit[j][i] = c
			if c > best {
				best, bi, bj = c, i, j
			}
		}
	}
	dx, dy = float64(bi-seekReach), float64(bj-seekReach)
	if bi > 0 && bi < side-1 {
		dx += vertex(fit[bj][bi-1], best, fit[bj][bi+1])
	}
	if bj > 0 && bj < side-1 {
		dy += vertex(fit[bj-1][bi], best, fit[bj+1][bi])
	}
	return dx, dy, best, true
}

// vertex returns where a parabola through three values a pixel apart is greatest.
func vertex(left, middle, right float64) float64 {
	d := left - 2*middle + right
	if d >= 0 {
		return 0
	}
	return 0.5 * (left - right) / d
}

// correlation returns the normalised cross-correlation of the block of a at x, y with
// what lies dx, dy farther in b.
func correlation(a, b plane, x, y, dx, dy int) (float64, bool) {
	const margin = 2 // pixels around the block that take part: 12 x 12 decide better than 8 x 8
	x0, y0, x1, y1 := x-margin, y-margin, x+blockSide+margin, y+blockSide+margin
	if x0 < 0 || y0 < 0 || x1 > a.w || y1 > a.h || x0+dx < 0 || y0+dy < 0 || x1+dx > b.w || y1+dy > b.h {
		return 0, false
	}
	var n, p, q, pp, qq, pq float64
	for v := y0; v < y1; v++ {
		ra, rb := a.pix[v*a.w+x0:v*a.w+x1], b.pix[(v+dy)*b.w+x0+dx:(v+dy)*b.w+x1+dx]
		for i, s := range ra {
			f, g := float64(s), float64(rb[i])
			p += f
			q += g
			pp += f * f
			qq += g * g
			pq += f * g
		}
		n += float64(len(ra))
	}
	varP, varQ := pp-p*p/n, qq-q*q/n
	if !(varP > 0 && varQ > 0) { // NaN, too: outside the other picture
		return 0, false
	}
	return (pq - p*q/n) / math.Sqrt(varP*varQ), true
}

// apart returns the number of blocks in the largest connected set that lies more than
// limit aside. Each is the median of its known neighbours, as one alone may be wrong.
func (m *blockMap) apart(limit float64) float64 {
	marked := make([]bool, len(m.known))
	var xs, ys []float64
	for i := range m.known {
		if !m.known[i] {
			continue
		}
		xs, ys = xs[:0], ys[:0]
		m.around(i, func(o int) {
			xs, ys = append(xs, m.dx[o]), append(ys, m.dy[o])
		})
		marked[i] = math.Hypot(median(xs), median(ys)) > limit
	}
	largest := 0
	var stack []int
	for i := range marked {
		if !marked[i] {
			continue
		}
		size := 0
		marked[i] = false
		stack = append(stack[:0], i)
		for len(stack) > 0 {
			at := stack[len(stack)-1]
			stack = slices.Delete(stack, len(stack)-1, len(stack))
			size++
			m.around(at, func(o int) {
				if marked[o] {
					marked[o] = false
					stack = append(stack, o)
				}
			})
		}
		largest = max(largest, size)
	}
	return float64(largest)
}

// around calls do for the known blocks of the 3 x 3 around one.
func (m *blockMap) around(i int, do func(int)) {
	x, y := i%m.cols, i/m.cols
	for v := max(0, y-1); v <= min(m.rows-1, y+1); v++ {
		for u := max(0, x-1); u <= min(m.cols-1, x+1); u++ {
			if o := v*m.cols + u; m.known[o] {
				do(o)
			}
		}
	}
}
