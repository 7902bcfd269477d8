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
	// White is the share of the whole picture that is clipped, 0 to 1, whatever the answer: where
	// all is white, no texture is left to take a share of.
	White float64
	// Box is around the largest connected patch of tiles that are clipped by half as much as
	// the worst tile, or more; Frame is the frame with most detail there.
	Box   Box
	Frame int
}

// UsualLights returns which share others usually have clipped: their median. Of two others one
// that has more clipped than ordinary pictures show does not count, as it may be at fault
// itself. It is 0 for none.
func UsualLights(others []float64) float64 {
	if len(others) == 0 {
		return 0
	}
	o := slices.Sorted(slices.Values(others))
	if len(o) == 2 && o[1] > lightsOrdinary {
		return o[0]
	}
	return (o[(len(o)-1)/2] + o[len(o)/2]) / 2
}

// askLights asks how much of the textured area is clipped throughout the run.
func (e *evidence) askLights() Lights {
	if e.long {
		return Lights{Verdict: cannot(ReasonLong)}
	}
	// White pictures do not show that they belong together.
	high := e.clippedThroughout(e.dark)
	all := make([]bool, len(high))
	for i := range all {
		all[i] = true
	}
	l := e.clippedIn(all, high)
	l.White, l.Share = l.Share, 0
	switch {
	case e.mostlyApart():
		l.Verdict = cannot(ReasonUnrelated)
		return l
	case e.views.Answer == Found:
		l.Verdict = cannot(ReasonViews)
		return l
	}
	high = e.clippedThroughout(e.outside)
	if slices.Max(high) == 0 {
		return Lights{Verdict: decided(false), White: l.White}
	}
	area := e.texturedArea(lightsClipped)
	c := &curves{cols: e.grid.cols, rows: e.grid.rows}
	n := 0
	for i, in := range slices.Clone(area.tiles) {
		if !in && float64(high[i]) >= 255*lightsWhite {
			for _, o := range c.neighbours(i) {
				area.tiles[o] = false
			}
		}
	}
	for _, in := range area.tiles {
		if in {
			n++
		}
	}
	if float64(n) < rangeShare*float64(len(area.tiles)) {
		l.Verdict = cannot(ReasonTexture)
		return l
	}
	in := e.clippedIn(area.tiles, high)
	in.Verdict, in.White = decided(in.Share > 0), l.White
	return in
}

// clippedIn returns which share of an area is clipped, and where, by how much of each tile is.
func (e *evidence) clippedIn(area []bool, high []uint8) (l Lights) {
	n, sum, worst := 0, 0, uint8(0)
	for i, in := range area {
		if in {
			n++
			sum += int(high[i])
			worst = max(worst, high[i])
		}
	}
	if worst == 0 {
		return l
	}
	l.Share = float64(sum) / 255 / float64(n)
	marked := make([]bool, len(area))
	for i, in := range area {
		marked[i] = in && 2*int(high[i]) >= int(worst)
	}
	c := &curves{cols: e.grid.cols, rows: e.grid.rows}
	patch := c.cluster(marked)
	l.Box, l.Frame = e.grid.box(patch), e.mostDetail(c, patch)
	return l
}

// clippedThroughout returns how much of each tile is clipped at the upper end of the
// scale, 255ths: the lower quartile of the frames that are not left out.
func (e *evidence) clippedThroughout(out []bool) []uint8 {
	high := make([]uint8, e.grid.cols*e.grid.rows)
	var values []uint8
	for i := range high {
		values = values[:0]
		without := 0
		for k, f := range e.frames {
			if t := f.tiles[i]; t.energy >= 0 && !out[k] {
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
