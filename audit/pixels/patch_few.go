package pixels

import (
	"cmp"
	"math"
	"slices"
)

// patchOfFew answers for one to three frames, which are found with these misfits, whether
// they close the hole. They are so few that all of them must have been made for it, and that
// each must be placed well: together with the run, from one side of the hole to the other.
func (j *Judgement) patchOfFew(p Patch, o *Judgement, mo Motion, lnGain float64, from, to int, found, misfits []float64) Patch {
	a, _ := j.Layout.of(from)
	b, _ := j.Layout.of(to)
	first := found[0]
	p.Misfit = mean(misfits)
	other := len(found) < o.Frames || len(o.PerFrame) < o.Frames || p.Misfit > patchMisfit
	p.Tried = !other && !slices.ContainsFunc(found, func(x float64) bool { return x < a-patchStep || x > b+patchStep })
	unsure := false
	if p.Tried {
		wide := (b - a) * j.stretch(from, to, b-a)
		f := j.holeFit(&o.Glance, mo, lnGain, a, b, wide)
		if f == nil {
			p.Verdict = cannot(ReasonTexture)
			return p
		}
		shares, ok := j.placeFew(o, f, mo, from, to)
		if !ok {
			p.Verdict = cannot(ReasonFaint)
			return p
		}
		p.Misfit = 0
		for k, share := range shares.at {
			p.Places = append(p.Places, wide*share)
			p.Misfit = max(p.Misfit, f.misfit(f.held+k))
		}
		widest, deviation := shares.widest()
		p.Widest = wide * widest
		_, located := j.jump(from, to) // else nothing but the peaks shows how wide it is
		unsure = !located || math.Abs(p.Widest-patchStep) < math.Hypot(wide*deviation, fewWidth*p.Widest)
		other = p.Misfit > patchMisfit
		p.Tried = slices.ContainsFunc(p.Places, func(x float64) bool { return x > 0 && x < wide })
		first = a + (b-a)*shares.at[0]
	}
	p.Moved = j.aside(mo, first)
	p.Why = p.refused(other, j.mayMove(), patchStep)
	p.Verdict = decided(p.Why == "")
	if unsure && (p.Why == "" || p.Why == PatchNarrow) {
		p.Why, p.Verdict = "", cannot(ReasonFaint)
	}
	return p
}

// A holeFit is the fit of one to three frames between two of a run. Those on the near side
// of the hole stay where they are; those behind it move, as how wide it is shows in what lies
// in it alone.
type holeFit struct {
	extension
	few    int // how many lie in the hole, the first of them at f.held
	behind int // the first frame behind the hole
}

// holeFit begins the fit of the frames of g in the hole from a to b, which is wide in usual
// steps. It is nil where too few tiles are seen.
func (j *Judgement) holeFit(g *Glance, mo Motion, lnGain, a, b, wide float64) *holeFit {
	l := &j.Layout
	f := &holeFit{few: len(g.Sharpness)}
	places := slices.Sorted(slices.Values(l.Places))
	f.held = 1 + slices.Index(places, a)
	f.behind = f.held + f.few
	wider := wide*stepsBeside(places, f.held) - (b - a)
	f.x = append(append(f.x, places[:f.held]...), make([]float64, f.few)...)
	for _, x := range places[f.held:] {
		f.x = append(f.x, x+wider)
	}
	for i := range l.Peaks {
		of, seen := f.offered(&l.Peaks[i], g, mo, lnGain)
		if !seen {
			continue
		}
		was := of.shape()
		for k, x := range places {
			if k >= f.held {
				k += f.few
			}
			of.y[k], _ = was.at(x)
		}
		switch at := of.theta[peakAt]; {
		case at >= b:
			of.theta[peakAt] += wider
		case at > a:
			of.theta[peakAt] += wider * (at - a) / (b - a)
		}
		of.prior = of.theta
		f.peaks = append(f.peaks, of)
	}
	if len(f.peaks) < DefaultThresholds().MinTiles {
		return nil
	}
	f.info, f.sigma = make([]float64, len(f.x)), max(l.Noise, patchNoise)
	f.settle()
	return f
}

// stepsBeside is the usual step on both sides of the one that ends at i.
func stepsBeside(places []float64, i int) float64 {
	var steps []float64
	for k := max(1, i-wideLinks); k <= min(len(places)-1, i+wideLinks); k++ {
		if k != i {
			steps = append(steps, places[k]-places[k-1])
		}
	}
	return median(steps)
}

// settle fits peaks and frames in turns, from even steps one way and the other, and keeps
// what fits better.
func (f *holeFit) settle() {
	begun, places := f.peaks, slices.Clone(f.x)
	lowest := math.Inf(1)
	var best holeFit
	for _, backwards := range [2]bool{false, true} {
		f.peaks, f.x = slices.Clone(begun), slices.Clone(places)
		from, to := f.x[f.held-1], f.x[f.behind]
		if backwards {
			from, to = to, from
		}
		for k := range f.few {
			f.x[f.held+k] = from + (to-from)*float64(k+1)/float64(f.few+1)
		}
		f.info = make([]float64, len(f.x))
		if cost := f.fit(); cost < lowest {
			lowest, best = cost, *f
		}
	}
	*f = best
}

// share is where a frame lies on the way over the hole, 0 to 1, by its sharpness, and how
// sure that is, a standard deviation.
func (f *holeFit) share(k int) (at, sigma float64) {
	from, way := f.x[f.held-1], f.x[f.behind]-f.x[f.held-1]
	return (f.x[f.held+k] - from) / way, max(fewLeast, fewTimes*f.sigma/math.Sqrt(max(f.info[f.held+k], 1e-9))/math.Abs(way))
}

// placeFew returns where the frames of o lie on the way from one frame of the run to another,
// as shares of it, by their sharpness and by how much they scale or shift the picture: what
// no frame of the run shows sharp is placed by sharpness to half a step at best. It is not ok
// where there is no answer.
func (j *Judgement) placeFew(o *Judgement, f *holeFit, mo Motion, from, to int) (s shares, ok bool) {
	var e leastSquares
	for k := range f.few {
		at, sigma := f.share(k)
		e.add(k, -1, at, sigma)
	}
	along, way := j.along(from, to)
	noise, apart := fewScale, fewScaleApart
	if j.Signature.Kind == "drift" {
		noise, apart = fewShift, fewShiftApart
	}
	for k := 1; k < f.few; k++ {
		if o.PerFrame[k].Chain == o.PerFrame[k-1].Chain { // registered with each other
			e.add(k, k-1, along(o.PerFrame[k])-along(o.PerFrame[k-1]), math.Hypot(noise/way, fewUneven))
		}
	}
	first := FrameSummary{Scale: mo.Scale, ShiftX: mo.ShiftX, ShiftY: mo.ShiftY}
	e.add(0, -1, along(first)-along(j.PerFrame[from]), math.Hypot(apart/way, fewUneven))
	return e.solve(f.few)
}

// Shares are how far on the way over a hole frames lie, 0 to 1, and the covariances of that.
type shares struct {
	at         []float64
	covariance [][6]float64
}

// widest is the widest step that is left, as a share of the hole, and its deviation.
func (s *shares) widest() (step, deviation float64) {
	var inside []int
	for k, x := range s.at {
		if x > 0 && x < 1 {
			inside = append(inside, k)
		}
	}
	slices.SortFunc(inside, func(a, b int) int { return cmp.Compare(s.at[a], s.at[b]) })
	if len(inside) == 0 {
		return 1, 0
	}
	first, last := inside[0], inside[len(inside)-1]
	step, deviation = s.at[first], s.covariance[first][first]
	if x := 1 - s.at[last]; x > step {
		step, deviation = x, s.covariance[last][last]
	}
	for i := 1; i < len(inside); i++ {
		a, b := inside[i-1], inside[i]
		if x := s.at[b] - s.at[a]; x > step {
			step, deviation = x, s.covariance[a][a]+s.covariance[b][b]-2*s.covariance[a][b]
		}
	}
	return step, math.Sqrt(max(deviation, 0))
}

// along returns how far along the way that the picture goes between two frames, as a share of
// it, a frame lies; and that way, px half-way to a corner.
func (j *Judgement) along(from, to int) (at func(FrameSummary) float64, way float64) {
	p, q := j.PerFrame[from], j.PerFrame[to]
	if j.Signature.Kind == "drift" {
		x, y := q.ShiftX-p.ShiftX, q.ShiftY-p.ShiftY
		square := max(x*x+y*y, leastWay*leastWay)
		return func(f FrameSummary) float64 { return (f.ShiftX*x + f.ShiftY*y) / square }, math.Sqrt(square)
	}
	half := typicalRadius * math.Hypot(float64(j.Width), float64(j.Height)) / float64(j.Factor)
	scale := q.Scale - p.Scale
	scale = math.Copysign(max(math.Abs(scale), leastWay/half), scale)
	return func(f FrameSummary) float64 { return f.Scale / scale }, half * math.Abs(scale)
}

// leastSquares are the normal equations of up to three unknowns.
type leastSquares struct {
	h [6][6]float64
	g [6]float64
}

// add has unknown i, less unknown k where that is not -1, be y by this deviation.
func (s *leastSquares) add(i, k int, y, sigma float64) {
	var by [6]float64
	by[i] = 1
	if k >= 0 {
		by[k] = -1
	}
	for a := range by {
		for b := range by {
			s.h[a][b] += by[a] * by[b] / (sigma * sigma)
		}
		s.g[a] += by[a] * y / (sigma * sigma)
	}
}

// solve returns the first n unknowns.
func (s *leastSquares) solve(n int) (of shares, ok bool) {
	for i := n; i < len(s.h); i++ {
		s.h[i][i] = 1 // not asked
	}
	x, ok := solve(s.h, s.g)
	of.at = x[:n]
	for i := range n {
		var unit [6]float64
		unit[i] = 1
		column, solved := solve(s.h, unit)
		of.covariance, ok = append(of.covariance, column), ok && solved
	}
	return of, ok
}
