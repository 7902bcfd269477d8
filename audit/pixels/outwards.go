package pixels

import (
	"math"
	"slices"
)

// An outwardOrder is what is known of a run that may have been made from a middle
// focus outwards.
type outwardOrder struct {
	// places are the frames, as added, in the order of focus; nil where they were made in
	// it, or no such order is seen.
	places []int
	// join is the frame, as added, behind which focus comes back to where it began; -1
	// where both sides were made in turn.
	join int
	// unsure means that such an order explains more of the run than that in which it was
	// made, but not all of it.
	unsure bool
}

// askOutwards finds runs made from a middle focus outwards: on both sides in turn (0, −,
// +), or all of one side first. The sharpness of each part of the subject rises once and
// falls once in the order of focus. In the order in which such a run was made it comes
// back: between two frames in which the part is sharp lies a valley. Any fault but this
// order leaves valleys in both orders.
func (e *evidence) askOutwards(c *curves) outwardOrder {
	out, lost := e.unplaced()
	steps := e.unfit == ReasonUnrelated || e.unfit == ReasonViews // or steps of focus that are too wide
	if e.long || e.unfit != "" && !steps || float64(lost) > outwardLost*float64(e.added) {
		return outwardOrder{}
	}
	if !slices.Equal(out, e.outside) {
		c = e.curves(out)
	}
	tiles := c.comingAndGoing()
	if len(tiles) < e.th.MinTiles {
		return outwardOrder{}
	}
	v := c.newValleys(tiles, e.added)
	o := v.inTurn()
	if o.places == nil && !o.unsure && !steps {
		o = e.oneSideFirst(v)
	}
	if o.places != nil && e.added < outwardFrames {
		return outwardOrder{unsure: true}
	}
	return o
}

// unplaced returns the frames of which it is not known what they show of the run, and
// how many of those added lack for one reason or another.
func (e *evidence) unplaced() (out []bool, lost int) {
	out = make([]bool, len(e.frames))
	lost = e.added - len(e.frames)
	for i, f := range e.frames {
		if out[i] = e.dark[i] || e.strange[i] && !f.placed; out[i] {
			lost++
		}
	}
	return out, lost
}

// shows reports whether a frame, as added, is known to show the run.
func (e *evidence) shows(index int) bool {
	return slices.ContainsFunc(e.frames, func(f frame) bool { return f.index == index && f.placed })
}

// inTurn finds a run made on both sides in turn, of which a frame may be lost, and one
// side may end before the other.
func (v *valleys) inTurn() outwardOrder {
	n := v.n
	if v.left(upTo(n)) < outwardHint {
		return outwardOrder{}
	}
	best := inTurn(n, n, n)
	least := v.left(best)
	without, at := v.best(inTurnsWithout(n))
	oneSide, _ := v.best(inTurnsThenOne(n, n))
	both, _ := v.best(inTurnsThenOne(n, at+1))
	for _, other := range [][]int{without, oneSide, both} {
		if other == nil {
			continue
		}
		if l := v.left(other); l < outwardBetter*least {
			best, least = other, l
		}
	}
	depths, rest := v.against(best)
	made, left := mean(depths), mean(rest)
	switch {
	case made < outwardHint || left > outwardLess*made:
		return outwardOrder{}
	case made >= outwardDeep && left <= outwardLeft*made && left <= outwardFlat:
		return outwardOrder{places: best, join: -1}
	}
	return outwardOrder{unsure: true}
}

// oneSideFirst finds a run of which one side was made before the other. The way the
// picture scales or drifts decides: it goes one way, comes back, and goes the other way.
// Where it does neither, the valleys do, if the part is too long for one peak to hide
// that it started over.
func (e *evidence) oneSideFirst(v *valleys) outwardOrder {
	best, _ := v.best(onesThenOther(v.n))
	if best == nil {
		return outwardOrder{}
	}
	last := best[0]
	if jump := e.widestJump(); jump >= outwardSide && jump < v.n-outwardSide { // the valleys may not show where
		if other := oneThenOther(v.n, jump); v.left(other) <= v.left(best)+outwardSame {
			best, last = other, jump
		}
	}
	made, left := v.against(best)
	if l := mean(left); l > outwardFlat || l > mean(made)+outwardSame {
		return outwardOrder{}
	}
	joins := comesBack(made, left) // what lies near the middle
	ways, back := e.ways(last)
	switch {
	case ways < 0 && (joins || back < outwardBack):
		return outwardOrder{places: best, join: last}
	case ways < 0 || !joins:
		return outwardOrder{}
	}
	f := e.sorted(best, last)
	long := float64(min(last, v.n-1-last)) >= outwardWidths*f.curves(f.outside).hw
	if ways == 0 && long {
		return outwardOrder{places: best, join: last}
	}
	return outwardOrder{unsure: ways == 0 || long}
}

// widestJump returns the frame, as added, behind which the picture moves most.
func (e *evidence) widestJump() (at int) {
	radius := typicalRadius * e.diagonal()
	widest := 0.0
	for i := 1; i < len(e.frames); i++ {
		a, b := e.frames[i-1].place, e.frames[i].place
		d := math.Hypot((b.Scale-a.Scale)*radius, math.Hypot(b.ShiftX-a.ShiftX, b.ShiftY-a.ShiftY))
		if d > widest {
			widest, at = d, e.frames[i-1].index
		}
	}
	return at
}

// ways compares the way in which the picture scales or drifts up to frame last, as added,
// with that behind it: below 0 where it goes back, above where it goes the same way, 0
// where neither stands out of noise. Back is how far from the first frame the first one
// behind lies, in shares of the way up to last: 0 where focus came back to where it began,
// 1 where it went back from where it was.
func (e *evidence) ways(last int) (ways, back float64) {
	radius := typicalRadius * e.diagonal()
	most := outwardSure
	for _, of := range []func(Motion) float64{
		func(m Motion) float64 { return m.Scale * radius },
		func(m Motion) float64 { return m.ShiftX },
		func(m Motion) float64 { return m.ShiftY },
	} {
		a, strengthA := e.slope(0, last, of)
		b, strengthB := e.slope(last+1, e.added-1, of)
		alike := min(math.Abs(a), math.Abs(b)) > outwardSlopes*max(math.Abs(a), math.Abs(b))
		if min(strengthA, strengthB) <= most || !alike {
			continue
		}
		most, ways = min(strengthA, strengthB), math.Copysign(1, a*b)
		for _, f := range e.frames {
			if f.index > last {
				back = math.Abs((of(f.place) - of(e.frames[0].place) - b) / (a * float64(last)))
				break
			}
		}
	}
	return ways, back
}

// slope returns by how many px a motion of the picture goes on per frame from one frame,
// as added, to another, and by how many noise deviations it stands out.
func (e *evidence) slope(from, to int, of func(Motion) float64) (px, strength float64) {
	var n, sx, sy, sxx, sxy, syy float64
	for i, f := range e.frames {
		if f.index < from || f.index > to || e.dark[i] || !f.placed {
			continue
		}
		x, y := float64(f.index), of(f.place)
		n, sx, sy, sxx, sxy, syy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y, syy+y*y
	}
	if n < 4 {
		return 0, 0
	}
	vx, vxy, vy := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	px = vxy / vx
	noise := math.Sqrt(max(0, vy-px*vxy)/(n-2)) + shiftNoise
	return px, math.Abs(px) * math.Sqrt(vx) / noise
}
