package pixels

import (
	"math"
	"slices"
)

// askStalls finds links over which focus did not move.
func (e *evidence) askStalls(w Walk, m Moved, steps joinedSteps) Stalls {
	n := len(e.links)
	sg := &e.signature
	still, same := make([]bool, n), make([]bool, n)
	for i, l := range e.links {
		same[i] = l.same
	}
	moves := false
	change := e.pictureChanges()
	if w.Answer == Found && sg.Kind == "" { // of a time-lapse, steps would be noise, or a shadow that passes
		moves = e.stillInSteps(still, change, m, steps)
	}
	if w.Answer == Found || sg.Kind != "" {
		if sg.Kind != "" {
			e.stillInMotion(still, change)
		}
		e.stillInPicture(still, same, change, m)
	}
	s := Stalls{Events: e.stretches(still, same)}
	switch {
	case len(s.Events) > 0:
		s.Verdict = Verdict{Answer: Found}
	case e.unfit != "":
		s.Verdict = cannot(e.unfit)
	case w.Answer == Fine && sg.Kind == "":
		s.Verdict = cannot(ReasonNotFocus)
	case sg.Kind == "" && !moves:
		s.Verdict = cannot(ReasonSignature)
	default:
		s.Verdict = Verdict{Answer: Fine}
	}
	return s
}

// pictureChanges returns by how much the picture changes over each link; NaN where
// that is not known.
func (e *evidence) pictureChanges() []float64 {
	change := make([]float64, len(e.links))
	for i, l := range e.links {
		change[i] = l.change
		if e.outside[l.from] || e.outside[l.to] || !l.motion.Converged {
			change[i] = math.NaN()
		}
	}
	return change
}

// stillInMotion marks the links over which the signature stands. The run's median
// is a reference besides the neighbours, or a run that stands from its start would
// be its own measure.
func (e *evidence) stillInMotion(still []bool, change []float64) {
	sg := &e.signature
	n := len(sg.v)
	typical := median(known(change))
	signed := sg.sign * sg.median
	global := make([]bool, n)
	for i, v := range sg.v {
		if math.IsNaN(v) {
			continue
		}
		if math.Abs(sg.k[i]) <= e.th.StallRatio && sg.z[i] <= -e.th.StallSigma {
			still[i] = true
		}
		global[i] = math.Abs(v/signed) <= e.th.StallRatio && math.Abs(signed-v)/sg.sigma >= e.th.StallSigma
	}
	for _, p := range stretchesOf(global) {
		in := known(change[p.from:p.to])
		// A lens whose scale slowly ceases to change has not stalled:
		// the edge must be abrupt, and the picture must change no
		// more than elsewhere, or than beside, where noise makes most of that.
		abrupt := p.from > 0 && sg.v[p.from-1]/signed >= stallEdge || p.to < n && sg.v[p.to]/signed >= stallEdge
		beside := median(append(known(change[max(0, p.from-wideLinks):p.from]), known(change[p.to:min(n, p.to+wideLinks)])...))
		if abrupt && median(in) < stallTypical*max(typical, beside) {
			p.mark(still)
		}
	}
}

// stillInSteps marks the links over which the steps show that focus stands, where the
// picture does not jump; and reports whether they show that it moves elsewhere.
func (e *evidence) stillInSteps(still []bool, change []float64, m Moved, steps joinedSteps) (moves bool) {
	for by := &steps; by != nil && by.methods != nil; by = by.finer {
		by.still(still, change)
		stands := make([]bool, len(still))
		moves = by.standing(stands, change) // the finest ones have it
		for _, p := range stretchesOf(stands) {
			from, _ := e.ends(e.links[p.from])
			_, to := e.ends(e.links[p.to-1])
			if !m.touches(from, to) {
				p.mark(still)
			}
		}
	}
	return moves
}

// still marks the links over which focus stands by all methods that measure steps,
// and the picture changes less than around.
func (s *joinedSteps) still(still []bool, change []float64) {
	for i, r := range s.ratio {
		if !(math.Abs(r) <= s.stallRatio()) || !(s.sides[i] > likeSides) || !(1-r >= longSigma*math.Hypot(s.uneven(i), s.error[i])) || !(change[i] < stillChange*around(change, i, wideLinks)) {
			continue
		}
		denied := false
		for _, m := range s.methods {
			denied = denied || m.error[i] < voteSigma && m.ratio[i] > 2*s.stallRatio()
		}
		still[i] = still[i] || !denied
	}
}

func (s *joinedSteps) stallRatio() float64 { return DefaultThresholds().StallRatio }

// stillInPicture marks the links over which the picture hardly changes.
func (e *evidence) stillInPicture(still, same []bool, change []float64, m Moved) {
	sg := &e.signature
	n := len(change)
	usual := percentile(known(change), upperQuarter)
	for i := range change {
		from, _ := e.ends(e.links[i])
		if change[i] < e.th.StallChange*around(change, i, wideLinks) && !m.near(from, stallFromMove) {
			still[i] = true
		}
	}
	// A longer stop is its own neighbourhood. Pictures that are all blurred
	// change little too, but by and by.
	quiet := make([]bool, n)
	for i := range quiet {
		quiet[i] = !same[i] && change[i] < e.th.StallChange*usual && (sg.Kind == "" || math.Abs(sg.v[i]) <= e.th.StallRatio*sg.median)
	}
	for _, p := range stretchesOf(quiet) {
		level := stallAbrupt * median(slices.Clone(change[p.from:p.to]))
		if p.from > 0 && change[p.from-1] > level || p.to < n && change[p.to] > level {
			p.mark(still)
		}
	}
}

// stretches names the stretches of links over which focus stands or the pictures
// are the same.
func (e *evidence) stretches(still, same []bool) (events []Stall) {
	stands := make([]bool, len(still))
	for i := range stands {
		stands[i] = still[i] || same[i]
	}
	for _, p := range stretchesOf(stands) {
		from, _ := e.ends(e.links[p.from])
		_, to := e.ends(e.links[p.to-1])
		events = append(events, Stall{From: from, To: to, Identical: !slices.Contains(same[p.from:p.to], false)})
	}
	return events
}

// A stretch is a run of marked links, without the one at to.
type stretch struct{ from, to int }

// stretchesOf returns the longest stretches of marked links.
func stretchesOf(marked []bool) (out []stretch) {
	for i := 0; i < len(marked); i++ {
		if !marked[i] {
			continue
		}
		from := i
		for i < len(marked) && marked[i] {
			i++
		}
		out = append(out, stretch{from, i})
	}
	return out
}

func (p stretch) mark(links []bool) {
	for i := p.from; i < p.to; i++ {
		links[i] = true
	}
}

// touches reports whether focus stands between the two frames.
func (s *Stalls) touches(from, to int) bool {
	for _, e := range s.Events {
		if from < e.To && to > e.From {
			return true
		}
	}
	return false
}
