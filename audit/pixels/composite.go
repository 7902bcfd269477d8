package pixels

import (
	"math"
	"slices"
)

// A composite is the small picture of a run with everything in focus: each pixel is
// that of the frame in which its surroundings are sharpest, placed by registration.
type composite struct {
	w, h int
	pix  []compositePixel
	// lost means that the last frame could not be placed; broken that others followed
	// it, which are somewhere else.
	lost, broken bool
}

// A compositePixel has the two greatest energies around it, peak, and in luma what the
// frames of these show. Least are the two smallest: one dark frame among the others
// must not count as unsharp. A run that may grow keeps several composites.
type compositePixel struct {
	luma        [2]uint16 // code values / 256
	peak, least [2]energy16
}

// An energy16 is an energy in code values², to within one part in 2,048: the upper bits of
// the float32, counted from the smallest that matters. No frame has noEnergy.
type energy16 uint16

const (
	energyFrom  = 0x3b800000 // 1/256 as a float32: less is under riseFloor
	energyShift = 12

	noEnergy   energy16 = 0
	fullEnergy energy16 = math.MaxUint16
)

func energy16Of(e float32) energy16 {
	return energy16(max(1<<energyShift, int32(math.Float32bits(e))-energyFrom) >> energyShift)
}

func (e energy16) value() float64 {
	return float64(math.Float32frombits(uint32(e)<<energyShift + energyFrom))
}

func newComposite(w, h int) *composite {
	c := &composite{w: w, h: h, pix: make([]compositePixel, w*h)}
	for i := range c.pix {
		c.pix[i].least = [2]energy16{fullEnergy, fullEnergy}
	}
	return c
}

// clone returns a composite that goes on by its own.
func (c *composite) clone() *composite {
	if c == nil {
		return nil
	}
	d := *c
	d.pix = slices.Clone(c.pix)
	return &d
}

// plane returns the picture, from the sharpest frames or the next sharpest.
func (c *composite) plane(of int) plane {
	p := plane{c.w, c.h, make([]float32, len(c.pix))}
	for i := range c.pix {
		p.pix[i] = float32(c.pix[i].luma[of]) / 256
	}
	return p
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
	halfW, halfH := float64(c.w)/2, float64(c.h)/2
	right, bottom := float64(c.w-1), float64(c.h-1)
	cells := &m.cells
	for y := range c.h {
		yc := float64(y) + 0.5 - halfH
		// In small pixels of the new frame, from its middle.
		fx := p*(0.5-halfW) - q*yc + place.ShiftX/px
		fy := q*(0.5-halfW) + p*yc + place.ShiftY/px
		row := c.pix[y*c.w : (y+1)*c.w]
		for x := range row {
			sx, sy := fx+halfW-0.5, fy+halfH-0.5
			cx, cy := fx*perCell+g.centreX-0.5, fy*perCell+g.centreY-0.5
			fx, fy = fx+p, fy+q
			if sx < 0 || sy < 0 || sx > right || sy > bottom {
				continue
			}
			row[x].take(energy16Of(cells.energyAt(cx, cy)), &m.small, sx, sy)
		}
	}
}

// take takes in an energy, and where it is one of the greatest, what the picture shows.
func (o *compositePixel) take(e energy16, small *plane, sx, sy float64) {
	if e < o.least[0] {
		o.least[0], o.least[1] = e, o.least[0]
	} else if e < o.least[1] {
		o.least[1] = e
	}
	switch {
	case e > o.peak[0]:
		o.peak[0], o.peak[1] = e, o.peak[0]
		o.luma[0], o.luma[1] = small.held(sx, sy), o.luma[0]
	case e > o.peak[1]:
		o.peak[1], o.luma[1] = e, small.held(sx, sy)
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
	ix, iy := int(x), int(y)
	if x < 0 || y < 0 || ix > c.cols-2 || iy > c.rows-2 { // at the border
		x, y = within(x, float64(c.cols-1)), within(y, float64(c.rows-1))
		ix, iy = min(int(x), c.cols-2), min(int(y), c.rows-2)
	}
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	i, j := iy*c.cols+ix, (iy+1)*c.cols+ix
	a, b := c.energy[i:i+2:i+2], c.energy[j:j+2:j+2]
	top := a[0] + fx*(a[1]-a[0])
	return top + fy*(b[0]+fx*(b[1]-b[0])-top)
}

// at returns the value at a place between the middles of pixels, which must lie in
// the picture.
func (p *plane) at(x, y float64) float32 {
	ix, iy := min(int(x), p.w-2), min(int(y), p.h-2)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	i, j := iy*p.w+ix, (iy+1)*p.w+ix
	a, b := p.pix[i:i+2:i+2], p.pix[j:j+2:j+2]
	top := a[0] + fx*(a[1]-a[0])
	return top + fy*(b[0]+fx*(b[1]-b[0])-top)
}

// held is at as a composite holds it.
func (p *plane) held(x, y float64) uint16 { return uint16(p.at(x, y)*256 + 0.5) }
