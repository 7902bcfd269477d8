package pixels

import (
	"math"
	"slices"
)

// A composite is the small picture of a run with everything in focus: each pixel is
// that of the frame in which its surroundings are sharpest, placed by registration.
type composite struct {
	w, h int
	// peak are the two greatest energies around each pixel, and luma what the frames
	// of these show. least are the two smallest: one dark frame among the others
	// must not count as unsharp.
	luma, peak, least [2][]float32
	// lost means that the last frame could not be placed; broken that others followed
	// it, which are somewhere else.
	lost, broken bool
}

func newComposite(w, h int) *composite {
	c := &composite{w: w, h: h}
	for k := range 2 {
		c.luma[k], c.peak[k], c.least[k] = make([]float32, w*h), make([]float32, w*h), make([]float32, w*h)
		for i := range w * h {
			c.peak[k][i], c.least[k][i] = -1, math.MaxFloat32
		}
	}
	return c
}

// clone returns a composite that goes on by its own.
func (c *composite) clone() *composite {
	if c == nil {
		return nil
	}
	d := *c
	for k := range 2 {
		d.luma[k], d.peak[k], d.least[k] = slices.Clone(c.luma[k]), slices.Clone(c.peak[k]), slices.Clone(c.least[k])
	}
	return &d
}

// take takes in the next frame, which lies at place if it was found.
func (c *composite) take(m *FrameMeasure, place Motion, found bool, g *tileGrid) {
	switch {
	case c == nil:
	case !found:
		c.lost = true
	default:
		c.broken = c.broken || c.lost
		c.add(m, place, g)
	}
}

// back forgets that the last frame could not be placed: the next was, by the one before.
func (c *composite) back() {
	if c != nil {
		c.lost = false
	}
}

// add adds a frame that lies at place.
func (c *composite) add(m *FrameMeasure, place Motion, g *tileGrid) {
	if c.broken {
		return
	}
	px := float64(m.smallPx)
	perCell := px / g.cellPx
	p, q := 1+place.Scale, place.Rotation
	for y := range c.h {
		yc := float64(y) + 0.5 - float64(c.h)/2
		// In small pixels of the new frame, from its middle.
		fx := p*(0.5-float64(c.w)/2) - q*yc + place.ShiftX/px
		fy := q*(0.5-float64(c.w)/2) + p*yc + place.ShiftY/px
		row := func(of []float32) []float32 { return of[y*c.w : (y+1)*c.w] }
		least0, least1, peak0, peak1, luma0, luma1 := row(c.least[0]), row(c.least[1]), row(c.peak[0]), row(c.peak[1]), row(c.luma[0]), row(c.luma[1])
		for x := 0; x < c.w; x, fx, fy = x+1, fx+p, fy+q {
			sx, sy := fx+float64(c.w)/2-0.5, fy+float64(c.h)/2-0.5
			if sx < 0 || sy < 0 || sx > float64(c.w-1) || sy > float64(c.h-1) {
				continue
			}
			e := m.cells.energyAt(fx*perCell+g.centreX-0.5, fy*perCell+g.centreY-0.5)
			if e < least0[x] {
				least0[x], least1[x] = e, least0[x]
			} else if e < least1[x] {
				least1[x] = e
			}
			switch {
			case e > peak0[x]:
				peak0[x], peak1[x] = e, peak0[x]
				luma0[x], luma1[x] = m.small.at(sx, sy), luma0[x]
			case e > peak1[x]:
				peak1[x], luma1[x] = e, m.small.at(sx, sy)
			}
		}
	}
}

// within returns v, or the end of 0 to most that is nearer.
func within(v, most float64) float64 {
	// Unlike min and max, which take longer, this need not know infinities.
	switch {
	case v < 0:
		return 0
	case v > most:
		return most
	}
	return v
}

// energyAt returns the energy at a place between the middles of cells.
func (c *cellMaps) energyAt(x, y float64) float32 {
	x, y = within(x, float64(c.cols-1)), within(y, float64(c.rows-1))
	ix, iy := min(int(x), c.cols-2), min(int(y), c.rows-2)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	a, b := c.energy[iy*c.cols+ix:][:2], c.energy[(iy+1)*c.cols+ix:][:2]
	top := a[0] + fx*(a[1]-a[0])
	return top + fy*(b[0]+fx*(b[1]-b[0])-top)
}

// at returns the value at a place between the middles of pixels, which must lie in
// the picture.
func (p *plane) at(x, y float64) float32 {
	ix, iy := min(int(x), p.w-2), min(int(y), p.h-2)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	a, b := p.pix[iy*p.w+ix:][:2], p.pix[(iy+1)*p.w+ix:][:2]
	top := a[0] + fx*(a[1]-a[0])
	return top + fy*(b[0]+fx*(b[1]-b[0])-top)
}
