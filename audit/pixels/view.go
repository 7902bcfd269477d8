package pixels

import "math"

// A View is what a run shows, coarsely: the luma of its tiles, whatever they are
// focused at. The zero View shows nothing.
type View struct {
	Cols, Rows int
	Luma       []uint8 // row by row; 0 where the frames do not show the tile
}

// view averages the tiles of the frames that belong to the run.
func (e *evidence) view() View {
	if e.long {
		return View{}
	}
	v := View{Cols: e.grid.cols, Rows: e.grid.rows}
	var gains []float64
	for i, g := range e.lnGain {
		if !e.outside[i] {
			gains = append(gains, g)
		}
	}
	usual := median(gains)
	sum, n := make([]float64, v.Cols*v.Rows), make([]float64, v.Cols*v.Rows)
	for i, f := range e.frames {
		if e.outside[i] {
			continue
		}
		gain := math.Exp(usual - e.lnGain[i])
		for t, tile := range f.tiles {
			if tile.energy >= 0 {
				sum[t] += float64(tile.luma) * gain
				n[t]++
			}
		}
	}
	v.Luma = make([]uint8, len(sum))
	for t := range sum {
		if n[t] > 0 {
			v.Luma[t] = uint8(min(255, max(1, math.Round(sum[t]/n[t]))))
		}
	}
	return v
}

// Other reports whether two views are sure to show different things, wherever the
// one is shifted by up to a quarter of the picture: their greatest correlation (of
// luma, with the means taken away) is small. A subject that is merely turned may
// look alike at this size. Views of different grids, and such with little contrast,
// are not told apart.
func (v View) Other(w View) bool {
	best, ok := v.correlation(w)
	return ok && best < otherView
}

func (v View) correlation(w View) (best float64, ok bool) {
	if len(v.Luma) == 0 || v.Cols != w.Cols || v.Rows != w.Rows || len(v.Luma) != len(w.Luma) || len(v.Luma) != v.Cols*v.Rows {
		return 0, false
	}
	best = -1
	for dy := -v.Rows / reframed; dy <= v.Rows/reframed; dy++ {
		for dx := -v.Cols / reframed; dx <= v.Cols/reframed; dx++ {
			if c, told := v.at(w, dx, dy); told {
				best, ok = max(best, c), true
			}
		}
	}
	return best, ok
}

// at returns the correlation where w lies dx and dy tiles from v.
func (v View) at(w View, dx, dy int) (c float64, ok bool) {
	var n, a, b, aa, bb, ab float64
	for y := max(0, dy); y < min(v.Rows, v.Rows+dy); y++ {
		for x := max(0, dx); x < min(v.Cols, v.Cols+dx); x++ {
			p, q := float64(v.Luma[y*v.Cols+x]), float64(w.Luma[(y-dy)*v.Cols+x-dx])
			if p == 0 || q == 0 {
				continue
			}
			n++
			a += p
			b += q
			aa += p * p
			bb += q * q
			ab += p * q
		}
	}
	varA, varB := aa/n-a/n*a/n, bb/n-b/n*b/n
	if n < float64(len(v.Luma))/2 || varA < viewContrast*viewContrast || varB < viewContrast*viewContrast {
		return 0, false
	}
	return (ab/n - a/n*b/n) / math.Sqrt(varA*varB), true
}
