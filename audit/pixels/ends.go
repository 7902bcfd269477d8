package pixels

import (
	"math"
	"slices"
)

// askEnds finds tiles that were still getting sharper in an end frame.
func (e *evidence) askEnds(w Walk, c *curves) (first, last Edge) {
	v, ok := e.curvesTell(w, c)
	if !ok || w.Answer != Found {
		if ok {
			v = cannot(ReasonWalk)
		}
		return Edge{Verdict: v}, Edge{Verdict: v}
	}
	first = e.edge(c, func(i int) int { return i })
	first.Frame = c.lo
	last = e.edge(c, func(i int) int { return c.n - 1 - i })
	last.Frame = c.lo + c.n - 1
	// A frame beyond that cannot be compared may have what lacks.
	missing := make([]bool, e.added)
	for i := range missing {
		missing[i] = true
	}
	for i, f := range e.frames {
		missing[f.index] = e.outside[i]
	}
	if slices.Contains(missing[:first.Frame], true) {
		first.Verdict = cannot(ReasonEnd)
	}
	if slices.Contains(missing[last.Frame+1:], true) {
		last.Verdict = cannot(ReasonEnd)
	}
	return first, last
}

// edge inspects the end that at counts from.
func (e *evidence) edge(c *curves, at func(int) int) Edge {
	marked := make([]bool, len(c.tiles))
	var beyond []float64
	var tiles []int
	hw := c.hw
	if hw == 0 { // no tile peaks inside: take the one-sided widths
		var w []float64
		for i := range c.tiles {
			if c.tiles[i].textured {
				w = append(w, c.tiles[i].hw)
			}
		}
		hw = median(w)
	}
	for i := range c.tiles {
		t := &c.tiles[i]
		if !t.textured || t.arg != at(0) {
			continue
		}
		d, rises := t.beyond(hw, at)
		if !rises {
			continue
		}
		inner := float64(t.f[at(min(c.n-1, int(math.Round(edgeInside*hw))))])
		if d > e.th.EdgeBeyond && 1-inner > e.th.EdgeFall {
			marked[i] = true
			beyond = append(beyond, d)
			tiles = append(tiles, i)
		}
	}
	patch := c.cluster(marked)
	g := Edge{Tiles: len(beyond), Cluster: len(patch), Share: float64(len(beyond)) / float64(c.textured), Curve: c.mean(tiles)}
	if len(beyond) > 0 {
		g.More = percentile(beyond, edgeMost)
		g.Box = e.grid.box(patch)
	}
	g.Verdict = decided(g.Share >= e.th.EdgeShare && g.Cluster >= e.th.EdgeCluster)
	return g
}

// beyond returns how many frames beyond the end that at counts from the tile would
// be sharpest, by a Gaussian of the run's half width; it does not rise where noise
// could have made what rises.
func (c *curve) beyond(hw float64, at func(int) int) (frames float64, rises bool) {
	f0, f1, f2 := float64(c.f[at(0)]), float64(c.f[at(1)]), float64(c.f[at(2)])
	if !(f0 > f1 && f1 > f2-c.noise && f0-f2 > edgeNoise*c.noise) {
		return 0, false
	}
	s2 := (hw / halfWidthSigma) * (hw / halfWidthSigma)
	if hw >= edgeWide {
		return s2*math.Log(f0/max(f2, edgeFloor))/2 - 1, true
	}
	return s2*math.Log(f0/max(f1, edgeFloor)) - 0.5, true
}
