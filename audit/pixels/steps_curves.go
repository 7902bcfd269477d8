package pixels

import (
	"cmp"
	"math"
	"slices"
)

// stepsInCurves takes the steps from sharpness: each tile's sharpness goes over one
// smooth peak as focus passes, and the frames lie where all tiles fit best. Tiles and
// frames are fitted in turns.
func (e *evidence) stepsInCurves(c *curves) (steps, *peakFit) {
	n := len(e.links)
	f := e.newPeakFit(c)
	if f == nil {
		return newSteps(n), nil
	}
	for range peakRounds {
		for t := range f.peaks {
			f.peaks[t].fit(f.x, f.sigma)
		}
		f.move()
	}
	length, variance := make([]float64, n), make([]float64, n)
	for i, l := range e.links {
		length[i], variance[i] = math.NaN(), math.NaN()
		if p, q := f.place[l.from], f.place[l.to]; p >= 0 && q >= 0 && f.info[p] > 0 && f.info[q] > 0 {
			length[i] = (f.x[q] - f.x[p]) / e.span(l)
			variance[i] = square(f.sigma/e.span(l)) * (1/f.info[p] + 1/f.info[q])
		}
	}
	return oneLength(length, variance, peakTimes, peakSigma), f
}

// A peakFit lays frames and the peaks of tiles on one scale of focus, on which the mean
// step is 1.
type peakFit struct {
	place []int     // of each frame among those that take part; -1 of others
	x     []float64 // where these lie
	info  []float64 // how much the tiles contribute to each: over sigma², its inverse variance
	peaks []peak
	sigma float64 // deviation of ln sharpness from the peaks
	held  int     // the first ones stay where they are; where there are none, the mean step is 1
}

// A peak is the model of a tile's sharpness at focus x,
//
//	ln(exp(floor) + exp(top) (1 + ((x-at)/w)²)^(-p/2))
//
// in which ln w and ln p are kept.
type peak struct {
	tile  int
	y     []float64 // ln sharpness in each frame; NaN where not seen
	theta [5]float64
	prior [5]float64
}

// The parameters of a peak, and the deviations about what they are begun with.
const (
	peakTop = iota
	peakFloor
	peakAt
	peakWidth
	peakPower
)

// newPeakFit begins with even steps; it returns nil where too few tiles count.
func (e *evidence) newPeakFit(c *curves) *peakFit {
	f := &peakFit{place: make([]int, len(e.frames)), sigma: peakNoise}
	var use []int
	for i, fr := range e.frames {
		f.place[i] = -1
		if p := fr.index - c.lo; p >= 0 && p < c.n && c.real[p] && fr.tiles != nil {
			f.place[i] = len(use)
			use = append(use, i)
			f.x = append(f.x, float64(fr.index))
		}
	}
	tiles := c.tilesToFit(len(use))
	if len(use) < minFrames || len(tiles) < e.th.MinTiles {
		return nil
	}
	layEvenly(f.x)
	f.info = make([]float64, len(use))
	for _, t := range tiles {
		f.peaks = append(f.peaks, f.peakOf(e, t))
	}
	return f
}

// peakOf begins the peak of a tile.
func (f *peakFit) peakOf(e *evidence, t int) peak {
	p := peak{tile: t, y: make([]float64, len(f.x))}
	least, most, at := math.Inf(1), math.Inf(-1), 0
	for i, k := range f.place {
		if k < 0 {
			continue
		}
		v := float64(e.frames[i].tiles[t].energy)
		p.y[k] = math.Log(max(v, leastEnergy)) - 2*e.lnGain[i]
		if v < 0 {
			p.y[k] = math.NaN()
			continue
		}
		least = min(least, p.y[k])
		if p.y[k] > most {
			most, at = p.y[k], k
		}
	}
	p.prior = [5]float64{most, least, f.x[at], math.Log(usualWidth), math.Log(usualPower)}
	p.theta = p.prior
	return p
}

// fitMore adds those tiles that are sharpest in a frame of the curves and rise most, as
// the frames lie now.
func (f *peakFit) fitMore(e *evidence, c *curves, frame int) {
	has := map[int]bool{}
	for _, p := range f.peaks {
		has[p.tile] = true
	}
	var tiles []int
	for t := range c.tiles {
		if c.tiles[t].textured && c.tiles[t].arg == frame && !has[t] {
			tiles = append(tiles, t)
		}
	}
	slices.SortStableFunc(tiles, func(a, b int) int { return cmp.Compare(c.tiles[b].rise, c.tiles[a].rise) })
	for _, t := range tiles[:min(len(tiles), endTiles)] {
		p := f.peakOf(e, t)
		for range peakRounds {
			p.fit(f.x, f.sigma)
		}
		f.peaks = append(f.peaks, p)
	}
}

// tilesToFit returns the textured tiles that rise most of those that are sharpest in
// each frame, as many of each as there are, so that they show all frames equally
// well.
func (c *curves) tilesToFit(frames int) (tiles []int) {
	of := make([][]int, c.n)
	for t := range c.tiles {
		if c.tiles[t].textured {
			of[c.tiles[t].arg] = append(of[c.tiles[t].arg], t)
		}
	}
	most := 0
	for _, list := range of {
		slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(c.tiles[b].rise, c.tiles[a].rise) })
		most = max(most, len(list))
	}
	for k := range most {
		for _, list := range of {
			if k < len(list) && len(tiles) < max(peakTiles, peakTilesFrame*frames) {
				tiles = append(tiles, list[k])
			}
		}
	}
	return tiles
}

// layEvenly moves and scales places so that they come nearest to 0, 1, 2 and so on.
func layEvenly(x []float64) {
	n := float64(len(x))
	mid := (n - 1) / 2
	var sum, with, square float64
	for i, v := range x {
		d := float64(i) - mid
		sum += v
		with += v * d
		square += d * d
	}
	slope := with / square
	if math.Abs(slope) < 1e-6 {
		return
	}
	for i := range x {
		x[i] = (x[i]-sum/n)/slope + mid
	}
}

// A shape is a peak whose width and power are taken out of their logarithms, for many places.
type shape struct {
	*peak
	width, power float64
}

func (p *peak) shape() shape {
	return shape{p, math.Exp(p.theta[peakWidth]), math.Exp(p.theta[peakPower])}
}

// at returns the peak's value at x and its derivatives by the parameters; that by x is
// the negative of that by the place.
func (p *shape) at(x float64) (value float64, by [5]float64) {
	u := (x - p.theta[peakAt]) / p.width
	q := 1 + u*u
	lnQ := math.Log(q)
	above := p.theta[peakTop] - p.power/2*lnQ
	floor := p.theta[peakFloor]
	most, ea, ef := above, 1.0, 1.0
	if above > floor {
		ef = math.Exp(floor - above)
	} else {
		most, ea = floor, math.Exp(above-floor)
	}
	share := ea / (ea + ef)
	return most + math.Log(ea+ef), [5]float64{share, 1 - share, share * p.power * u / (p.width * q), share * p.power * u * u / q, -share * p.power / 2 * lnQ}
}

// fit improves the parameters by steps of Levenberg and Marquardt (Marquardt, J. Soc.
// Indust. Appl. Math. 11(2), 1963).
func (p *peak) fit(x []float64, sigma float64) {
	damping := 1e-3
	cost, h, g := p.equations(x, sigma)
	for range peakSteps {
		damped := h
		for k := range p.theta {
			damped[k][k] *= 1 + damping
		}
		damped[5][5] = 1 // the sixth unknown of solve is not asked
		d, ok := solve(damped, g)
		if !ok {
			return
		}
		old := p.theta
		for k := range p.theta {
			p.theta[k] += max(-peakLeap, min(peakLeap, d[k]))
		}
		if c, h2, g2 := p.equations(x, sigma); c < cost {
			cost, h, g = c, h2, g2
			damping /= 5
		} else {
			p.theta = old
			damping *= 10
		}
	}
}

// equations are the normal equations of the parameters with Cauchy's weights, and the
// cost that they lower.
func (p *peak) equations(x []float64, sigma float64) (cost float64, h [6][6]float64, g [6]float64) {
	width := cauchyWidth * sigma
	shape := p.shape()
	for i, y := range p.y {
		if math.IsNaN(y) {
			continue
		}
		value, by := shape.at(x[i])
		r := (y - value) / width
		cost += cauchyWidth * cauchyWidth * math.Log1p(r*r)
		w := 1 / (1 + r*r) / (sigma * sigma)
		for j := range by {
			for k := j; k < len(by); k++ {
				h[j][k] += w * by[j] * by[k]
			}
			g[j] += w * by[j] * r * width
		}
	}
	for k, deviation := range peakPriors {
		r := (p.prior[k] - p.theta[k]) / deviation
		cost += r * r
		h[k][k] += 1 / (deviation * deviation)
		g[k] += r / deviation
	}
	return cost, h, g
}

// move lays each frame where the peaks fit it best.
func (f *peakFit) move() {
	pull := make([]float64, len(f.x))
	clear(f.info)
	width := cauchyWidth * f.sigma
	var left []float64
	for t := range f.peaks {
		p := f.peaks[t].shape()
		for i, y := range p.y {
			if math.IsNaN(y) {
				continue
			}
			value, by := p.at(f.x[i])
			r := y - value
			left = append(left, math.Abs(r))
			w := 1 / (1 + r*r/(width*width))
			pull[i] -= w * by[peakAt] * r
			f.info[i] += w * by[peakAt] * by[peakAt]
		}
	}
	for i := f.held; i < len(f.x); i++ {
		prior := f.sigma * f.sigma / (placeSigma * placeSigma)
		f.x[i] += max(-placeLeap, min(placeLeap, pull[i]/(f.info[i]+prior)))
	}
	f.sigma = max(leastPeakNoise, consistent*median(left))
	if f.held == 0 {
		layEvenly(f.x)
	}
}
