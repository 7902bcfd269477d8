package proof

// placeSide is the side of a place of the coverage map, px.
const placeSide = 4

// coverage follows the energy of each place through the frames.
type coverage struct {
	w, h   int // places
	gaps   []Gap
	best   plane // greatest energy
	before plane // in the frame before that
	after  plane // and behind it
	last   plane // in the last frame added
	luma   plane // of the place, in its sharpest frame
	at     []int16
	seen   []int16 // the last frame added that covers it, -1 where none does
	order  []int
	around map[int]plane // energy in frames beside gaps
	noise  *noise
	sum    plane // scratch: energy of a frame, in its own geometry
	boxed  plane
	grey   plane
	now    []float32
	nowY   []float32
	tmp    []float32
}

func newCoverage(w, h int, gaps []Gap) *coverage {
	pw, ph := half(w)/2, half(h)/2
	c := &coverage{w: pw, h: ph, noise: new(noise), around: map[int]plane{}}
	for _, p := range []*plane{&c.best, &c.before, &c.after, &c.last, &c.luma, &c.sum, &c.boxed, &c.grey} {
		*p = newPlane(pw, ph)
	}
	c.at, c.seen = make([]int16, pw*ph), make([]int16, pw*ph)
	for i := range c.at {
		c.at[i], c.seen[i] = -1, -1
	}
	c.now, c.nowY, c.tmp = make([]float32, pw), make([]float32, pw), make([]float32, w+2)
	c.gaps = gaps
	if len(c.gaps) > mostGaps {
		c.gaps = c.gaps[:mostGaps]
	}
	for _, g := range c.gaps {
		for _, i := range [...]int{g.From - 1, g.From, g.To, g.To + 1} {
			c.around[i] = plane{}
		}
	}
	return c
}

// mostGaps bounds the memory: four planes for each.
const mostGaps = 4

// add takes in a frame. The energy of a place is the sum of bands 0 and 1 over 6 x 6
// pixels of level 1.
func (c *coverage) add(frame int, d *detail, at affine) {
	for y := range c.h {
		a, b := d.first.row(2*y), d.first.row(2*y+1)
		e, f := d.second.row(2*y), d.second.row(2*y+1)
		out, grey := c.sum.row(y), c.grey.row(y)
		half := d.half[2*y*d.w : (2*y+1)*d.w]
		for x := range out {
			i := 2 * x
			out[x] = (a[i] + a[i+1] + b[i] + b[i+1] + e[i] + e[i+1] + f[i] + f[i+1]) * (1.0 / 36)
			grey[x] = float32(half[i]) * (1.0 / (1 << fixedBits))
		}
	}
	box3(c.boxed, c.sum, c.tmp)
	c.noise.add(c.boxed, c.grey)
	c.order = append(c.order, frame)
	n := int16(len(c.order) - 1)
	_, kept := c.around[frame]
	if kept {
		c.around[frame] = newPlane(c.w, c.h)
	}
	g := at.grid(placeSide, 1)
	for y := range c.h {
		x0, x1 := g.covered(y, c.w, c.w, c.h)
		if x0 >= x1 {
			continue
		}
		bilinear(c.now, &c.boxed, g, y, x0, x1)
		bilinear(c.nowY, &c.grey, g, y, x0, x1)
		if kept {
			p := c.around[frame]
			copy(p.row(y)[x0:x1], c.now[x0:x1])
		}
		best, before, after, last, luma := c.best.row(y), c.before.row(y), c.after.row(y), c.last.row(y), c.luma.row(y)
		index, seen := c.at[y*c.w:(y+1)*c.w], c.seen[y*c.w:(y+1)*c.w]
		for x := x0; x < x1; x++ {
			e := c.now[x]
			switch {
			case e > best[x] || index[x] < 0:
				best[x], before[x], after[x] = e, 0, 0
				if seen[x] == n-1 {
					before[x] = last[x]
				}
				index[x], luma[x] = n, c.nowY[x]
			case index[x] == n-1:
				after[x] = e
			}
			last[x], seen[x] = e, n
		}
	}
}
