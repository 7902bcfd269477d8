package pixels

import (
	"math"
	"slices"
)

// standing marks the links over which focus stands, as the steps show it, stretch by
// stretch: against the steps beside the stretch, which at an end lie on one side alone.
// moves reports whether the steps show that it moves over nearly all links, and over those
// at the ends, so that a stretch that stands would have been seen.
func (s *joinedSteps) standing(still []bool, change []float64) (moves bool) {
	n := len(s.ln)
	whole := s.against(throughout)
	slow := make([]bool, n) // no measure of a usual step
	for i, r := range whole.ratio {
		slow[i] = r < stallEdge
	}
	by := s.against(besideMoving(slow))
	low := make([]bool, n)
	known, back, ends := 0, 0, true
	for i, r := range by.ratio {
		low[i] = math.Abs(r) <= s.stallRatio()+by.error[i]
		if -r-stallEdge >= looseSigma*by.error[i] {
			back++
		}
		switch {
		case by.surelyMoves(i) && !by.maybeStands(i):
			known++
		case i < wideLinks || i >= n-wideLinks:
			ends = false
		}
	}
	if back > 1 { // focus turned, and there is no usual step
		return false
	}
	for _, p := range stretchesOf(low) {
		if by.abrupt(p) && by.stands(p, slow, change) {
			p.mark(still)
		}
	}
	return ends && !slices.Contains(low, true) && float64(known) >= knownLinks*float64(n)
}

// surelyMoves reports whether the steps show that focus moves over link i.
func (s *joinedSteps) surelyMoves(i int) bool {
	return math.Abs(s.ratio[i])-s.stallRatio() >= looseSigma*s.error[i]
}

// abrupt reports whether focus surely moves over the links beside a stretch at an end. Before
// and behind the subject, where all is blurred, less and less is seen of its motion.
func (s *joinedSteps) abrupt(p stretch) bool {
	for k := range weakLinks {
		before, behind := p.from-1-k, p.to+k
		if p.from == 0 && !(behind < len(s.ln) && s.surelyMoves(behind)) || p.to == len(s.ln) && !(before >= 0 && s.surelyMoves(before)) {
			return false
		}
	}
	return true
}

// maybeStands reports whether a good method shows a step near nothing.
func (s *joinedSteps) maybeStands(i int) bool {
	return slices.ContainsFunc(s.methods, func(m steps) bool {
		return m.error[i] < voteSigma && math.Abs(m.ratio[i]) <= s.stallRatio()
	})
}

// stands reports whether focus stands over all of a stretch: by the mean of its steps, which
// is known better than each of them.
func (s *joinedSteps) stands(p stretch, slow []bool, change []float64) bool {
	r, sigma := s.over(p)
	around := s.steps
	around.ln = slices.Clone(s.ln)
	for i := p.from; i < p.to; i++ {
		around.ln[i] = math.NaN()
	}
	if !(math.Abs(r) <= s.stallRatio()) || !(1-r >= longSigma*math.Hypot(around.uneven(p.from), sigma)) || !(s.sides[p.from] > likeSides) {
		return false
	}
	// Any measure may fail: where all is blurred its change shows nothing, and with a small
	// deviation. So none may show that focus moves.
	votes := 0
	for _, m := range s.methods {
		r, sigma := m.over(p)
		switch {
		case !(math.Abs(r) > 2*s.stallRatio()):
			if sigma < doubtSigma {
				votes++
			}
		case sigma < voteSigma, r-s.stallRatio() >= looseSigma*sigma:
			return false
		}
	}
	// Where noise makes most of what the picture changes by, it changes no less while focus
	// stands: then two methods must show that.
	before, behind := besideMoving(slow)(change)(p.from)
	usual, in := (before+behind)/2, median(slices.Clone(change[p.from:p.to]))
	return in < stillChange*usual || votes >= 2 && in <= stallTypical*usual
}

// over is the mean of the steps of a stretch, and its deviation.
func (s *steps) over(p stretch) (ratio, sigma float64) {
	var weight float64
	for i := p.from; i < p.to; i++ {
		w := 1 / square(s.error[i])
		ratio += w * s.ratio[i]
		weight += w
	}
	return ratio / weight, 1 / math.Sqrt(weight)
}
