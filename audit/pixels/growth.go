package pixels

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Growth reports by how much blur grows with a frame of a test run, and over how
// many frames the subject is sharp. Found means that it is known.
type Growth struct {
	Verdict
	// Blur is the growth of the blur disc's diameter a frame, px; Low and High bound it
	// nine times in ten.
	Blur, Low, High float64
	// Tiles are those that it was measured on, Spread how far they lie apart: the
	// deviation of ln Blur.
	Tiles  int
	Spread float64
	// First and Last are where the subject is sharp for the first and the last time, in
	// frames in the order added, by all but 0.5 % of the places at either end.
	First, Last float64
	// FirstOpen and LastOpen mean that part of the subject lies beyond that end of the
	// run. The subject then extends over more frames than those from First to Last.
	FirstOpen, LastOpen bool
}

// Growth answers how far the run steps, by the blur that each sharp place gathers over
// the frames beside. Each place is its own measure: its sharpest patch, blurred by discs
// of known size, shows how sharp it is at what blur. Squares of blurs add, so that over
// x frames from the sharpest one they are b²x² + βx + γ: β places the true focus between
// frames, and γ takes up the depth within the place. J is what [TestRun.Judge] answered.
//
// Source: the method of depth from defocus by relative blur (Subbarao and Surya, IJCV
// 13(3), 1994), with the squared modified Laplacian (Nayar and Nakagawa, 1994) as measure.
func (r *TestRun) Growth(th Thresholds, j *Judgement) Growth {
	switch {
	case j.Walk.Answer == CannotTell:
		return Growth{Verdict: cannot(cmp.Or(j.Walk.Reason, ReasonWalk))}
	case j.Walk.Answer == Fine:
		return Growth{Verdict: cannot(ReasonNotFocus)}
	case j.Habit.Pairs || j.Habit.Outwards != nil:
		return Growth{Verdict: cannot(ReasonOrder)}
	case j.Order.Answer == Found:
		return Growth{Verdict: cannot(ReasonBack)}
	case j.Jumps.Answer == Found: // frames count for steps
		return Growth{Verdict: cannot(ReasonHole)}
	case j.Stalls.Answer == Found:
		return Growth{Verdict: cannot(ReasonStands)}
	case len(r.frames) < testRunFrames:
		return Growth{Verdict: cannot(ReasonFewTest)}
	}
	m := r.meter(th)
	g := m.growth()
	if g.Answer == Found {
		g.First, g.Last = m.reach(m.e)
		g.FirstOpen, g.LastOpen = j.First.Answer != Fine, j.Last.Answer != Fine
	}
	return g
}

// StepGrowth answers by how much blur grows from one picture to the next, where another
// judgement showed that focus walks through them: of few frames, too. Ends are not asked.
// More pictures may be added behind it, and the growth be asked again: what was measured
// of patches that are still the sharpest is kept.
func (r *TestRun) StepGrowth(th Thresholds) Growth {
	if len(r.frames) < stepLeast {
		return Growth{Verdict: cannot(ReasonStep)}
	}
	return r.meter(th).growth()
}

// growth is by how much blur grows with a frame.
func (m *growthMeter) growth() Growth {
	if m.c.textured < m.e.th.MinTiles {
		return Growth{Verdict: cannot(ReasonTexture)}
	}
	var list []tileGrowth
	for _, t := range m.flatTiles() {
		if g, ok := m.growthOf(t); ok {
			list = append(list, g)
		}
	}
	return m.joined(list)
}

// A growthMeter has what the tiles of a run are measured with.
type growthMeter struct {
	*TestRun
	e     *evidence
	c     *curves
	gain  []float64 // by frame: of energies, to one brightness
	noise [scales]func(luma float32) float64
	left  blurredPatch
}

func (r *TestRun) meter(th Thresholds) *growthMeter {
	run := r.seq.run(th, nil)
	d := run.askDark()
	e := run.evidence(d.frames)
	c := e.curves(e.outside)
	if r.left == nil {
		left := noiseLeft(r.side)
		r.left = &left
	}
	m := &growthMeter{TestRun: r, e: e, c: c, left: *r.left}
	m.gain = make([]float64, len(r.frames))
	base := median(slices.Clone(e.lnGain))
	for i := range m.gain {
		m.gain[i] = math.Exp(2 * (base - e.lnGain[i]))
	}
	finest := m.noiseBy(0)
	for k := range scales {
		own := m.noiseBy(k)
		share := math.Pow(4, -float64(k)) // white noise, averaged over four times as many pixels
		m.noise[k] = func(luma float32) float64 { return min(own(luma), share*finest(luma)) }
	}
	return m
}

// noiseBy returns the noise in the sharpness of tiles by their luma: the sharpness
// below which one tile in a hundred lies.
func (m *growthMeter) noiseBy(k int) func(luma float32) float64 {
	var by [noiseBins][]float64
	for i, f := range m.frames {
		for t, v := range f.scales[k] {
			if luma := m.e.frames[i].tiles[t].luma; v >= 0 && luma >= 0 {
				bin := min(noiseBins-1, int(luma*noiseBins/256))
				by[bin] = append(by[bin], float64(v))
			}
		}
	}
	var least [noiseBins]float64
	for b, list := range by {
		least[b] = math.NaN()
		if len(list) >= noiseTiles {
			least[b] = percentile(list, noiseShare)
		}
	}
	return func(luma float32) float64 {
		bin := min(noiseBins-1, max(0, int(luma*noiseBins/256)))
		for d := range noiseBins {
			for _, b := range [2]int{bin - d, bin + d} {
				if b >= 0 && b < noiseBins && !math.IsNaN(least[b]) {
					return least[b]
				}
			}
		}
		return 0
	}
}

// flatTiles returns the textured tiles most of whose neighbours are sharpest at the same
// frame: where depth changes within a tile it is sharp for too long. Steep subjects have
// none at half a frame, so that one and two frames are allowed while little blur comes
// of it, by a first estimate of the growth.
func (m *growthMeter) flatTiles() []int {
	for i, within := range flatWithin {
		var out []int
		for t := range m.c.tiles {
			if m.c.tiles[t].textured && m.patches[t].energy > 0 && m.flat(t, within) {
				out = append(out, t)
			}
		}
		blur := blurConstant(m.c.hw) / max(m.c.hw, 0.1)
		if last := i == len(flatWithin)-1; last || len(out) >= flatEnough || flatWithin[i+1]*blur > flatBlur {
			return m.sharpest(out)
		}
	}
	return nil
}

func (m *growthMeter) flat(t int, within float64) bool {
	near, all := 0, 0
	for _, o := range m.c.neighbours(t) {
		if !m.c.tiles[o].textured {
			continue
		}
		all++
		if math.Abs(m.c.tiles[o].mu-m.c.tiles[t].mu) <= within {
			near++
		}
	}
	return all >= likeTiles && float64(near) >= flatShare*float64(all)
}

// sharpest returns the tiles with the most sharpness, as many as are measured.
func (m *growthMeter) sharpest(tiles []int) []int {
	slices.SortFunc(tiles, func(a, b int) int { return cmp.Compare(m.patches[b].energy, m.patches[a].energy) })
	return tiles[:min(len(tiles), flatMost)]
}

// A tileGrowth is what one tile shows: the growth squared, and its variance.
type tileGrowth struct{ square, variance float64 }

// blursAt are the squares of blur, px², by frame from the sharpest: weighted means.
type blursAt map[int]*struct{ weight, value float64 }

func (b blursAt) add(x int, square, sigma float64) {
	if b[x] == nil {
		b[x] = new(struct{ weight, value float64 })
	}
	w := 1 / (sigma*sigma + leastSquare*leastSquare)
	b[x].weight += w
	b[x].value += w * square
}

// growthOf measures a tile.
func (m *growthMeter) growthOf(t int) (tileGrowth, bool) {
	blurred := m.blurred(t)
	at := blursAt{}
	for k := range scales {
		m.blursOf(t, k, &blurred[k], at)
	}
	return at.fit()
}

// blurred measures the patch of a tile as it is and blurred; of a run that grows only once.
func (m *growthMeter) blurred(t int) *blurredPatch {
	q := &m.patches[t]
	if q.blurred == nil {
		pix := m.kept.read(*q, m.side+2*patchMargin)
		linear := make([]float32, len(pix))
		for i, v := range pix {
			linear[i] = linearTable[v]
		}
		b := blurPatch(linear, m.side)
		q.blurred = &b
	}
	return q.blurred
}

// blursOf adds what one scale shows of a tile: the blur of the frames on both sides of
// the sharpest, as far as enough of its sharpness is left.
func (m *growthMeter) blursOf(t, k int, blurred *[len(blurs)]float64, at blursAt) {
	sharpest := m.patches[t].frame
	value := func(i int) float64 { return float64(m.frames[i].scales[k][t]) * m.gain[i] }
	noise := m.noise[k](m.e.frames[sharpest].tiles[t].luma)
	for i, f := range m.frames {
		if f.scales[k][t] >= 0 {
			noise = min(noise, value(i)) // no frame shows less than noise
		}
	}
	best := value(sharpest) - noise
	if best <= 0 || best < signalNoise*noise {
		return
	}
	var ratio [len(blurs)]float64
	for d := range ratio {
		ratio[d] = (blurred[d] - noise*m.left[k][d]) / max(1e-9, blurred[0]-noise)
	}
	squares := float64(m.side*m.side) / float64(int(4)<<(2*k)) // that noise is the mean of
	scatter := 2 * noise / math.Sqrt(squares) / best
	for _, way := range [2]int{-1, 1} {
		for i := sharpest + way; i >= 0 && i < len(m.frames) && m.frames[i].scales[k][t] >= 0 && !m.e.outside[i]; i += way {
			r := (value(i) - noise) / best
			square, slope, ok := inverted(&ratio, r)
			if !ok || r < sharpShare {
				break
			}
			at.add(m.e.frames[i].index-m.e.frames[sharpest].index, square, slope*math.Hypot(curveError, scatter/r))
		}
	}
	if _, slope, ok := inverted(&ratio, 1); ok {
		at.add(0, 0, slope*math.Hypot(curveError, scatter))
	}
}

// fit finds the growth: the curvature of the squares, by Cramer's rule.
func (b blursAt) fit() (tileGrowth, bool) {
	if len(b) < 1+leastNeighbours {
		return tileGrowth{}, false
	}
	var s [5]float64 // Σ w xᵏ
	var y [3]float64 // Σ w xᵏ δ²
	for _, x := range slices.Sorted(maps.Keys(b)) {
		power := b[x].weight
		for k := range s {
			s[k] += power
			if k < 3 {
				y[k] += power * b[x].value / b[x].weight
			}
			power *= float64(x)
		}
	}
	det := s[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*s[3]-s[2]*s[2])
	if !(det > 1e-12*s[0]*s[2]*s[4]) {
		return tileGrowth{}, false
	}
	square := (s[0]*(s[2]*y[2]-y[1]*s[3]) - s[1]*(s[1]*y[2]-y[1]*s[2]) + y[0]*(s[1]*s[3]-s[2]*s[2])) / det
	variance := (s[0]*s[2] - s[1]*s[1]) / det
	if !(square > 0) || math.Sqrt(variance) > mostUncertain*square {
		return tileGrowth{}, false
	}
	return tileGrowth{square, variance}, true
}

// inverted returns the square of the blur that leaves a share of the sharpness, px², and
// by how much it changes with the logarithm of the share; not ok beyond the discs.
func inverted(ratio *[len(blurs)]float64, share float64) (square, slope float64, ok bool) {
	squares := squaredBlurs()
	for d := 1; d < len(blurs); d++ {
		a, b := ratio[d-1], ratio[d]
		if !(b > 0) || b >= a {
			return 0, 0, false
		}
		if share < b {
			continue
		}
		lo, hi := squares[d-1], squares[d]
		slope = (hi - lo) / math.Log(a/b)
		return max(0, lo+slope*math.Log(a/share)), slope, true
	}
	return 0, 0, false
}

// joined joins the growth of the tiles.
func (m *growthMeter) joined(list []tileGrowth) Growth {
	if len(list) < growthTiles {
		return Growth{Verdict: cannot(ReasonFlat)}
	}
	slices.SortFunc(list, func(a, b tileGrowth) int { return cmp.Compare(a.square, b.square) })
	all := 0.0
	for _, g := range list {
		all += g.weight()
	}
	at := func(share float64) float64 {
		sum := 0.0
		for _, g := range list {
			if sum += g.weight(); sum >= share*all {
				return g.square
			}
		}
		return list[len(list)-1].square
	}
	middle := at(0.5)
	// Quartiles of a normal distribution lie 1.349 deviations apart.
	spread := (math.Log(at(0.75)) - math.Log(at(0.25))) / 2 / 1.349
	blur := math.Sqrt(middle)
	g := Growth{Verdict: Verdict{Answer: Found}, Blur: blur, Tiles: len(list), Spread: spread}
	off := math.Exp(1.645 * math.Hypot(growthError, growthSpread*spread))
	g.Low, g.High = blur/off, blur*off
	share := float64(len(list)) / float64(m.c.textured)
	switch {
	case spread > mostSpread, spread > doubtSpread && share < doubtShare:
		g.Verdict = cannot(ReasonSpread)
	case blur*float64(m.e.added-1) < leastBlurInAll:
		g.Verdict = cannot(ReasonLittle)
	}
	return g
}

// weight of a tile, by the error of ln b² and what tiles differ anyway.
func (g tileGrowth) weight() float64 {
	const anyway = 0.1
	return 1 / (g.variance/(g.square*g.square) + anyway*anyway)
}

// reach returns where the places of the subject are sharpest, all but growthEnds at
// either end, in frames.
func (m *growthMeter) reach(e *evidence) (first, last float64) {
	var peaks []float64
	g := &e.grid
	cols, rows := g.cellCols/fineEdge, g.cellRows/fineEdge
	at := make([]float64, cols*rows)
	for t := range at {
		at[t] = m.finePeak(t)
	}
	for t, p := range at { // noise has no neighbours that agree
		if math.IsNaN(p) {
			continue
		}
		near := 0
		x, y := t%cols, t/cols
		for v := max(0, y-1); v <= min(rows-1, y+1); v++ {
			for u := max(0, x-1); u <= min(cols-1, x+1); u++ {
				if o := v*cols + u; o != t && math.Abs(at[o]-p) <= max(1, m.c.hw*likePeak) {
					near++
				}
			}
		}
		if near >= likeTiles {
			peaks = append(peaks, p)
		}
	}
	if len(peaks) == 0 {
		return 0, float64(e.added - 1)
	}
	return percentile(peaks, growthEnds), percentile(peaks, 1-growthEnds)
}

// finePeak returns the frame in which a small tile is sharpest, between frames; NaN
// where it shows no more than noise.
func (m *growthMeter) finePeak(t int) float64 {
	best, at := 0.0, -1
	least, second := math.Inf(1), math.Inf(1)
	value := func(i int) float64 { return float64(m.frames[i].fine[t]) * m.gain[i] }
	for i := range m.frames {
		if m.frames[i].fine[t] < 0 || m.e.outside[i] {
			continue
		}
		v := value(i)
		if v > best {
			best, at = v, i
		}
		if v < least {
			least, second = v, least
		} else {
			second = min(second, v)
		}
	}
	if at < 0 || best < fineEnergy*m.e.th.MinEnergy || best < fineRise*max(second, leastEnergy) {
		return math.NaN()
	}
	peak := float64(m.e.frames[at].index)
	if at > 0 && at < len(m.frames)-1 && m.frames[at-1].fine[t] > 0 && m.frames[at+1].fine[t] > 0 {
		a, b, c := math.Log(value(at-1)), math.Log(best), math.Log(value(at+1))
		if bend := a - 2*b + c; bend < 0 {
			peak += max(-0.5, min(0.5, (a-c)/(2*bend)))
		}
	}
	return peak
}
