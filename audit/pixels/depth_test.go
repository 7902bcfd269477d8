package pixels

import (
	"math"
	"testing"
)

// TestDepth sorts tiles by the frame in which they are sharpest: the mean of the first third
// rises where those tiles do. Tiles without texture take no part.
func TestDepth(t *testing.T) {
	const n = 10
	bump := func(at int, textured bool) curve {
		c := curve{textured: textured, mu: float64(at), f: make([]float32, n)}
		for i := range c.f {
			c.f[i] = float32(math.Exp(-float64((i - at) * (i - at))))
		}
		return c
	}
	c := &curves{lo: 2, n: n}
	for _, at := range []int{8, 1, 5, 8, 1, 5} { // in no order
		c.tiles = append(c.tiles, bump(at, true), bump(3, false))
	}
	d := c.depth()
	if d.From != 2 {
		t.Errorf("the curves begin with frame %d, want 2", d.From)
	}
	for k, at := range []int{1, 5, 8} {
		for i, v := range d.Thirds[k] {
			want := math.Exp(-float64((i - at) * (i - at)))
			if math.Abs(v-want) > 0.0006 {
				t.Errorf("third %d is %.3f in frame %d, want %.3f", k, v, i, want)
			}
		}
	}
	c.tiles = c.tiles[:2]
	if few := c.depth(); few.Thirds[0] != nil {
		t.Errorf("one tile makes thirds: %v", few.Thirds)
	}
}

// TestEdgeCurve holds the curve of an end to the tiles that were still getting sharper there.
func TestEdgeCurve(t *testing.T) {
	const n = 12
	c := &curves{cols: 4, rows: 4, n: n, hw: 2, textured: 16}
	for i := range 16 {
		tile := curve{textured: true, f: make([]float32, n), hw: 2, arg: 6, mu: 6}
		peak := 6.0
		if i < 4 {
			peak, tile.arg, tile.mu = -2, 0, 0 // sharper before the first frame
		}
		top := math.Exp(-math.Ln2 * (float64(tile.arg) - peak) * (float64(tile.arg) - peak) / 4)
		for k := range tile.f {
			d := float64(k) - peak
			tile.f[k] = float32(math.Exp(-math.Ln2*d*d/4) / top)
		}
		c.tiles = append(c.tiles, tile)
	}
	e := &evidence{run: &run{th: DefaultThresholds(), grid: tileGrid{width: 400, height: 400, factor: 1, cols: 4, rows: 4, edge: 4, cellPx: 25}}}
	first := e.edge(c, func(i int) int { return i })
	if first.Tiles != 4 || len(first.Curve) != n || first.Curve[0] != 1 || first.Curve[6] > 0.1 {
		t.Errorf("%d tiles, curve %v; want 4 that fall from 1", first.Tiles, first.Curve)
	}
	if last := e.edge(c, func(i int) int { return n - 1 - i }); last.Tiles != 0 || last.Curve != nil {
		t.Errorf("the last end has %d tiles and the curve %v", last.Tiles, last.Curve)
	}
}
