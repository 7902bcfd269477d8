package pixels

import (
	"cmp"
	"slices"
)

// Range reports whether the frames of one view reach both ends of its brightness. It is
// asked of the textured area: tiles with detail in a frame in which they lie between the
// ends of the scale, and what these tiles enclose. A plain background that is meant to be
// white or black, and reaches the border of the picture, does not count. Found means that
// one of the shares is more than a rule may want; the rule decides.
type Range struct {
	Verdict
	// High is the share of the area that is clipped at the upper end in the darkest frame;
	// Low is that of the lowest 2 % of the scale in the brightest. Shares are 0 to 1.
	High, Low          float64
	Darkest, Brightest int
	// Area is the share of the picture that is textured.
	Area float64
}

// askRange asks how much of the textured area no frame shows between the ends of the scale.
func (r *run) askRange() Range {
	switch {
	case len(r.frames) < 2:
		return Range{Verdict: cannot(ReasonOneFrame)}
	case r.long:
		return Range{Verdict: cannot(ReasonLong)}
	}
	area := r.texturedArea(clippedTile)
	if area.share < rangeShare {
		return Range{Verdict: cannot(ReasonTexture)}
	}
	byLuma := func(a, b frame) int { return cmp.Compare(a.luma, b.luma) }
	dark, bright := slices.MinFunc(r.frames, byLuma), slices.MaxFunc(r.frames, byLuma)
	g := Range{Darkest: dark.index, Brightest: bright.index, Area: area.share}
	g.High = meanOver(area.tiles, dark.tiles, func(t tile) uint8 { return t.high })
	g.Low = meanOver(area.tiles, bright.tiles, func(t tile) uint8 { return t.low })
	g.Verdict = decided(max(g.High, g.Low) > 0)
	return g
}

// meanOver returns the mean share over the tiles of an area that a frame covers.
func meanOver(area []bool, tiles []tile, share func(tile) uint8) float64 {
	sum, n := 0, 0
	for i, t := range tiles {
		if area[i] && t.energy >= 0 {
			sum += int(share(t))
			n++
		}
	}
	return float64(sum) / 255 / float64(max(n, 1))
}

// The textured area is where frames show detail, and what that encloses.
type textured struct {
	tiles []bool
	share float64 // of all tiles
}

// texturedArea returns the tiles with detail in a frame in which no more than a share of
// them is at an end of the scale, and those that these enclose. It is empty where the run
// is too long.
func (r *run) texturedArea(atEnd float64) textured {
	if r.long || len(r.frames) == 0 {
		return textured{}
	}
	g := &r.grid
	area := make([]bool, g.cols*g.rows)
	for _, f := range r.frames {
		for i, t := range f.tiles {
			if float64(t.energy) >= detailEnergy*r.th.MinEnergy && float64(max(t.low, t.high)) <= 255*atEnd {
				area[i] = true
			}
		}
	}
	// What can be reached from the border over tiles without texture is outside.
	outside := make([]bool, len(area))
	var stack []int
	reach := func(x, y int) {
		if i := y*g.cols + x; x >= 0 && y >= 0 && x < g.cols && y < g.rows && !area[i] && !outside[i] {
			outside[i] = true
			stack = append(stack, i)
		}
	}
	for x := range g.cols {
		reach(x, 0)
		reach(x, g.rows-1)
	}
	for y := range g.rows {
		reach(0, y)
		reach(g.cols-1, y)
	}
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		x, y := i%g.cols, i/g.cols
		reach(x-1, y)
		reach(x+1, y)
		reach(x, y-1)
		reach(x, y+1)
	}
	n := 0
	for i := range area {
		if area[i] = !outside[i]; area[i] {
			n++
		}
	}
	return textured{area, float64(n) / float64(len(area))}
}

// endsOf returns the mean of low and high over the cells nearest to a rectangle.
func (c *cellMaps) endsOf(x0, y0, x1, y1 float64) (low, high uint8) {
	u0, u1 := min(int(x0+0.5), c.cols-1), max(1, int(x1+0.5))
	v0, v1 := min(int(y0+0.5), c.rows-1), max(1, int(y1+0.5))
	var sumLow, sumHigh, n int
	for v := v0; v < min(v1, c.rows); v++ {
		for u := u0; u < min(u1, c.cols); u++ {
			sumLow += int(c.low[v*c.cols+u])
			sumHigh += int(c.high[v*c.cols+u])
			n++
		}
	}
	return uint8(sumLow / max(n, 1)), uint8(sumHigh / max(n, 1))
}
