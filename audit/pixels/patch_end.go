package pixels

import (
	"cmp"
	"math"
	"slices"
)

// PatchShort is why a run does not close an open end that it begins at.
const PatchShort = "it does not go on far enough"

// Extendable reports whether frames made later could be proved to go on from an end at
// which the subject was not covered.
func (j *Judgement) Extendable(last bool) bool {
	edge := j.edgeAt(last)
	_, ok := j.Layout.of(edge.Frame)
	return ok && edge.Answer == Found && j.Habit.Outwards == nil && len(j.Layout.Peaks) >= DefaultThresholds().MinTiles && j.View.valid()
}

func (j *Judgement) edgeAt(last bool) *Edge {
	if last {
		return &j.Last
	}
	return &j.First
}

// Extend answers whether the run o, made later, goes on from an end of j where the
// subject was not covered, so that the two together cover it. Its frames must show the
// same picture, as bright and in the same place; no step is wider than a jump, from the
// end on; and what was still getting sharper at that end gets less sharp again in o, but
// for less than an end may lack. There is no answer where its frames may lie in several
// places that have different ones.
func (j *Judgement) Extend(o *Judgement, last bool) Patch {
	if !j.Extendable(last) || !o.Glance.valid() {
		return Patch{Verdict: cannot(ReasonFaint)}
	}
	mo, p := j.viewsOf(o)
	if !mo.Converged {
		return p
	}
	return j.extend(p, o, mo, last)
}

// extend answers for a run to whose picture this motion leads, and of which p says how bright
// it is.
func (j *Judgement) extend(p Patch, o *Judgement, mo Motion, last bool) Patch {
	f := j.extension(&o.Glance, mo, p.lnGain(), last)
	if f == nil {
		return Patch{Verdict: cannot(ReasonTexture)}
	}
	edge := j.edgeAt(last)
	end, _ := j.Layout.of(edge.Frame)
	var ways []laid
	if m, ok := j.placesByMotion(o, mo, end, f.outwards); ok {
		ways = f.layAlong(m, end)
	}
	if len(ways) == 0 {
		f.settle(end)
		return j.answerOf(p, o, mo, f, edge)
	}
	for i, w := range ways {
		f.x, f.peaks = w.x, w.peaks
		q := j.answerOf(p, o, mo, f, edge)
		if i == 0 {
			p = q
		} else if q.Answer != p.Answer { // as likely
			p.Why, p.Verdict = "", cannot(ReasonFaint)
			break
		}
	}
	return p
}

// answerOf answers whether the frames, as they are laid, go on from an end.
func (j *Judgement) answerOf(p Patch, o *Judgement, mo Motion, f *extension, edge *Edge) Patch {
	end, _ := j.Layout.of(edge.Frame)
	p.Moved = j.asideOf(o, mo, f)
	outermost := math.Inf(-1)
	p.Misfit, p.Places = 0, nil
	for i, x := range f.x[f.held:] {
		if misfit := f.misfit(f.held + i); misfit <= patchMisfit {
			p.Misfit = max(p.Misfit, misfit)
			p.Places = append(p.Places, f.outwards*(x-end))
			outermost = max(outermost, f.outwards*(x-end))
		}
	}
	p.Tried = outermost > 0
	p.Widest = widestTo(p.Places, f.reach(end))
	p.Why = p.refused(len(p.Places) == 0, j.mayMove(), j.widestAllowed())
	if th := DefaultThresholds(); p.Why == "" && (edge.Share*f.open(end, outermost) >= th.EdgeShare || f.rises(&o.Glance, j) >= th.EdgeShare) {
		p.Why = PatchShort
	}
	p.Verdict = decided(p.Why == "")
	return p
}

// widestAllowed is the widest step that may be left, in usual steps: no jump, or one that
// adds little blur at the most that it may add.
func (j *Judgement) widestAllowed() float64 {
	if !(j.Step.High > 0) {
		return patchStep
	}
	return max(patchStep, DefaultThresholds().StepBlur/j.Step.High)
}

// widestTo is the widest step from the end on that begins before a place: behind that,
// nothing gets sharp any more, and no frame is placed well.
func widestTo(places []float64, reach float64) float64 {
	all := slices.Sorted(slices.Values(places))
	widest, last := 0.0, 0.0
	for _, x := range all {
		if x > last && (last == 0 || last < reach) {
			widest, last = max(widest, x-last), x
		}
	}
	return widest
}

// asideOf is by how far the picture of the frame of o that is nearest to the end lies
// aside, px. It may lie a step from where it was placed: along the way of the picture that
// is no other camera.
func (j *Judgement) asideOf(o *Judgement, mo Motion, f *extension) float64 {
	nearest := 0
	x := f.x[f.held:]
	if len(o.PerFrame) == len(x) {
		for k := range x {
			if f.outwards*x[k] < f.outwards*x[nearest] {
				nearest = k
			}
		}
		mo = mo.then(o.PerFrame[nearest].motion())
	}
	least := math.Inf(1)
	for d := -1.0; d <= 1; d += 0.25 {
		least = min(least, j.aside(mo, x[nearest]+d))
	}
	return least
}

// reach is how far beyond the end the tiles that were sharpest there get sharp, all but a
// tenth of them.
func (f *extension) reach(end float64) float64 {
	var beyond []float64
	for t := range f.peaks {
		if f.outwards*(f.began[t]-end) >= -extendEdge {
			beyond = append(beyond, f.outwards*(f.peaks[t].theta[peakAt]-end))
		}
	}
	return percentile(beyond, 0.9)
}

// viewsOf registers what another run shows with what this one does, and begins the answer
// with how bright it is and whether it shows another view. Where the motion is not converged,
// that is the answer.
func (j *Judgement) viewsOf(o *Judgement) (mo Motion, p Patch) {
	a, b := &j.View, &o.View
	if o.Glance.View.valid() {
		b = &o.Glance.View
	}
	if !a.valid() || !b.valid() || j.Width != o.Width || j.Height != o.Height || a.Width != b.Width || a.Height != b.Height {
		return mo, Patch{Verdict: cannot(ReasonNoView)}
	}
	mo = register((&FrameMeasure{small: a.plane()}).pyramid(), (&FrameMeasure{small: b.plane()}).pyramid(), 1)
	if !mo.Converged {
		return mo, Patch{Verdict: decided(false), Why: PatchMoved}
	}
	p = Patch{EV: toneSlope * math.Log2(a.brighter(mo)), Turned: a.turned(b, mo)}
	px := float64(2 * smallBin(j.Width/j.Factor/2, j.Height/j.Factor/2))
	mo.ShiftX, mo.ShiftY = px*mo.ShiftX, px*mo.ShiftY
	return mo, p
}

// turned reports whether blocks that are sharp in both views lie aside with their neighbours,
// each by its depth, where this motion lays the one on the other: pixels of the small picture.
func (v *View) turned(w *View, mo Motion) bool {
	blocks := v.displacements(w, bandPass(v.plane()), bandPass(w.plane().warped(mo)), mo)
	if blocks.sharp < max(leastBlocks, len(v.Peak)/blocksEvery) {
		return false
	}
	n := float64(blocks.sharp)
	return blocks.apart(0.5) > patchApart05*n || blocks.apart(0.3) > patchApart03*n
}

// An extension is the fit of an end of a run, whose frames stay where they are, and of
// the frames behind it.
type extension struct {
	peakFit
	outwards float64   // 1 where the end is that of the higher places, else -1
	began    []float64 // where each peak lay before
}

// extension begins the fit: of the run near its end by its peaks, of the other frames by
// their sharpness. It is nil where too few tiles are seen in both.
func (j *Judgement) extension(g *Glance, mo Motion, lnGain float64, last bool) *extension {
	l := &j.Layout
	end, _ := l.of(j.edgeAt(last).Frame)
	f := &extension{outwards: 1}
	if end < median(slices.Clone(l.Places)) {
		f.outwards = -1
	}
	within := func(x float64) bool { return f.outwards*(end-x) <= extendWindow }
	for _, x := range l.Places {
		if within(x) {
			f.x = append(f.x, x)
		}
	}
	f.held = len(f.x)
	for k := range g.Sharpness {
		x, _, tells := l.find(g, k, mo)
		if !tells {
			return nil
		}
		f.x = append(f.x, x)
	}
	for i := range l.Peaks {
		of, seen := f.offered(&l.Peaks[i], g, mo, lnGain)
		if !seen || !within(of.theta[peakAt]) {
			continue
		}
		was := of.shape()
		for k, x := range f.x[:f.held] {
			of.y[k], _ = was.at(x)
		}
		of.prior = of.theta
		f.began = append(f.began, of.theta[peakAt])
		f.peaks = append(f.peaks, of)
	}
	if len(f.peaks) < DefaultThresholds().MinTiles {
		return nil
	}
	f.info = make([]float64, len(f.x))
	f.sigma = max(l.Noise, patchNoise)
	return f
}

// offered begins a peak of the run, with its sharpness in the frames of g, which lie from
// f.held on. It is not seen where one of them does not show it.
func (f *extension) offered(p *LayoutPeak, g *Glance, mo Motion, lnGain float64) (of peak, seen bool) {
	of = p.peak()
	of.y = make([]float64, len(f.x))
	for k := range g.Sharpness {
		v, ok := g.of(k, p, mo)
		if !ok {
			return of, false
		}
		of.y[f.held+k] = v - 2*lnGain
	}
	return of, true
}

// settle lays the frames behind the end, and fits peaks and frames in turns: from several
// lengths of their steps, and with the first or the last of them nearest to the run, as
// the fit may stay at a wrong one. The best is kept.
func (f *extension) settle(end float64) {
	found := slices.Clone(f.x[f.held:])
	n := len(found)
	lowest := math.Inf(1)
	var x []float64
	var peaks []peak
	begun := f.peaks
	for _, step := range extendSteps {
		for _, nearest := range [3]float64{found[0], found[n-1], end} { // what shows little is found anywhere
			for _, backwards := range [2]bool{false, true} {
				f.peaks = slices.Clone(begun)
				for k := range n {
					d := k
					if backwards {
						d = n - 1 - k
					}
					// Places beyond what the run shows are found too near.
					f.x[f.held+k] = end + f.outwards*(min(f.outwards*(nearest-end), step)+step*float64(d))
				}
				if cost := f.fit(); cost < lowest {
					lowest, x, peaks = cost, slices.Clone(f.x), f.peaks
				}
			}
		}
	}
	if x != nil {
		f.x, f.peaks = x, peaks
	}
}

// fit fits peaks and frames in turns, and returns the cost that is left.
func (f *extension) fit() (cost float64) {
	sigma := f.sigma // the run's own, not that of what fits by itself
	for range extendRounds {
		for t := range f.peaks {
			f.peaks[t].fit(f.x, sigma)
		}
		f.move()
		f.sigma = sigma
	}
	for t := range f.peaks {
		left, _, _ := f.peaks[t].equations(f.x, sigma)
		cost += left
	}
	return cost
}

// misfit is by how much a frame deviates from the peaks, in deviations of the run's fit.
func (f *extension) misfit(frame int) float64 {
	left := make([]float64, len(f.peaks))
	for t := range f.peaks {
		p := f.peaks[t].shape()
		value, _ := p.at(f.x[frame])
		left[t] = math.Abs(f.peaks[t].y[frame] - value)
	}
	return consistent * median(left) / f.sigma
}

// open is the share of the tiles that were sharpest at the end or beyond it whose peak
// still lies beyond the outermost frame; 1 where there are none.
func (f *extension) open(end, outermost float64) float64 {
	open, all := 0, 0
	for t := range f.peaks {
		if f.outwards*(f.began[t]-end) < -extendEdge {
			continue
		}
		all++
		if f.outwards*(f.peaks[t].theta[peakAt]-end) > outermost+DefaultThresholds().EdgeBeyond {
			open++
		}
	}
	if all == 0 {
		return 1
	}
	return float64(open) / float64(all)
}

// rises is the share of the textured area of j that was still getting sharper in the
// outermost of the frames, as at an end: a parabola through ln sharpness has its top beyond
// that. What is far outside j is no part of its peaks, so that all tiles are asked.
func (f *extension) rises(g *Glance, j *Judgement) float64 {
	th := DefaultThresholds()
	n := len(g.Sharpness)
	out := make([]int, n) // the frames, the outermost first
	for k := range out {
		out[k] = k
	}
	place := func(k int) float64 { return f.outwards * f.x[f.held+k] }
	slices.SortFunc(out, func(a, b int) int { return cmp.Compare(place(b), place(a)) })
	deviation := j.HalfWidth / halfWidthSigma
	if n < 3 || !(deviation > 0) || j.Textured == 0 {
		return 1
	}
	far := 2
	for far+1 < n && place(out[0])-place(out[far]) < deviation { // over less, noise is most of it
		far++
	}
	a, b, c := out[0], out[(far+1)/2], out[far]
	near, wide := place(a)-place(b), place(a)-place(c)
	// What is far behind the subject rises too, but by less than a tile that is sharp just
	// beyond the outermost frame.
	least := max(riseNoise*f.sigma, riseShare*(wide*wide+2*th.EdgeBeyond*wide)/(2*deviation*deviation))
	marked := make([]bool, g.Cols*g.Rows)
	alone := make([]bool, len(marked)) // rise so much that one of them is no chance
	for t := range marked {
		if g.Sharpness[a][t] == 0 || g.Sharpness[b][t] == 0 || g.Sharpness[c][t] == 0 {
			continue
		}
		top := g.ln(a, t)
		u, v := top-g.ln(b, t), top-g.ln(c, t)
		if top < math.Log(th.MinEnergy) || u <= 0 || v <= u || v < least || g.sharpIn(out[far+1:], t, top-riseNoise*f.sigma) {
			continue
		}
		// top - (d(x+m)² - dm²) at x inwards: u = d(near² + 2 m near), v as well.
		bend := near * wide * (wide - near)
		d := (v*near - u*wide) / bend
		marked[t] = d <= 0 || (u*wide*wide-v*near*near)/bend/(2*d) > th.EdgeBeyond
		alone[t] = marked[t] && v >= aloneNoise*f.sigma
	}
	grid := curves{cols: g.Cols, rows: g.Rows}
	rising, most := 0, 0
	for _, patch := range grid.patches(marked) {
		most = max(most, len(patch))
		for _, t := range patch {
			if len(patch) >= th.EdgeCluster || alone[t] {
				rising++
			}
		}
	}
	if most < th.EdgeCluster {
		return 0
	}
	return float64(rising) / float64(j.Textured)
}

// sharpIn reports whether ln sharpness of a tile is above this in one of the frames: what was
// sharp, and gets so again, has something else behind it.
func (g *Glance) sharpIn(frames []int, t int, above float64) bool {
	return slices.ContainsFunc(frames, func(k int) bool { return g.Sharpness[k][t] != 0 && g.ln(k, t) > above })
}
