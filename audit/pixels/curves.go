package pixels

import (
	"math"
	"slices"
)

// A curve is the sharpness of one tile through the run.
type curve struct {
	f        []float32 // 0 to 1
	floor    float64   // the least focus measure, code values²
	rise     float64   // ratio of the largest to the second least: one shaken frame is no rise
	peak     float64   // the largest
	noise    float64   // deviation, as a share of peak-floor
	mu       float64   // frame of the peak
	hw       float64   // half width at half maximum, frames
	arg      int       // frame of the largest value
	from, to int       // frames around it at half the height and more
	detail   bool      // shows more than noise at its best
	textured bool
}

func (c *curve) interior() bool { return c.arg > 0 && c.arg < len(c.f)-1 }

// curves are the tiles' curves over the frames lo to hi (in the order added).
type curves struct {
	lo, n      int
	tiles      []curve // of the grid; those without data have no f
	detail     int
	textured   int
	interior   int
	hw         float64 // median over textured interior tiles; 0 where there is none
	real       []bool  // the frame has a picture that takes part
	cols, rows int
}

// curves builds the curves from the frames that are not left out.
func (e *evidence) curves(out []bool) *curves {
	var use []int
	for i, f := range e.frames {
		if !out[i] && f.tiles != nil {
			use = append(use, i)
		}
	}
	c := &curves{cols: e.grid.cols, rows: e.grid.rows}
	if len(use) < curveFrames {
		return c
	}
	c.lo = e.frames[use[0]].index
	c.n = e.frames[use[len(use)-1]].index - c.lo + 1
	c.real = make([]bool, c.n)
	gains := make([]float64, len(use))
	for k, i := range use {
		c.real[e.frames[i].index-c.lo] = true
		gains[k] = e.lnGain[i]
	}
	base := median(slices.Clone(gains))
	scale := make([]float64, len(use)) // of energies, to one brightness
	for k := range scale {
		scale[k] = math.Exp(2 * (base - gains[k]))
	}
	c.tiles = make([]curve, c.cols*c.rows)
	raw := make([]float64, c.n)
	for t := range c.tiles {
		if !e.energies(raw, t, c.lo, use, scale) {
			continue
		}
		c.tiles[t].fit(raw, &e.th)
		if c.bridged(&c.tiles[t]) {
			c.tiles[t].textured = false
		}
	}
	c.markTextured()
	c.count()
	return c
}

// energies fills raw with the focus measures of tile t from frame lo on, with
// straight lines where the tile is not seen; it is not ok where that is too often.
func (e *evidence) energies(raw []float64, t, lo int, use []int, scale []float64) (ok bool) {
	seen := 0
	last := -1
	for k, i := range use {
		v := float64(e.frames[i].tiles[t].energy)
		if v < 0 {
			continue
		}
		seen++
		p := e.frames[i].index - lo
		raw[p] = v * scale[k]
		for q := last + 1; q < p; q++ { // between samples, or before the first
			if last < 0 {
				raw[q] = raw[p]
			} else {
				raw[q] = raw[last] + (raw[p]-raw[last])*float64(q-last)/float64(p-last)
			}
		}
		last = p
	}
	if float64(seen) < curveSeen*float64(len(use)) || seen < curveFrames {
		return false
	}
	for q := last + 1; q < len(raw); q++ {
		raw[q] = raw[last]
	}
	return true
}

// count counts the tiles by what their curves show, and takes the median width.
func (c *curves) count() {
	var hws []float64
	for i := range c.tiles {
		t := &c.tiles[i]
		if t.detail {
			c.detail++
		}
		if t.textured {
			c.textured++
			if t.interior() {
				c.interior++
				hws = append(hws, t.hw)
			}
		}
	}
	if len(hws) > 0 {
		c.hw = median(hws)
	}
}

// bridged reports whether the sharp part of a curve lies over, or beside, two and
// more frames in a row that take no part: its width is not known then.
func (c *curves) bridged(t *curve) bool {
	for i := max(0, t.from-1); i <= min(c.n-2, t.to); i++ {
		if !c.real[i] && !c.real[i+1] {
			return true
		}
	}
	return false
}

// fit fills the curve from the raw focus measures.
func (c *curve) fit(raw []float64, th *Thresholds) {
	n := len(raw)
	c.floor, c.peak = raw[0], raw[0]
	for i, v := range raw {
		c.floor = min(c.floor, v)
		if v > c.peak {
			c.peak, c.arg = v, i
		}
	}
	second := math.Inf(1)
	least := -1
	for i, v := range raw {
		if v == c.floor && least < 0 {
			least = i
		} else {
			second = min(second, v)
		}
	}
	c.rise = c.peak / max(second, leastEnergy)
	c.detail = c.peak >= detailEnergy*th.MinEnergy
	height := c.peak - c.floor
	c.f = make([]float32, n)
	if height <= 0 {
		c.noise = 1
		return
	}
	var rough []float64
	middle := median(slices.Clone(raw))
	for i := 1; i+1 < n; i++ {
		if raw[i] <= middle {
			rough = append(rough, math.Abs(raw[i]-(raw[i-1]+raw[i+1])/2))
		}
	}
	sigma := 0.0
	if len(rough) > 0 {
		sigma = consistent * median(rough) / math.Sqrt(1.5)
	}
	c.noise = max(sigma, floorNoise*c.floor) / height
	for i, v := range raw {
		c.f[i] = float32((v - c.floor) / height)
	}
	c.shape()
	// textured, until the neighbours are asked
	c.textured = c.peak >= th.MinEnergy && c.peak >= th.MinRise*c.floor && c.noise <= th.MaxNoise
}

// shape finds the peak and its width: a parabola through ln f over the
// contiguous samples of half the height and more, weighted by f², which is a
// Gaussian fit; for narrow peaks the crossings of half the height.
func (c *curve) shape() {
	n := len(c.f)
	lo, hi := c.arg, c.arg
	for lo > 0 && c.f[lo-1] >= halfHeight {
		lo--
	}
	for hi < n-1 && c.f[hi+1] >= halfHeight {
		hi++
	}
	c.from, c.to = lo, hi
	left, right := math.NaN(), math.NaN()
	if lo > 0 {
		a, b := float64(c.f[lo-1]), float64(c.f[lo])
		left = float64(c.arg) - (float64(lo) - (b-halfHeight)/(b-a))
	}
	if hi < n-1 {
		a, b := float64(c.f[hi]), float64(c.f[hi+1])
		right = float64(hi) + (a-halfHeight)/(a-b) - float64(c.arg)
	}
	switch {
	case !math.IsNaN(left) && !math.IsNaN(right):
		c.hw = (left + right) / 2
		c.mu = float64(c.arg) + (right-left)/2
	case !math.IsNaN(left):
		c.hw, c.mu = left, float64(c.arg)
	case !math.IsNaN(right):
		c.hw, c.mu = right, float64(c.arg)
	default:
		c.hw, c.mu = float64(n), float64(c.arg)
	}
	if hi-lo < 2 || c.arg == 0 || c.arg == n-1 {
		return
	}
	var s [5]float64 // moments of x
	var b [3]float64
	for i := lo; i <= hi; i++ {
		f := float64(c.f[i])
		w, x, y := f*f, float64(i-c.arg), math.Log(f)
		xk := w
		for k := range s {
			s[k] += xk
			if k < 3 {
				b[k] += xk * y
			}
			xk *= x
		}
	}
	// normal equations of y = p + q x + r x², by Cramer's rule
	det := s[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*s[3]-s[2]*s[2])
	q := s[0]*(b[1]*s[4]-s[3]*b[2]) - b[0]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*b[2]-b[1]*s[2])
	r := s[0]*(s[2]*b[2]-b[1]*s[3]) - s[1]*(s[1]*b[2]-b[1]*s[2]) + b[0]*(s[1]*s[3]-s[2]*s[2])
	if det == 0 || r/det >= 0 {
		return
	}
	mu := -q / (2 * r)
	if math.Abs(mu) > fitReach {
		return // the parabola does not describe this peak
	}
	hw := math.Sqrt(2*math.Ln2) * math.Sqrt(-det/(2*r))
	if hw >= fitWidth {
		c.hw, c.mu = hw, float64(c.arg)+mu
	}
}

// markTextured keeps those tiles of which at least two neighbours are sharpest
// at about the same frame: noise is not.
func (c *curves) markTextured() {
	keep := make([]bool, len(c.tiles))
	for i := range c.tiles {
		t := &c.tiles[i]
		if !t.textured {
			continue
		}
		near := 0
		for _, j := range c.neighbours(i) {
			o := &c.tiles[j]
			if o.textured && math.Abs(float64(o.arg-t.arg)) <= max(1, t.hw*likePeak) {
				near++
			}
		}
		keep[i] = near >= likeTiles
	}
	for i := range c.tiles {
		c.tiles[i].textured = keep[i]
	}
}

// neighbours returns the up to eight tiles around tile i.
func (c *curves) neighbours(i int) []int {
	x, y := i%c.cols, i/c.cols
	var out []int
	for v := max(0, y-1); v <= min(c.rows-1, y+1); v++ {
		for u := max(0, x-1); u <= min(c.cols-1, x+1); u++ {
			if u != x || v != y {
				out = append(out, v*c.cols+u)
			}
		}
	}
	return out
}

// cluster returns the largest connected set among the marked tiles.
func (c *curves) cluster(marked []bool) (best []int) {
	for _, set := range c.patches(marked) {
		if len(set) > len(best) {
			best = set
		}
	}
	return best
}

// patches returns the connected sets of the marked tiles.
func (c *curves) patches(marked []bool) (sets [][]int) {
	seen := make([]bool, len(marked))
	for i := range marked {
		if !marked[i] || seen[i] {
			continue
		}
		seen[i] = true
		set := []int{i}
		for k := 0; k < len(set); k++ {
			for _, j := range c.neighbours(set[k]) {
				if marked[j] && !seen[j] {
					seen[j] = true
					set = append(set, j)
				}
			}
		}
		sets = append(sets, set)
	}
	return sets
}

// box returns the box around tiles, in fractions of the picture.
func (g *tileGrid) box(tiles []int) Box {
	if len(tiles) == 0 {
		return Box{}
	}
	b := Box{1, 1, 0, 0}
	w, h := float64(g.width/g.factor), float64(g.height/g.factor)
	size := float64(g.edge) * g.cellPx
	for _, t := range tiles {
		x, y := float64(t%g.cols)*size, float64(t/g.cols)*size
		b.X0, b.Y0 = min(b.X0, x/w), min(b.Y0, y/h)
		b.X1, b.Y1 = max(b.X1, min(1, (x+size)/w)), max(b.Y1, min(1, (y+size)/h))
	}
	return b
}
