package pixels

import (
	"math"
	"slices"
)

// A loss is how much softer one frame is than its neighbours lead to expect.
type loss struct {
	at, tiles  int     // frame, and tiles that count
	loss, most float64 // ln: the median of the tiles, and of nearly all of them
	// either is the median loss against the softer of the two neighbours, ln. A tile gets sharper
	// until it is in focus, and softer behind: at any focus between two frames it is at least as
	// sharp as in the softer of them. So uneven steps make no such loss.
	either float64
	sided  bool // along one direction
}

// round reports whether the loss counts without a direction.
func (l loss) round(limit, most float64) bool {
	return l.loss >= limit && min(l.most, l.either) >= most
}

// askSoft compares each frame with the mean of its neighbours.
func (e *evidence) askSoft(w Walk, c *curves, stalls Stalls, o Order, b Brightness) Soft {
	walking := w.Answer == Found
	switch {
	case e.long:
		return Soft{Verdict: cannot(ReasonLong)}
	case walking && c.textured < e.th.MinTiles || !walking && c.detail < e.th.MinTiles:
		return Soft{Verdict: cannot(ReasonTexture)}
	case e.unfit != "":
		return Soft{Verdict: cannot(e.unfit)}
	case w.Answer == CannotTell:
		return Soft{Verdict: cannot(ReasonWalk)}
	}
	var losses []loss
	for i := 1; i+1 < c.n; i++ {
		if !c.real[i-1] || !c.real[i] || !c.real[i+1] {
			continue
		}
		if l, ok := e.lossAt(c, i, walking); ok {
			losses = append(losses, l)
		}
	}
	if len(losses) == 0 {
		return Soft{Verdict: cannot(ReasonNoNeighbour)}
	}
	limit, most := e.th.SoftLoss, e.th.SoftLossMost
	if !walking {
		// Sharpness stands, so a smaller loss is enough.
		var all []float64
		for _, l := range losses {
			all = append(all, math.Abs(l.loss))
		}
		limit, most = max(e.th.SoftLossStanding, softStandingMAD*consistent*median(all)), e.th.SoftLossMost/2
	}
	var s Soft
	for _, l := range losses {
		at := l.at
		if !l.round(limit, most) && (!l.sided || l.loss < e.th.SoftLossSided) {
			continue
		}
		if stalls.touches(at-1, at+1) || o.touches(at-1, at+1) || b.touches(at-1, at+1) {
			continue
		}
		s.Events = append(s.Events, SoftFrame{Frame: at, Loss: 1 - math.Exp(-l.loss), Tiles: l.tiles})
	}
	s.Verdict = decided(len(s.Events) > 0)
	return s
}

// lossAt compares frame i of the curves with its neighbours; not ok where too few
// tiles are sharp enough in all of them.
func (e *evidence) lossAt(c *curves, i int, walking bool) (loss, bool) {
	var d, either []float64
	sharp := make([]bool, len(c.tiles))
	for k := range c.tiles {
		t := &c.tiles[k]
		if walking && !t.textured || !walking && !t.detail {
			continue
		}
		before, here, behind := float64(t.f[i-1]), float64(t.f[i]), float64(t.f[i+1])
		eps := max(softFloor, softNoise*t.noise)
		if !walking { // the plain focus measure, over what the run has at least
			h := t.peak - t.floor
			before, here, behind = t.floor+before*h, t.floor+here*h, t.floor+behind*h
			if min(before, behind) < softEnergy*e.th.MinEnergy {
				continue
			}
			eps = 0
		} else if (before+behind)/2 <= softMean || min(before, behind) <= softLeast {
			continue
		}
		sharp[k] = true
		before, here, behind = math.Log(before+eps), math.Log(here+eps), math.Log(behind+eps)
		d = append(d, here-(before+behind)/2)
		either = append(either, here-min(before, behind))
	}
	if len(d) < softTiles {
		return loss{}, false
	}
	return loss{c.lo + i, len(d), -median(d), -percentile(d, softNearlyAll), -median(either), e.sided(c.lo+i, sharp)}, true
}

// sided reports whether the frame of that index differs from the frames beside it in the
// directions of what is sharp, as a shake leaves it and defocus does not.
func (e *evidence) sided(index int, sharp []bool) bool {
	at := slices.IndexFunc(e.frames, func(f frame) bool { return f.index == index })
	if at < 0 {
		return false
	}
	var x, y []float64
	for _, s := range e.frames[at].slants {
		if sharp[s.tile] {
			x, y = append(x, float64(s.x)), append(y, float64(s.y))
		}
	}
	if len(x) < sideTiles {
		return false
	}
	mx, my := median(slices.Clone(x)), median(slices.Clone(y))
	off := make([]float64, len(x))
	for i := range x {
		off[i] = math.Hypot(x[i]-mx, y[i]-my)
	}
	// The deviation of a median is √(π/2) of that of a mean (normal distribution).
	sigma := math.Sqrt(math.Pi/2/float64(len(x))) * median(off) / rayleighMedian
	side := math.Hypot(mx, my)
	return side >= sideLeast && side >= sideSigma*sigma
}
