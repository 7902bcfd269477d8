package proof

import (
	"slices"
)

// A depth is the frame in which each place is sharpest, as its number among those that were
// merged: between two frames where that is known, -1 where nothing shows it. Near highlights
// it is theirs or that of the places around: see [coverage.depth]; along the border that of
// places within.
type depth struct {
	w, h   int
	frame  []float32
	given  []bool // taken from other places, and not from energies
	coarse []bool // taken from coarse detail, as noise hides fine one
	plain  []bool // shows no fine texture itself
}

const (
	// rimReach is how far from the edge of a highlight's disk places get energy from it, px: one
	// place beside theirs, and the filters.
	rimReach = 8
	// agreeing is by how many frames the places around may be sharpest in others than a highlight
	// is to lie on the same ground: a disk has then hardly grown.
	agreeing = 3
	// aroundReach is how far the places lie that decide about one beside a highlight,
	// aroundStep how far apart they are, places: twice the widest rims that were seen.
	aroundReach, aroundStep = 14, 2
	// aroundFew is how many decide at least.
	aroundFew = 8
	// fitReach is how far the places lie through which a plane is laid, fitWithin how many
	// frames they may lie beside their median, and fitFlat the weight of its slope being zero.
	fitReach, fitWithin, fitFlat = 8, 3, 0.05
)

// depth returns the frame in which each place is sharpest. Near a highlight the greatest
// energy is in frames in which the edge of its disk passes. There the places around decide that
// it does not reach, and the highlight itself where they would show it larger.
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
	by := c.hidden(d)
	for i, l := range by {
		if l != nil {
			d.givenNear(i, l, known, by)
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

// hidden returns for each place the highlight, the nearest one, that hides in which frame the
// place is sharpest: that covers it in the frame with the greatest energy, or has its edge there.
func (c *coverage) hidden(d *depth) []*highlight {
	by := make([]*highlight, c.w*c.h)
	end := float32(len(c.order) - 1)
	for k := range c.highlights.list {
		l := &c.highlights.list[k]
		if !l.blurs() {
			continue
		}
		reach := max(l.reach, l.at(0), l.at(end)) + rimReach
		for y := max(0, int((l.y-reach)/placeSide)); y <= min(c.h-1, int((l.y+reach)/placeSide)); y++ {
			for x := max(0, int((l.x-reach)/placeSide)); x <= min(c.w-1, int((l.x+reach)/placeSide)); x++ {
				i, far := y*c.w+x, l.from(x, y)
				if far > reach || by[i] != nil && by[i].from(x, y) <= far {
					continue
				}
				if c.hides(l, d.frame[i], i, far) {
					by[i] = l
				}
			}
		}
	}
	return by
}

// hides reports whether a highlight, far px away, hides in which frame a place is sharpest:
// whether its disk lies on the place in the frame that energies show, or ends beside it. Where
// the place is not bright well inside the disk, something lies before that.
func (c *coverage) hides(l *highlight, frame float32, place int, far float64) bool {
	if frame < 0 {
		return true
	}
	edge := l.at(frame)
	before := far >= l.radius && far < edge-rimReach && c.fine.luma.pix[place] < brightFrom
	return far < edge+rimReach && !before
}

// givenNear takes the frame of a place near a highlight from the places around, or from the
// highlight: in that of the places around its disk may cover the place.
func (d *depth) givenNear(i int, l *highlight, known []int16, by []*highlight) {
	far := l.from(i%d.w, i/d.w)
	z := l.focus()
	if far >= l.radius || !l.round {
		ground, ok := d.ground(i, known, by)
		switch {
		case ok && (max(ground-z, z-ground) <= agreeing || l.at(ground)+rimReach < far):
			z = ground
		case !l.round:
			return
		}
	}
	d.frame[i], d.plain[i], d.coarse[i], d.given[i] = z, false, false, true
}

// ground returns the frame that the places around a place show for it; it is not known
// where there are too few.
func (d *depth) ground(i int, known []int16, by []*highlight) (frame float32, ok bool) {
	middle := d.median(i, known, by)
	if middle < 0 {
		return 0, false
	}
	return d.plane(i, middle, known, by), true
}

// median returns the median of the known frames around a place: of the places that no
// highlight reaches or, where there are too few, of all; -1 of too few.
func (d *depth) median(i int, known []int16, by []*highlight) int16 {
	var free, all []int16
	d.around(i, aroundReach, aroundStep, func(k, _, _ int) {
		if known[k] < 0 {
			return
		}
		all = append(all, known[k])
		if by[k] == nil {
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
func (d *depth) plane(i int, middle int16, known []int16, by []*highlight) float32 {
	var free, all planeFit
	d.around(i, fitReach, 1, func(k, dx, dy int) {
		z := known[k]
		if z < 0 || z < middle-fitWithin || z > middle+fitWithin {
			return
		}
		all.add(float64(dx), float64(dy), float64(z))
		if by[k] == nil {
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
