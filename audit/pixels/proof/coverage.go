package proof

// placeSide is the side of a place of the coverage map, px.
const placeSide = 4

// middleOfPlace is where the middle of the first place lies, px.
const middleOfPlace = (placeSide - 1) / 2.0

// halfPlace is how far the middle of a place may lie beside a frame: of such a place the frame
// shows half.
const halfPlace = 0.5

// coverage follows the detail of each place through the frames, at two scales: fine detail
// shows the frame best, coarse detail also shows in noise and far out of focus.
type coverage struct {
	w, h       int // places
	fine       *track
	broad      *track
	gaps       []Gap
	highlights highlights
	order      []int   // frames added
	seen       []int16 // how many frames cover each place

	sum, grey plane // of the frame that is added, in its own geometry
	luma      plane // grey where the places of the merged picture lie
	tmp       []float32
}

// A track follows one kind of energy.
type track struct {
	w, h   int
	noise  *noise
	best   plane         // greatest energy
	least  plane         // smallest
	luma   plane         // of the place, in its sharpest frame
	at     []int16       // the sharpest frame among those added, -1 where none covers the place
	around map[int]plane // energies in frames beside gaps
	near   *nearby       // energies in frames around the sharpest; nil where they are not needed

	boxed plane
	now   []float32
}

const (
	// mostGaps bounds the memory: of each gap eight planes are kept.
	mostGaps = 4
	// besideGap is how many more frames take part on either side of a gap, beyond the frame
	// next to it.
	besideGap = 3
)

func newCoverage(w, h int, gaps []Gap) *coverage {
	c := &coverage{w: half(w) / 2, h: half(h) / 2, gaps: gaps[:min(len(gaps), mostGaps)]}
	beside := map[int]plane{}
	for _, g := range c.gaps {
		for i := g.From - besideGap; i <= g.To+besideGap; i++ {
			beside[i] = plane{}
		}
	}
	c.fine, c.broad = newTrack(c.w, c.h, beside), newTrack(c.w, c.h, nil)
	c.fine.near = newNearby(c.w * c.h)
	c.sum, c.grey, c.luma = newPlane(c.w, c.h), newPlane(c.w, c.h), newPlane(c.w, c.h)
	c.seen = make([]int16, c.w*c.h)
	c.tmp = make([]float32, w+2)
	return c
}

func newTrack(w, h int, beside map[int]plane) *track {
	t := &track{w: w, h: h, noise: new(noise), around: map[int]plane{}}
	for _, p := range []*plane{&t.best, &t.least, &t.luma, &t.boxed} {
		*p = newPlane(w, h)
	}
	t.at = make([]int16, w*h)
	for i := range t.at {
		t.at[i] = -1
	}
	for i := range beside {
		t.around[i] = plane{}
	}
	t.now = make([]float32, w)
	return t
}

// add takes in a frame.
func (c *coverage) add(frame int, s *source, d *detail, at affine) {
	n := int16(len(c.order))
	c.highlights.add(n, s, at)
	c.order = append(c.order, frame)
	g := at.grid(placeSide, 1)
	for y := range c.h {
		a, b := d.first.row(2*y), d.first.row(2*y+1)
		e, f := d.second.row(2*y), d.second.row(2*y+1)
		out, grey := c.sum.row(y), c.grey.row(y)
		half := d.half[2*y*d.w : (2*y+1)*d.w]
		for x := range out {
			i := 2 * x
			out[x] = a[i] + a[i+1] + b[i] + b[i+1] + e[i] + e[i+1] + f[i] + f[i+1]
			grey[x] = float32(half[i]) * (1.0 / (1 << fixedBits))
		}
	}
	for y := range c.h {
		if x0, x1 := g.covered(y, c.w, c.w, c.h, halfPlace); x0 < x1 {
			bilinear(c.luma.row(y), &c.grey, g, y, x0, x1)
			for x := x0; x < x1; x++ {
				c.seen[y*c.w+x]++
			}
		}
	}
	c.fine.add(frame, n, c.sum, c.grey, c.luma, g, c.tmp)
	for y := range c.h {
		e, f := d.second.row(2*y), d.second.row(2*y+1)
		third := d.third.row(y)
		out := c.sum.row(y)
		for x := range out {
			i := 2 * x
			out[x] = e[i] + e[i+1] + f[i] + f[i+1] + broadShare*third[x]
		}
	}
	c.broad.add(frame, n, c.sum, c.grey, c.luma, g, c.tmp)
}

// broadShare is how much a square of band 2 counts beside four of band 1.
const broadShare = 8

// add takes in the energies of places of a frame, the n-th one, summed over 3 x 3 places. Grey
// is the luma of its places, luma that of the places of the merged picture.
func (t *track) add(frame int, n int16, sum, grey, luma plane, g affine, tmp []float32) {
	box3(t.boxed, sum, tmp)
	for i := range t.boxed.pix {
		t.boxed.pix[i] *= 1.0 / 36
	}
	t.noise.add(t.boxed, grey)
	_, beside := t.around[frame]
	if beside {
		t.around[frame] = newPlane(t.w, t.h)
	}
	for y := range t.h {
		x0, x1 := g.covered(y, t.w, t.w, t.h, halfPlace)
		clear(t.now[:x0])
		clear(t.now[x1:])
		if x0 < x1 {
			bilinear(t.now, &t.boxed, g, y, x0, x1)
			t.follow(y, x0, x1, n, luma.row(y))
		}
		if beside {
			p := t.around[frame]
			copy(p.row(y), t.now)
		}
		if t.near != nil {
			t.near.add(n, y*t.w, t.now, t.at[y*t.w:])
		}
	}
}

// follow compares a row of the frame with what was best so far.
func (t *track) follow(y, x0, x1 int, n int16, own []float32) {
	best, least, luma, index := t.best.row(y), t.least.row(y), t.luma.row(y), t.at[y*t.w:(y+1)*t.w]
	for x := x0; x < x1; x++ {
		e := t.now[x]
		if index[x] < 0 || e < least[x] {
			least[x] = e
		}
		if index[x] < 0 || e > best[x] {
			best[x], index[x], luma[x] = e, n, own[x]
		}
	}
}

// known returns the sharpest frame of each place as the energies show it, -1 where they do not
// rise above noise.
func (t *track) known() []int16 {
	out := make([]int16, len(t.at))
	levels := t.noise.levels()
	for i, k := range t.at {
		if out[i] = -1; t.best.pix[i] >= plainTimes*levels[lumaBin(t.luma.pix[i])] {
			out[i] = k
		}
	}
	return out
}
