package pixels

import (
	"math"
	"slices"
)

// The curtains of a shutter, and the rows of an electronic one, go along the short side
// of the picture: what they leave dark lies along a long edge, and what a pulsing lamp
// does to an exposure lies in lines parallel to it. A line of tiles along the long
// side is therefore compared with the same line of the next frame, in quarters of its
// length: what only some of the quarters show is a thing or a shadow.

// Bands reports darker or brighter bands along the long side of the picture that a
// frame has and its neighbour has not. Bands that all frames share are not seen.
type Bands struct {
	Verdict
	Edges   []EdgeBand
	Ripples []Ripple
}

// An EdgeBand is a dark band along a long edge of the picture, as a curtain of the
// shutter leaves it that covers part of the sensor while a flash burns.
type EdgeBand struct {
	Frame int
	Share float64 // of the picture's short side
	EV    float64 // below the rest of the picture; positive
}

// A Ripple is a change of two neighbours in lines along the long side, up and down in
// turn, as lamps that pulse leave it.
type Ripple struct {
	From, To int
	EV       float64 // from the darkest to the brightest line
}

// bandQuarters is how many parts of a line are compared.
const bandQuarters = 4

// A bandLine is by how many EV the quarters of a line of tiles get brighter from one
// frame to the next; NaN where there is nothing to compare.
type bandLine [bandQuarters]float32

// bandLines compares two frames line by line.
func (g *tileGrid) bandLines(a, b []tile) []bandLine {
	along, across := g.cols, g.rows
	upright := g.height > g.width
	if upright {
		along, across = across, along
	}
	lines := make([]bandLine, across)
	for y := range lines {
		for k := range bandQuarters {
			var before, after, luma float64
			n := 0
			from, to := along*k/bandQuarters, along*(k+1)/bandQuarters
			for x := from; x < to; x++ {
				i := y*g.cols + x
				if upright {
					i = x*g.cols + y
				}
				p, q := a[i], b[i]
				if p.energy < 0 || q.energy < 0 || p.clipped > clippedTile && q.clipped > clippedTile {
					continue
				}
				n++
				before += float64(p.light)
				after += float64(q.light)
				luma += float64(max(p.luma, q.luma))
			}
			lines[y][k] = float32(math.NaN())
			if n > 0 && 2*n >= to-from && luma >= darkTile*float64(n) {
				floor := lightFloor * float64(n)
				lines[y][k] = float32(math.Log2((after + floor) / (before + floor)))
			}
		}
	}
	return lines
}

// common returns the change of a line that its quarters share, and how far the
// quarters lie from it; false where fewer than three can be compared.
func (l bandLine) common() (ev, apart float64, ok bool) {
	var list []float64
	for _, v := range l {
		if !math.IsNaN(float64(v)) {
			list = append(list, float64(v))
		}
	}
	if len(list) < bandQuarters-1 {
		return math.NaN(), math.NaN(), false
	}
	ev = median(list)
	for i, v := range list {
		list[i] = math.Abs(v - ev)
	}
	return ev, median(list), true
}

// askBands asks whether a frame has a band along its long side that the frame before or
// behind has not. A band may keep two pictures from being registered: then they are
// compared as they lie. That the lines beside the band agree in all quarters
// shows that they match. Of waves that is not known, so that they are asked of
// registered pictures only.
func (r *run) askBands() Bands {
	var b Bands
	if r.unlike() {
		b.Verdict = cannot(ReasonUnrelated)
		return b
	}
	dark := map[int]EdgeBand{}
	matched := map[[2]int]bool{}
	for _, l := range r.links {
		from, to := r.ends(l)
		matched[[2]int{from, to}] = l.motion.Converged
	}
	compared := 0
	for i := 1; i < len(r.frames); i++ {
		ev, apart := make([]float64, len(r.frames[i].lines)), make([]float64, len(r.frames[i].lines))
		lines := 0
		for y, line := range r.frames[i].lines {
			var ok bool
			if ev[y], apart[y], ok = line.common(); ok {
				lines++
			}
		}
		if lines < bandLines || 2*lines < len(ev) {
			continue
		}
		compared++
		from, to := r.frames[i-1].index, r.frames[i].index
		if share, depth := edgeBand(ev, apart); depth > 0 {
			keepDeeper(dark, EdgeBand{to, share, depth})
		} else if share, depth := edgeBand(negative(ev), apart); depth > 0 {
			keepDeeper(dark, EdgeBand{from, share, depth})
		} else if depth := ripple(ev, apart); depth > 0 && matched[[2]int{from, to}] {
			b.Ripples = append(b.Ripples, Ripple{from, to, depth})
		}
	}
	for _, band := range dark {
		b.Edges = append(b.Edges, band)
	}
	slices.SortFunc(b.Edges, func(x, y EdgeBand) int { return x.Frame - y.Frame })
	b.Verdict = decided(len(b.Edges)+len(b.Ripples) > 0)
	if b.Answer == Fine && 2*compared < len(r.frames)-1 {
		b.Verdict = cannot(ReasonUnrelated)
	}
	return b
}

func keepDeeper(of map[int]EdgeBand, b EdgeBand) {
	if b.EV > of[b.Frame].EV {
		of[b.Frame] = b
	}
}

func negative(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = -v
	}
	return out
}

// edgeBand returns the share and depth of a dark band that begins at either end of the
// lines; 0 where there is none. Away from the band and the soft edge of the
// curtain the lines must be alike.
func edgeBand(ev, apart []float64) (share, depth float64) {
	for range 2 {
		if s, d := firstLinesDark(ev, apart); d > depth {
			share, depth = s, d
		}
		ev, apart = slices.Clone(ev), slices.Clone(apart)
		slices.Reverse(ev)
		slices.Reverse(apart)
	}
	return share, depth
}

func firstLinesDark(ev, apart []float64) (share, depth float64) {
	n := len(ev)
	base := median(known(ev[n-max(1, int(bandFree*float64(n))):]))
	k := 0
	var band []float64
	for k < n && (math.IsNaN(ev[k]) || ev[k] < base-BandEV/2 && apart[k] < bandAlike*(base-ev[k])) {
		if !math.IsNaN(ev[k]) {
			band = append(band, base-ev[k])
		}
		k++
	}
	if len(band) < bandLeast || float64(k) > (1-bandFree)*float64(n) {
		return 0, 0
	}
	for _, v := range ev[min(n, k+bandSoft):] {
		if math.Abs(v-base) > BandEV/4 {
			return 0, 0
		}
	}
	// The rest is as bright as before: else it is the other part that changed.
	if depth = median(band); depth < BandEV || math.Abs(base) > depth/2 {
		return 0, 0
	}
	return float64(k) / float64(n), depth
}

// ripple returns by how much the lines go up and down beyond a straight slope, EV, if
// they do so in waves that the quarters of the lines share; 0 otherwise.
func ripple(ev, apart []float64) float64 {
	var x, y, off []float64
	for i, v := range ev {
		if !math.IsNaN(v) {
			x, y, off = append(x, float64(i)), append(y, v), append(off, apart[i])
		}
	}
	slope, offset := straight(x, y)
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = y[i] - offset - slope*x[i]
	}
	low, high := percentile(slices.Clone(rest), 0.05), percentile(slices.Clone(rest), 0.95)
	depth := high - low
	if depth < RippleEV || median(slices.Clone(off)) > rippleAlike*depth {
		return 0
	}
	turns, side := 0, 0
	for _, v := range rest {
		switch {
		case v > depth/4 && side <= 0:
			turns, side = turns+1, 1
		case v < -depth/4 && side >= 0:
			turns, side = turns+1, -1
		}
	}
	if turns < rippleTurns {
		return 0
	}
	// The lines that change must agree: those that do not may be most of them, and the
	// others a thing whose edges change as focus passes.
	usual := median(slices.Clone(y))
	var changed []float64
	for i, v := range y {
		if math.Abs(v-usual) > depth/4 {
			changed = append(changed, off[i])
		}
	}
	if median(changed) > rippleAlike*depth {
		return 0
	}
	return depth
}

// straight lays a straight line through points by least squares.
func straight(x, y []float64) (slope, offset float64) {
	var sx, sy, sxx, sxy float64
	for i := range x {
		sx, sy, sxx, sxy = sx+x[i], sy+y[i], sxx+x[i]*x[i], sxy+x[i]*y[i]
	}
	n := float64(len(x))
	slope = (n*sxy - sx*sy) / (n*sxx - sx*sx)
	return slope, (sy - slope*sx) / n
}
