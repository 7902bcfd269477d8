package pixels

import (
	"math"
	"slices"
)

// An amidRun is a frame among the tiles of a run in which focus walks.
type amidRun struct {
	peaks    []shape
	here     []float64 // ln of the frame's focus measure at the tile of each
	contrast []float64 // ln of what the frame loses of the tile's coarse detail
	noise    float64   // deviation of ln sharpness
	box      Box       // around the tile that is sharpest in the run
}

// A placed is where in focus a frame fits the peaks of a run.
type placed struct {
	at     float64 // usual steps
	common float64 // ln: what all tiles differ by
	misfit float64 // mean of Cauchy's cost
}

// SofterThanRun asks whether the frame is softer than a run in which focus walks, at the same
// settings. A sound frame is somewhere in focus: there its tiles are as sharp as their curves
// over focus are at their peaks. These are fitted to all frames of the run, so that they are no
// higher by noise, as the sharpest frame is. The frame is compared where it fits the curves best, so
// that one between two parts of the subject is not expected to show either sharply.
func (s *Still) SofterThanRun(j *Judgement) Softness {
	o := j.stillAs(s)
	if !j.Layout.valid() || !s.fits(o) {
		return Softness{Verdict: cannot(ReasonNoView)}
	}
	v, w := s.compared(), o.seen(0)
	mo, brighter, why := v.from(&w)
	known := why == ""
	if !known {
		// What misses focus by far in a deep subject is like nothing in focus. It may still be
		// placed by the picture, and fit the curves beyond the subject.
		if why != ReasonOtherView || !v.glimpse().like(w.glimpse()) {
			return Softness{Verdict: cannot(why)}
		}
		if mo, brighter, why = v.nearest(&w); why != "" {
			return Softness{Verdict: cannot(why)}
		}
	}
	f := v.amid(&w, &j.Layout, mo, brighter)
	if len(f.peaks) < stillTiles {
		return Softness{Verdict: cannot(ReasonTexture)}
	}
	inside, beyond := f.place(&j.Layout)
	reach, cleared := f.reach(inside.at)
	missed := beyond.misfit <= inRunBeyond*inside.misfit
	loss := math.Exp(reach)
	soft := reach <= -stillLoss && (cleared <= -inRunCleared || missed)
	if !known && !(soft && missed && beyond.misfit <= inRunFits) {
		return Softness{Verdict: cannot(ReasonOtherView)}
	}
	x := Softness{Verdict: decided(soft), Loss: max(0, 1-loss), Tiles: len(f.peaks), EV: toneSlope * math.Log2(brighter)}
	if soft {
		x.Box = f.box
	}
	return x
}

// valid reports whether a frame can be placed in the layout, which may come from a file.
func (l *Layout) valid() bool {
	return len(l.Peaks) >= DefaultThresholds().MinTiles && len(l.Places) > 0 &&
		slices.Min(l.Places) >= -inRunWidest && slices.Max(l.Places) <= inRunWidest
}

// stillAs is what a run shows as a still of the grid of another; how sharp its cells are it does
// not have.
func (j *Judgement) stillAs(s *Still) *Still {
	return &Still{Width: j.View.Width, Height: j.View.Height, Luma: j.View.Luma, Cells: s.Cells, Sharpness: s.Sharpness}
}

// nearest is from for pictures that are not alike: as far as they can be laid on each other.
func (v *stillView) nearest(w *stillView) (mo Motion, brighter float64, why string) {
	for _, passes := range [...]int{stillCoarse, 0} {
		a, b := w.Still.seen(passes), v.Still.seen(passes)
		if _, mo = a.View.likeness(&b.View); !mo.Converged {
			continue
		}
		if brighter = a.View.brighter(mo); math.Abs(toneSlope*math.Log2(brighter)) > stillEV {
			return mo, 0, ReasonOtherLight
		}
		mo.ShiftX, mo.ShiftY = mo.ShiftX*v.px(), mo.ShiftY*v.px()
		return mo, brighter, ""
	}
	return mo, 0, ReasonOtherView
}

// amid reads the frame at the tiles of a run.
func (v *stillView) amid(w *stillView, l *Layout, mo Motion, brighter float64) (f amidRun) {
	f.noise = max(l.Noise, inRunNoise)
	c := &v.Cells
	side := float64(tileEdge(c.Cols, c.Rows)) * c.Edge * (1 + mo.Scale)
	coarseW, coarseV := w.seen(stillCoarse), v.seen(stillCoarse)
	most := math.Inf(-1)
	for i := range l.Peaks {
		p := &l.Peaks[i]
		px, py := float64(p.X), float64(p.Y)
		x, y := (1+mo.Scale)*px-mo.Rotation*py+mo.ShiftX, mo.Rotation*px+(1+mo.Scale)*py+mo.ShiftY
		e, ok := v.at(x, y, side)
		if !ok {
			continue
		}
		of := p.peak()
		coarse := max(coarseW.detailAt(px, py), leastEnergy) / max(coarseV.detailAt(x, y), leastEnergy)
		f.peaks = append(f.peaks, of.shape())
		f.here = append(f.here, math.Log(e/(brighter*brighter)))
		f.contrast = append(f.contrast, max(0, math.Log(coarse*brighter*brighter)))
		if top := of.theta[peakTop]; top > most {
			most = top
			x, y, around := x+c.CentreX*c.Edge, y+c.CentreY*c.Edge, 1.5*side
			width, height := float64(c.Cols)*c.Edge, float64(c.Rows)*c.Edge
			f.box = Box{X0: max(0, x-around) / width, Y0: max(0, y-around) / height, X1: min(width, x+around) / width, Y1: min(height, y+around) / height}
		}
	}
	return f
}

// place finds where the frame fits the curves best: inside the subject, whatever all tiles
// differ by, and beyond it, where they differ by hardly anything.
func (f *amidRun) place(l *Layout) (inside, beyond placed) {
	var at []float64
	for i := range f.peaks {
		at = append(at, f.peaks[i].theta[peakAt])
	}
	nearest, farthest := percentile(at, inRunEnds), percentile(at, 1-inRunEnds)
	first, last := slices.Min(l.Places), slices.Max(l.Places)
	reach := max(inRunReach, inRunReachShare*(last-first))
	inside.misfit, beyond.misfit = math.Inf(1), math.Inf(1)
	left := make([]float64, len(f.peaks))
	try := func(x float64) {
		for i := range f.peaks {
			value, _ := f.peaks[i].at(x)
			left[i] = f.here[i] - value
		}
		p := placed{at: x, common: median(slices.Clone(left))}
		best := &inside
		if x < nearest || x > farthest {
			best = &beyond
			p.common = max(-inRunCommon, min(inRunCommon, p.common))
		}
		for _, r := range left {
			p.misfit += math.Log1p(square((r-p.common)/(cauchyWidth*f.noise))) / float64(len(left))
		}
		if p.misfit < best.misfit {
			*best = p
		}
	}
	try(nearest)
	for x := first - reach; x <= last+reach; x += inRunGrid {
		try(x)
	}
	return inside, beyond
}

// reach is how sharp the sharpest tiles of the frame are, ln of what they have at their peaks,
// against what those of the run have where focus is at x; cleared is that where what all
// detail alike loses, as in softer light, is taken out.
func (f *amidRun) reach(x float64) (reach, cleared float64) {
	var here, without, run []float64
	for i := range f.peaks {
		p := &f.peaks[i]
		peak, _ := p.at(p.theta[peakAt])
		value, _ := p.at(x)
		run = append(run, value-peak)
		here = append(here, f.here[i]-peak)
		without = append(without, f.here[i]-peak+f.contrast[i])
	}
	expected := percentile(run, inRunSharpest)
	return percentile(here, inRunSharpest) - expected, percentile(without, inRunSharpest) - expected
}
