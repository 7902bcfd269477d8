package pixels

import (
	"math"
	"slices"
)

// broken returns the places where the picture changes altogether: a single link
// that cannot be followed among ones that can, and single frames that match
// neither neighbour, while these match each other. Pictures that show too little for
// that are no proof: of single frames of which the tiles do not show it, what it
// returns is that they are unknown.
func (e *evidence) broken() (events []Move, unknown []int) {
	clear := func(i int) bool {
		m := e.links[i].motion
		return m.Converged && m.Unexplained < maxLeft
	}
	for i, l := range e.links {
		if i < 2 || i+2 >= len(e.links) || e.dark[l.from] || e.dark[l.to] {
			continue
		}
		from, to := e.ends(l)
		if !l.motion.Converged && clear(i-1) && clear(i+1) && (clear(i-2) || clear(i+2)) &&
			e.differ([]int{e.links[i-1].from, l.from}, []int{l.to, e.links[i+1].to}) {
			events = append(events, Move{From: from, To: to, Lasting: true, Lost: true})
		}
		if odd := l.from + 1; l.to-l.from == 2 && clear(i) && e.frames[odd].odd && !e.dark[odd] {
			if at := e.frames[odd].index; e.differ([]int{l.from, l.to}, []int{odd}) {
				events = append(events, Move{From: from, To: at, Lost: true})
			} else {
				unknown = append(unknown, at)
			}
		}
	}
	return events, unknown
}

// differ reports whether the tiles show that the frames ones, two that match, show something
// else than others, which match too.
//
// Of three frames, or of two pairs, that differ by chance alone, any is as likely as the
// others to be the one that lies apart: it is the odd one of three, and the one pairing of
// four in which each differs more from those of the other pair than from its own. So a tile has
// these frames apart in one of three cases, and of n tiles the count is binomial. What all tiles
// have in common, as a wide step of focus, makes it more; but another picture differs nearly
// everywhere.
func (e *evidence) differ(ones, others []int) bool {
	apart, n := e.tilesApart(ones, others)
	if n == 0 {
		return e.long // its tiles are given up: what does not match at all must do
	}
	const chance = 1.0 / 3
	byChance := chance*float64(n) + lostSigma*math.Sqrt(chance*(1-chance)*float64(n))
	return float64(apart) >= max(byChance, lostShare*float64(n))
}

// tilesApart counts the tiles in which each of the frames ones differs more from each of the
// others than the frames of either differ among themselves, of n that are seen in all of them.
func (e *evidence) tilesApart(ones, others []int) (apart, n int) {
	frames := slices.Concat(ones, others)
	var seen []int
	for t := range e.frames[frames[0]].tiles {
		if !slices.ContainsFunc(frames, func(f int) bool {
			tiles := e.frames[f].tiles
			return tiles == nil || tiles[t].energy < 0
		}) && !slices.ContainsFunc(ones, func(f int) bool { return e.frames[f].tiles[t].clipped > clippedTile }) {
			seen = append(seen, t)
		}
	}
	luma := map[int][]float64{} // of each frame at those tiles, in one light
	for _, f := range frames {
		v := make([]float64, len(seen))
		for k, t := range seen {
			v[k] = float64(e.frames[f].tiles[t].luma)
		}
		usual := median(slices.Clone(v))
		for k := range v {
			v[k] /= usual
		}
		luma[f] = v
	}
	for k := range seen {
		within, between := 0.0, math.Inf(1)
		for i, f := range frames {
			for j, g := range frames[:i] {
				d := math.Abs(luma[f][k] - luma[g][k])
				if j < len(ones) && i >= len(ones) {
					between = min(between, d)
				} else {
					within = max(within, d)
				}
			}
		}
		if between > within {
			apart++
		}
	}
	return apart, len(seen)
}
