package pixels

import (
	"cmp"
	"math"
	"slices"
)

// Depth shows how the sharpness of the textured tiles rises and falls through the run,
// for a drawing: no check builds on it. A tile's sharpness counts from 0 in its softest
// frame to 1 in its sharpest.
type Depth struct {
	From int // the frame that the curves begin with
	// Thirds are the mean curves of the tiles that are sharpest first, in the middle and
	// last, a third of all tiles each; nil where there are fewer than three.
	Thirds [3][]float64
}

// depth sorts the textured tiles by the frame in which they are sharpest.
func (c *curves) depth() Depth {
	var order []int
	for i := range c.tiles {
		if c.tiles[i].textured {
			order = append(order, i)
		}
	}
	d := Depth{From: c.lo}
	if len(order) < len(d.Thirds) {
		return d
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.tiles[a].mu, c.tiles[b].mu) })
	for k := range d.Thirds {
		d.Thirds[k] = c.mean(order[k*len(order)/3 : (k+1)*len(order)/3])
	}
	return d
}

// mean returns the mean curve of tiles, to three decimals; nil where there are none.
func (c *curves) mean(tiles []int) []float64 {
	if len(tiles) == 0 {
		return nil
	}
	sum := make([]float64, c.n)
	for _, i := range tiles {
		for k, v := range c.tiles[i].f {
			sum[k] += float64(v)
		}
	}
	for k := range sum {
		sum[k] = math.Round(1000*sum[k]/float64(len(tiles))) / 1000
	}
	return sum
}
