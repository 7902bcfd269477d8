package pixels

import (
	"math"
	"slices"
)

// An outwardOrder is what is known of a run that may have been made from a middle
// focus outwards.
type outwardOrder struct {
	// places are the frames in the order of focus; nil where they were made in it, or
	// no such order is seen.
	places []int
	// join is the link, as made, over which focus comes back to where it began; -1 where
	// both sides were made in turn.
	join int
	// alternates means that focus goes to and fro with every frame, in whatever order.
	alternates bool
}

// askOutwards finds runs made from a middle focus outwards: on both sides in turn (0, −,
// +), or all of one side first. The sharpness of each part of the subject rises once and
// falls once in the order of focus. In the order in which such a run was made it comes
// back: between two frames in which the part is sharp lies a valley. Any fault but this
// order leaves valleys in both orders.
func (e *evidence) askOutwards(c *curves) outwardOrder {
	n := len(e.frames)
	if n < outwardFrames || n != e.added || e.long || e.unfit != "" {
		return outwardOrder{}
	}
	tiles := c.comingAndGoing()
	if len(tiles) < e.th.MinTiles {
		return outwardOrder{}
	}
	made := c.valleys(tiles, upTo(n))
	if percentile(made, outwardMost) < outwardDeep {
		return outwardOrder{}
	}
	if o := c.inTurn(tiles, n, median(slices.Clone(made))); o.places != nil || o.alternates {
		return o
	}
	return e.oneSideFirst(c, tiles, percentile(made, outwardMost))
}

// inTurn finds a run made on both sides in turn, whose curves have valleys this deep in
// the order in which it was made.
func (c *curves) inTurn(tiles []*curve, n int, deep float64) outwardOrder {
	if deep < outwardDeep {
		return outwardOrder{}
	}
	best := inTurn(n)
	left := median(c.valleys(tiles, best))
	flat := func() bool { return left <= outwardLeft*deep && left <= outwardFlat }
	if !flat() { // behind one lost frame the sides take turns the other way round
		for lost := 2; lost < n-1; lost++ {
			other := inTurnWithout(n, lost)
			if v := median(c.valleys(tiles, other)); v < left {
				left, best = v, other
			}
		}
	}
	if flat() {
		return outwardOrder{places: best, join: -1}
	}
	return outwardOrder{alternates: left <= outwardLess*deep}
}

// oneSideFirst finds a run of which one side was made before the other: focus comes back
// over one link, and the picture changes most there.
func (e *evidence) oneSideFirst(c *curves, tiles []*curve, was float64) outwardOrder {
	n := len(e.frames)
	last, widest := 0, 0.0
	for _, l := range e.links {
		if l.to-l.from == 1 && l.motion.Converged && !e.outside[l.from] && !e.outside[l.to] && l.change > widest {
			last, widest = l.from, l.change
		}
	}
	sides := oneThenOther(n, last)
	most := percentile(c.valleys(tiles, sides), outwardMost)
	short := min(last, n-1-last)
	if most > outwardDeepest || most > outwardLess*was || short < outwardSide || !e.sidesJoin(last, float64(short)) {
		return outwardOrder{}
	}
	return outwardOrder{places: sides, join: last}
}

// sidesJoin distinguishes a run of which one side was made first from one that started
// over after frame last: there the shorter part shows again what the other showed. It
// decides by the way the picture scales or drifts, which goes on, or else where the
// part is too long for one peak to hide this.
func (e *evidence) sidesJoin(last int, short float64) bool {
	radius := typicalRadius * e.diagonal()
	for _, of := range []func(Motion) float64{
		func(m Motion) float64 { return m.Scale * radius },
		func(m Motion) float64 { return m.ShiftX },
		func(m Motion) float64 { return m.ShiftY },
	} {
		a, sureA := e.slope(0, last, of)
		b, sureB := e.slope(last+1, len(e.frames)-1, of)
		if sureA && sureB {
			return a*b < 0 && min(math.Abs(a), math.Abs(b)) > outwardSlopes*max(math.Abs(a), math.Abs(b))
		}
	}
	f := e.sorted(oneThenOther(len(e.frames), last), last)
	return short >= outwardWidths*f.curves(f.outside).hw
}

// slope returns by how many px a motion of the picture goes on per frame from one frame
// to another, and whether that stands out of its noise.
func (e *evidence) slope(from, to int, of func(Motion) float64) (px float64, sure bool) {
	var n, sx, sy, sxx, sxy, syy float64
	for i := from; i <= to; i++ {
		if e.outside[i] {
			continue
		}
		x, y := float64(i), of(e.frames[i].place)
		n, sx, sy, sxx, sxy, syy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y, syy+y*y
	}
	if n < 4 {
		return 0, false
	}
	vx, vxy, vy := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	px = vxy / vx
	noise := math.Sqrt(max(0, vy-px*vxy)/(n-2)) + shiftNoise
	return px, math.Abs(px)*math.Sqrt(vx) > outwardSure*noise
}

// comingAndGoing returns the sharpness of the tiles that come and go by more than noise
// and light make, whatever the order of the frames.
func (c *curves) comingAndGoing() (tiles []*curve) {
	for i := range c.tiles {
		if t := &c.tiles[i]; t.detail && t.rise >= walkRise {
			tiles = append(tiles, t)
		}
	}
	return tiles
}

// valleys returns the depth of the deepest valley of each curve, in shares of its height.
func (c *curves) valleys(tiles []*curve, order []int) []float64 {
	var known []int
	for _, i := range order {
		if i -= c.lo; i >= 0 && i < c.n && c.real[i] {
			known = append(known, i)
		}
	}
	out := make([]float64, len(tiles))
	for i, t := range tiles {
		out[i] = valley(t.f, known)
	}
	return out
}

// valley returns the depth of the deepest valley of a curve between two higher points,
// with its frames in the given order.
func valley(f []float32, order []int) float64 {
	n := len(order)
	behind := make([]float32, n)
	for k := n - 2; k >= 0; k-- {
		behind[k] = max(behind[k+1], f[order[k+1]])
	}
	var before, deepest float32
	for k, i := range order {
		deepest = max(deepest, min(before, behind[k])-f[i])
		before = max(before, f[i])
	}
	return float64(deepest)
}

// upTo returns the numbers from 0 on.
func upTo(n int) []int {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	return order
}

// inTurn returns the places of n frames in the order of focus where they were made
// outwards, on both sides in turn.
func inTurn(n int) []int {
	var near, far []int
	for i := range n {
		if i%2 == 1 {
			near = append(near, i)
		} else {
			far = append(far, i)
		}
	}
	slices.Reverse(near)
	return append(near, far...)
}

// inTurnWithout is inTurn for n frames that are left where one was lost.
func inTurnWithout(n, lost int) []int {
	order := slices.DeleteFunc(inTurn(n+1), func(i int) bool { return i == lost })
	for k, i := range order {
		if i > lost {
			order[k]--
		}
	}
	return order
}

// oneThenOther returns the places of n frames in the order of focus where all of one
// side, up to frame last, were made before the other.
func oneThenOther(n, last int) []int {
	order := upTo(n)
	slices.Reverse(order[:last+1])
	return order
}

// sorted returns the evidence as of a run made in the order of focus: frames are named
// by their place in it. What lies between the frames on both sides of the join is not
// known: they were registered over the widest step of all.
func (e *evidence) sorted(places []int, join int) *evidence {
	r := *e.run
	n := len(places)
	r.frames, r.links = make([]frame, n), nil
	r.settings, r.ev, r.lnGain = make([]float64, n), make([]float64, n), make([]float64, n)
	r.strange = make([]bool, n)
	dark := make([]bool, n)
	into := make([]link, n) // each frame, in the order made
	for _, l := range e.links {
		into[l.to] = l
	}
	for k, i := range places {
		r.frames[k] = e.frames[i]
		r.frames[k].index = k
		r.settings[k], r.ev[k], r.lnGain[k] = e.settings[i], e.ev[i], e.lnGain[i]
		r.strange[k], dark[k] = e.strange[i], e.dark[i]
	}
	s := Sequence{grid: e.grid, frames: r.frames}
	for k := 1; k < n; k++ {
		a, b := places[k-1], places[k]
		m := e.frames[a].place.to(e.frames[b].place)
		m.Unexplained = max(into[a].motion.Unexplained, into[b].motion.Unexplained)
		m.Doubt = max(into[a].motion.Doubt, into[b].motion.Doubt)
		m.Converged = (join < 0 || b != join+1) && !e.strange[a] && !e.strange[b]
		r.links = append(r.links, s.compare(k-1, k, m))
	}
	return r.evidence(dark)
}

// withoutFocus returns the evidence of a run made outwards without the motion of the
// picture that goes with focus, so that only what else moved it is left.
func (e *evidence) withoutFocus(places []int) *evidence {
	r := *e.run
	r.links = slices.Clone(e.links)
	at := make([]float64, len(places))
	for k, i := range places {
		at[i] = float64(k)
	}
	for _, part := range []func(*Motion) *float64{
		func(m *Motion) *float64 { return &m.ShiftX },
		func(m *Motion) *float64 { return &m.ShiftY },
		func(m *Motion) *float64 { return &m.Rotation },
		func(m *Motion) *float64 { return &m.Scale },
	} {
		var steps []float64
		for i := range r.links {
			l := &r.links[i]
			steps = append(steps, *part(&l.motion)/(at[l.to]-at[l.from]))
		}
		step := median(steps)
		for i := range r.links {
			l := &r.links[i]
			*part(&l.motion) -= step * (at[l.to] - at[l.from])
		}
	}
	out := *e
	out.run = &r
	out.signature = signature{v: make([]float64, len(r.links))}
	return &out
}

// to returns the motion from the picture at place a to that at place b.
func (a Motion) to(b Motion) Motion {
	// b divided by a, as complex factors
	d := (1+a.Scale)*(1+a.Scale) + a.Rotation*a.Rotation
	re := ((1+b.Scale)*(1+a.Scale) + b.Rotation*a.Rotation) / d
	im := (b.Rotation*(1+a.Scale) - (1+b.Scale)*a.Rotation) / d
	return Motion{
		Scale: re - 1, Rotation: im,
		ShiftX: b.ShiftX - (re*a.ShiftX - im*a.ShiftY),
		ShiftY: b.ShiftY - (im*a.ShiftX + re*a.ShiftY),
		Gain:   1,
	}
}

// unsure leaves what is uncertain out of the jumps of the picture in a run made
// outwards: over its widest steps, blur that changes much pulls registration aside.
func (m *Moved) unsure(o outwardOrder, links int) {
	m.Events = slices.DeleteFunc(m.Events, func(ev Move) bool {
		wide := ev.From == o.join || o.join < 0 && ev.From >= links-weakLinks
		if wide {
			m.Doubtful = append(m.Doubtful, ev.To)
		}
		return wide
	})
	if m.Answer == Found && len(m.Events) == 0 {
		m.Verdict = decided(false)
	}
}

// asMade names the frames of answers that were given of the sorted evidence as they
// were made.
func (j *Judgement) asMade(places []int) {
	for i := range j.Jumps.Events {
		ev := &j.Jumps.Events[i]
		ev.From, ev.To = places[ev.From], places[ev.To]
	}
	for i, k := range j.Layout.Frames {
		j.Layout.Frames[i] = places[k]
	}
	for i := range j.Soft.Events {
		ev := &j.Soft.Events[i]
		ev.Frame = places[ev.Frame]
	}
	j.First.Frame, j.Last.Frame = places[j.First.Frame], places[j.Last.Frame]
	// Neighbours in focus were not made one after the other: what stands or goes back
	// between them may be their registration, over two wide steps.
	if j.Stalls.Answer == Found {
		j.Stalls = Stalls{Verdict: cannot(ReasonOutwards)}
	}
	if j.Order.Answer == Found {
		j.Order = Order{Verdict: cannot(ReasonOutwards)}
	}
}
