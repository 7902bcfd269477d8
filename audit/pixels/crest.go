package pixels

import "slices"

const (
	crestShare   = 0.1  // of all tiles: the sharpest
	crestSpared  = 0.02 // of all tiles: sharper still, but for bright points that a shake draws out
	crestClipped = 0.1  // share of clipped pixels from which a tile does not count: bright points are sharp wherever focus is
	crestTile    = 4    // cells to a tile's side
)

// Crest returns the mean of the focus measure over the sharpest tenth of the picture's tiles,
// code values²: how sharp the picture is where it is sharpest. Tiles with clipped pixels do
// not count, nor do the sharpest 2 %, as bright points may be.
func (m *FrameMeasure) Crest() float64 {
	c := &m.cells
	var tiles []float64
	for y := 0; y+crestTile <= c.rows; y += crestTile {
		for x := 0; x+crestTile <= c.cols; x += crestTile {
			if energy, ok := c.sharpness(x, y, crestTile, crestTile); ok {
				tiles = append(tiles, energy)
			}
		}
	}
	if len(tiles) == 0 {
		return 0
	}
	slices.Sort(tiles)
	from := min(len(tiles)-1, int((1-crestShare)*float64(len(tiles))))
	top := tiles[from:max(from+1, int((1-crestSpared)*float64(len(tiles))))]
	sum := 0.0
	for _, e := range top {
		sum += e
	}
	return sum / float64(len(top))
}

// sharpness returns the mean focus measure of some cells, and whether few of them are
// clipped.
func (c *cellMaps) sharpness(x, y, w, h int) (energy float64, ok bool) {
	clipped := 0.0
	for v := y; v < y+h; v++ {
		for u := x; u < x+w; u++ {
			energy += float64(c.energy[v*c.cols+u])
			clipped += float64(c.clipped[v*c.cols+u])
		}
	}
	n := float64(w * h)
	return energy / n, clipped/n/255 <= crestClipped
}

// SharpestPart returns the part of the picture, width x height of its own pixels, that is
// worth inspecting at 100 %: that with the most of the sharpest tiles. It lies inside the
// picture, and is the whole of a smaller one.
func (m *FrameMeasure) SharpestPart(width, height int) Box {
	c := &m.cells
	cell := 2 * m.Factor * c.edge // pixels
	cols, rows := c.cols/crestTile, c.rows/crestTile
	energy := make([]float64, cols*rows)
	for i := range energy {
		if e, ok := c.sharpness(i%cols*crestTile, i/cols*crestTile, crestTile, crestTile); ok {
			energy[i] = e
		}
	}
	tile := cell * crestTile
	w, h := min(cols, max(1, width/tile)), min(rows, max(1, height/tile))
	bestX, bestY, best := 0, 0, -1.0
	for y := 0; y+h <= rows; y++ {
		for x := 0; x+w <= cols; x++ {
			sum := 0.0
			for v := y; v < y+h; v++ {
				for u := x; u < x+w; u++ {
					sum += energy[v*cols+u]
				}
			}
			if sum > best {
				bestX, bestY, best = x, y, sum
			}
		}
	}
	// Around the middle of those tiles, inside the picture.
	width, height = min(width, m.Width), min(height, m.Height)
	x0 := min(max(0, (2*bestX+w)*tile/2-width/2), m.Width-width)
	y0 := min(max(0, (2*bestY+h)*tile/2-height/2), m.Height-height)
	return Box{float64(x0) / float64(m.Width), float64(y0) / float64(m.Height), float64(x0+width) / float64(m.Width), float64(y0+height) / float64(m.Height)}
}
