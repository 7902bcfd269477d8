package pixels

import (
	"math"
	"slices"
)

// excess returns by how many px each link's picture jumps beyond its
// neighbours' drift, and where to; NaN where it is not registered.
func (e *evidence) excess() (size []float64, shift [][2]float64) {
	n := len(e.links)
	var part [3][]float64 // shift in x and y, and rotation as px half-way to the corner
	half := typicalRadius * e.diagonal()
	for k := range part {
		part[k] = make([]float64, n)
	}
	for i, l := range e.links {
		m, span := l.motion, e.span(l)
		v := [3]float64{m.ShiftX / span, m.ShiftY / span, m.Rotation * half / span}
		for k := range part {
			part[k][i] = v[k]
			if !m.Converged || e.strange[l.from] || e.strange[l.to] {
				part[k][i] = math.NaN()
			}
		}
	}
	sg := &e.signature
	size, shift = make([]float64, n), make([][2]float64, n)
	for i := range size {
		var plain, along, still float64
		for k := range part {
			m := around(part[k], i, nearLinks)
			d := part[k][i] - m
			plain += d * d
			if k < 2 {
				shift[i][k] = d
			}
			// A gap scales the neighbours' drift: focusing off centre.
			if sg.Kind != "" && !math.IsNaN(sg.k[i]) { // not of a bump that was set aside
				d = part[k][i] - sg.k[i]*m
			}
			along += d * d
			still += part[k][i] * part[k][i]
		}
		if sg.Kind == "drift" { // over a step that did not come the picture lies still
			along = min(along, still)
		}
		size[i] = math.Sqrt(min(plain, along)) * e.span(e.links[i])
	}
	return size, shift
}

// askMoved finds jumps of the picture.
func (e *evidence) askMoved(w Walk, o Order) Moved {
	d, shift := e.excess()
	values := known(d)
	if len(values) < movedLinks {
		return Moved{Verdict: cannot(ReasonUnrelated)}
	}
	least := e.th.MovedPixels * e.perLongSide()
	limit := max(least, e.th.MovedSigma*(median(values)/rayleighMedian+shiftNoise))
	m, hits := e.jumpsOver(limit, d, shift, w, o)
	lost, unknown := e.broken()
	m.Events = append(e.moves(hits, d, shift), lost...)
	m.Unmatched = append(m.Unmatched, unknown...)
	slices.SortFunc(m.Events, func(a, b Move) int { return a.From - b.From })
	m.Verdict = decided(len(m.Events) > 0)
	switch {
	case 2*(len(m.Doubtful)+len(m.Unmatched)) > len(d): // too few links to be sure of any
		return Moved{Verdict: cannot(ReasonUnrelated)}
	case m.Answer == Fine && limit > unsteady*least:
		m.Verdict = cannot(ReasonUnsteady)
	}
	return m
}

// jumpsOver returns the links over which the picture jumps by more than the limit,
// beyond doubt and beside no jump back of focus; and the frames up to which a jump
// would not have been recognised.
func (e *evidence) jumpsOver(limit float64, d []float64, shift [][2]float64, w Walk, o Order) (m Moved, hits []int) {
	var left []float64
	for _, l := range e.links {
		left = append(left, l.motion.Unexplained)
	}
	usual := median(left)
	for i, v := range d {
		l := e.links[i]
		from, to := e.ends(l)
		doubt := doubtTimes * l.motion.Doubt
		// Where blur has wiped out what both pictures show, the best match
		// leaves far more than noise does.
		blurred := l.motion.Unexplained > max(maxLeft, leftTimes*usual)
		doubtful := v <= doubt || blurred
		switch {
		case e.strange[l.from] || e.strange[l.to]:
		case math.IsNaN(v):
			m.Unmatched = append(m.Unmatched, to)
		case doubtful && (doubt > limit || blurred):
			m.Doubtful = append(m.Doubtful, to)
		case v > limit && !doubtful && !undone(i, limit, d, shift) && e.lensPlay(i, v, w):
			m.Doubtful = append(m.Doubtful, to)
		case v > limit && !doubtful && !o.touches(from, to):
			hits = append(hits, i)
		}
	}
	return m, hits
}

// undone reports whether a jump over the next link, or the one before, takes this one back:
// then one frame lay aside. A lens that stops shifts the picture until it starts again, and focus stands
// over a link between at least.
func undone(i int, limit float64, d []float64, shift [][2]float64) bool {
	for _, k := range [...]int{i - 1, i + 1} {
		if k >= 0 && k < len(d) && d[k] > limit && undoes(shift[i], shift[k], d[i]) {
			return true
		}
	}
	return false
}

// undoes reports whether two shifts, of which the first is a jump of px, are there and back.
func undoes(a, b [2]float64, px float64) bool {
	return math.Hypot(a[0]+b[0], a[1]+b[1]) < undoShare*px
}

// lensPlay reports whether a small jump over link i lies where focus starts or stops:
// a lens itself shifts the picture then.
func (e *evidence) lensPlay(i int, px float64, w Walk) bool {
	sg := &e.signature
	n := len(e.links)
	if px >= playPixels*e.perLongSide() || w.Answer != Found && sg.Kind == "" || i < playLinks || i+playLinks >= n {
		return false
	}
	first, last := max(0, i-wideLinks), min(n-1, i+wideLinks)
	if sg.Kind != "" {
		before, behind := median(absolute(sg.v[first:i])), median(absolute(sg.v[i+1:last+1]))
		return min(before, behind) <= e.th.StallRatio*max(before, behind)
	}
	// Over several frames focus that moves changes sharpness by more than over one;
	// noise does not. The most of them, as sharpness comes back behind its peak.
	before, behind := 0.0, 0.0
	for k := 1; k <= wideLinks; k++ {
		before = max(before, e.sharpnessChange(e.links[max(first, i-k)].from, e.links[i].from))
		behind = max(behind, e.sharpnessChange(e.links[i].to, e.links[min(last, i+k)].to))
	}
	return min(before, behind) <= playChange*max(before, behind)
}

// sharpnessChange returns by how much the sharpness of the tiles differs between two
// frames, in ln: the median of those that show more than noise; NaN of few.
func (e *evidence) sharpnessChange(a, b int) float64 {
	if e.frames[a].tiles == nil || e.frames[b].tiles == nil || e.outside[a] || e.outside[b] {
		return math.NaN()
	}
	gain := 2 * (e.lnGain[b] - e.lnGain[a])
	var d []float64
	for t, from := range e.frames[a].tiles {
		p, q := float64(from.energy), float64(e.frames[b].tiles[t].energy)
		if min(p, q) >= e.th.MinEnergy {
			d = append(d, math.Abs(math.Log(q/p)-gain))
		}
	}
	if len(d) < softTiles {
		return math.NaN()
	}
	return median(d)
}

// moves names the links, and marks where two jumps undo each other.
func (e *evidence) moves(hits []int, d []float64, shift [][2]float64) (events []Move) {
	for n, i := range hits {
		from, to := e.ends(e.links[i])
		ev := Move{From: from, To: to, Pixels: d[i], Lasting: true}
		back := func(k int) bool { return undoes(shift[i], shift[k], d[i]) }
		if n+1 < len(hits) && hits[n+1]-i <= undoLinks && back(hits[n+1]) || n > 0 && i-hits[n-1] <= undoLinks && back(hits[n-1]) {
			ev.Lasting = false
		}
		events = append(events, ev)
	}
	return events
}

// near reports whether a jump of the picture begins within the given number of
// frames of frame from.
func (m *Moved) near(from, frames int) bool {
	for _, e := range m.Events {
		if e.From-from <= frames && from-e.From <= frames {
			return true
		}
	}
	return false
}

// touches reports whether the picture jumps over one of the links between two frames.
func (m *Moved) touches(from, to int) bool {
	return slices.ContainsFunc(m.Events, func(e Move) bool { return e.From < to && from < e.To })
}
