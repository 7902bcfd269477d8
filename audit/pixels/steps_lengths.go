package pixels

import "math"

// Lengths are the steps over each link by one method, in units of its own: in one part, or
// in several where the picture scales and shifts.
type lengths struct {
	parts    [][]float64  // by part and link; NaN where not known
	variance [][]float64  // of each
	deviate  func(*steps) // raises or bounds the deviations, as the method asks for
}

// oneLength returns the steps of lengths in one part, whose deviations are times what is
// stated of them, and sigma besides.
func oneLength(length, variance []float64, times, sigma float64) steps {
	l := &lengths{parts: [][]float64{length}, variance: [][]float64{variance}, deviate: func(s *steps) {
		for i := range s.sigma {
			s.deviates(i, math.Hypot(times*s.sigma[i], sigma))
		}
	}}
	return l.steps(beside)
}

// A usual gives, of the lengths in one part, those of the usual steps before and behind
// each link; NaN where there is none.
type usual func(v []float64) func(link int) (before, behind float64)

// steps holds each length against the usual ones.
func (l *lengths) steps(of usual) steps {
	n := len(l.parts[0])
	out := newSteps(n)
	out.from = l
	sides := make([]func(int) (float64, float64), len(l.parts))
	for k, v := range l.parts {
		sides[k] = of(v)
	}
	for i := range n {
		out.along(i, l, sides)
	}
	l.deviate(&out)
	return out
}

// along sets step i: its length along the usual one, each part by its weight.
func (s *steps) along(i int, l *lengths, sides []func(int) (float64, float64)) {
	var is, usual, before, behind float64
	for k, part := range l.parts {
		a, b := sides[k](i)
		m, v := (a+b)/2, l.variance[k][i]
		if math.IsNaN(m + part[i] + v) {
			return
		}
		is += m * part[i] / v
		usual += m * m / v
		before += m * a / v
		behind += m * b / v
	}
	if usual > 0 {
		s.set(i, is/usual, 1/math.Sqrt(usual), before, behind)
	}
}

// beside is the usual step of the links on either side.
func beside(v []float64) func(int) (before, behind float64) {
	n := len(v)
	return func(i int) (before, behind float64) {
		return median(known(v[max(0, i-wideLinks):i])), median(known(v[min(n, i+1):min(n, i+1+wideLinks)]))
	}
}

// throughout is the usual step of the whole run.
func throughout(v []float64) func(int) (before, behind float64) {
	m := median(known(v))
	return func(int) (float64, float64) { return m, m }
}

// besideMoving is the usual step of the nearest links on either side that are not slow. At
// an end, where there are none on one side, it is that of twice as many on the other: their
// median deviates by as much as the mean of the medians of both sides.
func besideMoving(slow []bool) usual {
	return func(v []float64) func(int) (before, behind float64) {
		return func(i int) (before, behind float64) {
			before, behind = median(nearest(v, slow, i, -1, wideLinks)), median(nearest(v, slow, i, 1, wideLinks))
			switch {
			case math.IsNaN(before):
				before = median(nearest(v, slow, i, 1, 2*wideLinks))
				behind = before
			case math.IsNaN(behind):
				behind = median(nearest(v, slow, i, -1, 2*wideLinks))
				before = behind
			}
			return before, behind
		}
	}
}

// nearest returns up to n known values from i on in one direction, without i and what is
// left out.
func nearest(v []float64, without []bool, i, direction, n int) []float64 {
	var out []float64
	for k := i + direction; k >= 0 && k < len(v) && len(out) < n; k += direction {
		if !without[k] && !math.IsNaN(v[k]) {
			out = append(out, v[k])
		}
	}
	return out
}

// against holds the same lengths against other usual steps.
func (s *joinedSteps) against(of usual) joinedSteps {
	methods := make([]steps, len(s.methods))
	for i, m := range s.methods {
		methods[i] = m
		if m.from != nil {
			methods[i] = m.from.steps(of)
		}
	}
	out := joined(methods...)
	out.firm = s.firm
	return out
}
