package proof

import (
	"math"
	"slices"
)

// A depth is the frame in which each place is sharpest, as its number among those that were
// merged: between two frames where that is known, -1 where nothing shows it. Around highlights
// it is that of the places around: see [coverage.depth]; along the border that of places within.
type depth struct {
	w, h   int
	frame  []float32
	given  []bool // taken from other places, and not from energies
	coarse []bool // taken from coarse detail, as noise hides fine one
	plain  []bool // shows no fine texture itself
}

const (
	// spotCell is the side of the cells in which clipped pixels are counted, px.
	spotCell = 4 * placeSide
	// clippedFrom is the luma, code values, of a clipped pixel: compression leaves some
	// below 255.
	clippedFrom = 250
	// spotGrows is how many times as many pixels must be clipped around a place in some frame as
	// in the one that the places around are sharp in: a highlight in focus is smallest, and one
	// of 4 px covers half as much again from a blur of 3 px on. A white ground is as
	// large in all frames.
	spotGrows = 1.5
	// spotLarger is from how many times as many pixels on a frame shows a blurred
	// highlight: 4 px and a blur of 2 px.
	spotLarger = 1.2
	// aroundReach is how far the places lie that decide about one beside a highlight,
	// aroundStep how far apart they are, places: twice the widest rims that were seen.
	aroundReach, aroundStep = 14, 2
	// aroundFew is how many decide at least.
	aroundFew = 8
	// fitReach is how far the places lie through which a plane is laid, fitWithin how many
	// frames they may lie beside their median, and fitFlat the weight of its slope being zero.
	fitReach, fitWithin, fitFlat = 8, 3, 0.05
)

// spots counts clipped pixels in cells of the merged picture, frame by frame.
type spots struct {
	w, h   int // cells
	frames [][]uint8
	own    []uint8 // scratch: the frame's own cells
}

func newSpots(w, h int) *spots {
	return &spots{w: (w + spotCell - 1) / spotCell, h: (h + spotCell - 1) / spotCell}
}

// add counts the clipped pixels of a frame. A cell gets those of the cell of the frame that
// its middle lies in.
func (s *spots) add(from *source, at affine) {
	fw, fh := (from.w+spotCell-1)/spotCell, (from.h+spotCell-1)/spotCell
	if len(s.own) < fw*fh {
		s.own = make([]uint8, fw*fh)
	}
	own := s.own[:fw*fh]
	clear(own)
	for y := range from.h {
		cells := own[y/spotCell*fw:][:fw]
		row := from.luma[y*from.stride:][:from.w]
		for c := range cells {
			n := cells[c]
			for _, v := range row[c*spotCell : min((c+1)*spotCell, from.w)] {
				if v >= clippedFrom && n < math.MaxUint8 {
					n++
				}
			}
			cells[c] = n
		}
	}
	out := make([]uint8, s.w*s.h)
	for y := range s.h {
		for x := range s.w {
			u, v := at.of((float64(x)+0.5)*spotCell, (float64(y)+0.5)*spotCell)
			cx, cy := int(math.Floor(u/spotCell)), int(math.Floor(v/spotCell))
			if cx >= 0 && cy >= 0 && cx < fw && cy < fh {
				out[y*s.w+x] = own[cy*fw+cx]
			}
		}
	}
	s.frames = append(s.frames, out)
}

// around returns how many pixels are clipped in frame n in a cell and those that touch it.
func (s *spots) around(n, x, y int) int {
	sum := 0
	for v := max(0, y-1); v <= min(s.h-1, y+1); v++ {
		for u := max(0, x-1); u <= min(s.w-1, x+1); u++ {
			sum += int(s.frames[n][v*s.w+u])
		}
	}
	return sum
}

// least is around for frame n and the two beside it, whichever has least.
func (s *spots) least(n, x, y int) int {
	least := math.MaxInt
	for k := max(0, n-1); k <= min(len(s.frames)-1, n+1); k++ {
		least = min(least, s.around(k, x, y))
	}
	return least
}

// most returns for each cell how many pixels are clipped around it in the frame with most.
func (s *spots) most() []int {
	out := make([]int, s.w*s.h)
	for i := range out {
		for n := range s.frames {
			out[i] = max(out[i], s.around(n, i%s.w, i/s.w))
		}
	}
	return out
}

// depth returns the frame in which each place is sharpest. A highlight that is not in focus is
// a disk with an edge as sharp as anything in focus, so that around one the greatest energy
// is in frames in which that edge passes. There the places around decide that no highlight
// reaches: wherever a highlight is in focus when they are, which shows in that it is smaller
// then than in the frame with the greatest energy. A bright hair in front of a ground stays, as
// where the ground is sharp the hair is not at its smallest.
//
// Where noise hides fine texture, coarse detail decides for the merged picture: to within some
// frames, which is too rough for the map.
func (c *coverage) depth() *depth {
	n := c.w * c.h
	known := medians(c.fine.known(), c.w)
	d := &depth{w: c.w, h: c.h, frame: make([]float32, n), given: make([]bool, n), coarse: make([]bool, n), plain: make([]bool, n)}
	for i, k := range known {
		d.frame[i], d.plain[i] = float32(k), k < 0
	}
	for i, k := range medians(c.broad.known(), c.w) {
		if d.plain[i] && k >= 0 {
			d.frame[i], d.coarse[i] = float32(k), true
		}
	}
	for i, k := range c.fromWithin(known) {
		d.frame[i], d.plain[i], d.given[i] = float32(k), false, true
	}
	most := c.spots.most()
	reached := make([]bool, n)
	for i := range reached {
		reached[i] = most[c.cell(i)] > 0
	}
	for i, is := range reached {
		if is {
			d.givenAround(c, i, known, reached, most)
		}
	}
	return d
}

// fromWithin returns the frame of places along the border that seem plain and that not all
// frames cover, as those in which focus is elsewhere show a little more or less: the frames in
// which they are sharp may not show them. The next place that all cover decides.
func (c *coverage) fromWithin(known []int16) map[int]int16 {
	out := map[int]int16{}
	all := int16(len(c.order))
	from := make([]int, len(known)) // the place that decides, and one more; 0 where none was found yet
	var next []int
	for i, n := range c.seen {
		if n == all {
			from[i] = i + 1
			next = append(next, i)
		}
	}
	for len(next) > 0 {
		i := next[0]
		next = next[1:]
		x, y := i%c.w, i/c.w
		for _, to := range [...]struct{ x, y int }{{x - 1, y}, {x + 1, y}, {x, y - 1}, {x, y + 1}} {
			k := to.y*c.w + to.x
			if to.x < 0 || to.y < 0 || to.x >= c.w || to.y >= c.h || from[k] != 0 {
				continue
			}
			from[k] = from[i]
			next = append(next, k)
			if own := known[from[i]-1]; known[k] < 0 && own >= 0 {
				out[k] = own
			}
		}
	}
	return out
}

// cell returns the cell of the spots that a place lies in.
func (c *coverage) cell(i int) int {
	const places = spotCell / placeSide
	return i/c.w/places*c.spots.w + i%c.w/places
}

// givenAround takes the frame of a place that a highlight reaches from the places around.
func (d *depth) givenAround(c *coverage, i int, known []int16, reached []bool, most []int) {
	middle := d.median(i, known, reached)
	if middle < 0 {
		return
	}
	cell := c.cell(i)
	x, y := cell%c.spots.w, cell/c.spots.w
	focused := c.spots.least(int(middle), x, y)
	if focused == 0 || float64(most[cell]) < spotGrows*float64(focused) {
		return
	}
	if own := known[i]; own >= 0 && max(own-middle, middle-own) > fitWithin {
		if now := c.spots.around(int(own), x, y); now > 0 && float64(now) < spotLarger*float64(focused) {
			return
		}
	}
	d.frame[i], d.given[i] = d.plane(i, middle, known, reached), true
}

// median returns the median of the known frames around a place: of the places that no
// highlight reaches or, where there are too few, of all; -1 of too few.
func (d *depth) median(i int, known []int16, reached []bool) int16 {
	var free, all []int16
	d.around(i, aroundReach, aroundStep, func(k, _, _ int) {
		if known[k] < 0 {
			return
		}
		all = append(all, known[k])
		if !reached[k] {
			free = append(free, known[k])
		}
	})
	if len(free) >= aroundFew {
		all = free
	}
	if len(all) < aroundFew {
		return -1
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// around calls do for the places within reach of a place, each with its distance.
func (d *depth) around(i, reach, step int, do func(k, dx, dy int)) {
	x, y := i%d.w, i/d.w
	for dy := -reach; dy <= reach; dy += step {
		for dx := -reach; dx <= reach; dx += step {
			if u, v := x+dx, y+dy; dx*dx+dy*dy <= reach*reach && u >= 0 && v >= 0 && u < d.w && v < d.h {
				do(v*d.w+u, dx, dy)
			}
		}
	}
}

// plane returns what a plane through the places around has at a place, of those whose frame
// is near the median.
func (d *depth) plane(i int, middle int16, known []int16, reached []bool) float32 {
	var free, all planeFit
	d.around(i, fitReach, 1, func(k, dx, dy int) {
		z := known[k]
		if z < 0 || z < middle-fitWithin || z > middle+fitWithin {
			return
		}
		all.add(float64(dx), float64(dy), float64(z))
		if !reached[k] {
			free.add(float64(dx), float64(dy), float64(z))
		}
	})
	if free[0][0] >= aroundFew {
		all = free
	}
	at := float64(middle)
	if v, ok := all.solve(); ok && all[0][0] >= aroundFew {
		at = min(max(v, at-fitWithin), at+fitWithin)
	}
	return float32(max(0, at))
}

// planeFit are the normal equations of a plane: its height at the place, and its slopes.
type planeFit [3][4]float64

func (p *planeFit) add(x, y, z float64) {
	row := [4]float64{1, x, y, z}
	for a := range 3 {
		for b := range row {
			p[a][b] += row[a] * row[b]
		}
	}
}

func (p planeFit) solve() (at float64, ok bool) {
	flat := fitFlat * p[0][0] * fitReach * fitReach
	p[1][1] += flat
	p[2][2] += flat
	rows := [][]float64{p[0][:], p[1][:], p[2][:]}
	v, ok := solved(rows)
	if !ok {
		return 0, false
	}
	return v[0], true
}

// solved solves symmetric positive equations, each with its right side last, by Gauss's
// elimination. They are not solved where they leave an unknown open.
func solved(rows [][]float64) (out []float64, ok bool) {
	n := len(rows)
	for i := range n {
		if !(rows[i][i] > 1e-9) {
			return nil, false
		}
		for j := i + 1; j < n; j++ {
			f := rows[j][i] / rows[i][i]
			for k := i; k <= n; k++ {
				rows[j][k] -= f * rows[i][k]
			}
		}
	}
	out = make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		v := rows[i][n]
		for k := i + 1; k < n; k++ {
			v -= rows[i][k] * out[k]
		}
		out[i] = v / rows[i][i]
	}
	return out, true
}
