package pixels

import "slices"

// Lights reports on light that leaves no texture: the share of the textured area that is
// clipped at the upper end of the scale. The edge of a white background does not count. A
// highlight that grows as it goes out of focus counts by its smaller discs, and one frame
// with less light, as without its flash, does not hide what the others clip: of each tile
// the lower quartile of the frames counts. Found means that something is clipped; the rule
// decides how much is too much.
type Lights struct {
	Verdict
	// Share is the share of the textured area that is clipped, 0 to 1.
	Share float64
	// Box is around the largest connected patch of tiles that are clipped by half as much as
	// the worst tile, or more; Frame is the frame with most detail there.
	Box   Box
	Frame int
}

// askLights asks how much of the textured area is clipped throughout the run.
func (e *evidence) askLights() Lights {
	switch {
	case e.long:
		return Lights{Verdict: cannot(ReasonLong)}
	case e.mostlyApart():
		return Lights{Verdict: cannot(ReasonUnrelated)}
	case e.views.Answer == Found:
		return Lights{Verdict: cannot(ReasonViews)}
	}
	high := e.clippedThroughout()
	if slices.Max(high) == 0 {
		return Lights{Verdict: decided(false)}
	}
	area := e.texturedArea(lightsClipped)
	c := &curves{cols: e.grid.cols, rows: e.grid.rows}
	for i, in := range slices.Clone(area.tiles) {
		if !in && float64(high[i]) >= 255*lightsWhite {
			for _, o := range c.neighbours(i) {
				area.tiles[o] = false
			}
		}
	}
	n, sum, worst := 0, 0, uint8(0)
	for i, in := range area.tiles {
		if in {
			n++
			sum += int(high[i])
			worst = max(worst, high[i])
		}
	}
	if float64(n) < rangeShare*float64(len(area.tiles)) {
		return Lights{Verdict: cannot(ReasonTexture)}
	}
	l := Lights{Verdict: decided(worst > 0), Share: float64(sum) / 255 / float64(n)}
	if worst > 0 {
		marked := make([]bool, len(area.tiles))
		for i, in := range area.tiles {
			marked[i] = in && 2*int(high[i]) >= int(worst)
		}
		patch := c.cluster(marked)
		l.Box, l.Frame = e.grid.box(patch), e.mostDetail(c, patch)
	}
	return l
}

// clippedThroughout returns how much of each tile is clipped at the upper end of the
// scale, 255ths: the lower quartile of the frames.
func (e *evidence) clippedThroughout() []uint8 {
	high := make([]uint8, e.grid.cols*e.grid.rows)
	var values []uint8
	for i := range high {
		values = values[:0]
		without := 0
		for k, f := range e.frames {
			if t := f.tiles[i]; t.energy >= 0 && !e.outside[k] {
				values = append(values, t.high)
				if t.high == 0 {
					without++
				}
			}
		}
		if at := len(values) / 4; without <= at && len(values) > 0 { // else it is 0: most tiles
			slices.Sort(values)
			high[i] = values[at]
		}
	}
	return high
}

// mostDetail returns the frame in which tiles and those beside them have most detail.
func (e *evidence) mostDetail(c *curves, patch []int) int {
	best, at := -1.0, 0
	for k, f := range e.frames {
		if e.outside[k] {
			continue
		}
		sum := 0.0
		for _, i := range patch {
			for _, o := range c.neighbours(i) {
				sum += max(0, float64(f.tiles[o].energy))
			}
		}
		if sum > best {
			best, at = sum, f.index
		}
	}
	return at
}
