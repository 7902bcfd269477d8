package pixels

import "math"

// Steps are the lengths of the steps of focus over each link, as their ratio to the usual
// step around them, by one method or several.
type steps struct {
	ratio []float64 // below 0 for a step back; NaN where not known
	error []float64 // standard deviation of ratio
	ln    []float64 // natural logarithm of ratio, of leastRatio where that is less
	sigma []float64 // standard deviation of ln
	sides []float64 // the shorter usual step of the two sides, as a share of the longer

	from *lengths // nil where several methods gave them
}

func newSteps(n int) steps {
	var s steps
	for _, v := range []*[]float64{&s.ratio, &s.error, &s.ln, &s.sigma, &s.sides} {
		*v = make([]float64, n)
		for i := range n {
			(*v)[i] = math.NaN()
		}
	}
	return s
}

// set fills in step i: its ratio to the usual one, the deviation of that ratio where
// the usual one were known exactly, and the usual steps of the two sides.
func (s *steps) set(i int, ratio, sigma, before, behind float64) {
	s.ratio[i] = ratio
	s.ln[i] = math.Log(max(ratio, leastRatio))
	s.deviates(i, math.Sqrt(usualVariance)*sigma/max(ratio, leastRatioSigma))
	s.sides[i] = min(before, behind) / max(before, behind)
}

// deviates sets the deviation of step i, of ln.
func (s *steps) deviates(i int, sigma float64) {
	s.sigma[i], s.error[i] = sigma, sigma*max(s.ratio[i], leastRatioSigma)
}

// A joinedSteps has the steps as several methods give them together, and as each of
// them does; none where focus is not seen to walk.
type joinedSteps struct {
	steps
	methods []steps
	fit     *peakFit // nil where the tiles show no steps
	// finer has the change of blur for a further method. It is asked where the others
	// could miss a frame, and where they do not show whether focus walks.
	finer *joinedSteps
	firm  bool // what a method shows hardly better than chance does not count
}

// askSteps measures the steps by registration and by sharpness, and where these do not
// show them well by the change of blur, which is dearer.
func (e *evidence) askSteps(w Walk, c *curves) joinedSteps {
	n := len(e.links)
	known := w.Answer == Found
	if n < minFrames-1 || !known && w.Reason != ReasonTexture && w.Reason != ReasonWalk {
		return joinedSteps{steps: newSteps(n)}
	}
	motion := e.stepsInMotion()
	curves, fit := e.stepsInCurves(c)
	s := joinedSteps{steps: newSteps(n)}
	if known {
		s = joined(motion, curves)
		s.fit = fit
	}
	if e.signature.Kind == "" && (!known || s.hides() != "") {
		blur := e.stepsInBlur()
		finer := joined(motion, curves, blur)
		finer.firm = true
		s.finer = &finer
	}
	return s
}

// joined joins methods, from the last to the first.
func joined(methods ...steps) joinedSteps {
	s := joinedSteps{steps: methods[len(methods)-1], methods: methods}
	for i := len(methods) - 2; i >= 0; i-- {
		s.steps = join(methods[i], s.steps)
	}
	return s
}

// join weighs two methods by their variances. Where they disagree by more than these,
// both are raised by one factor, over the whole run.
func join(a, b steps) steps {
	va, vb := median(squares(a.sigma)), median(squares(b.sigma))
	factor := 1.0
	if v := disagreement(a, b); v > va+vb {
		factor = v / (va + vb)
	}
	out := newSteps(len(a.ln))
	for i := range out.ln {
		var sum, ratio, weight float64
		best := math.Inf(1)
		for _, m := range []*steps{&a, &b} {
			v := m.sigma[i] * m.sigma[i] * factor
			if math.IsNaN(m.ln[i]) || !(v > 0) {
				continue
			}
			sum += m.ln[i] / v
			ratio += m.ratio[i] / v
			weight += 1 / v
			if v < best {
				best, out.sides[i] = v, m.sides[i]
			}
		}
		if weight > 0 {
			out.ln[i], out.ratio[i] = sum/weight, ratio/weight
			out.deviates(i, 1/math.Sqrt(weight))
		}
	}
	return out
}

// disagreement is the robust variance of the difference of two methods; NaN of few
// steps.
func disagreement(a, b steps) float64 {
	d := make([]float64, len(a.ln))
	for i := range d {
		d[i] = a.ln[i] - b.ln[i]
	}
	d = absolute(d)
	if len(d) < minFrames-1 {
		return math.NaN()
	}
	v := consistent * median(d)
	return v * v
}

// squares returns the squares of the known ones.
func squares(v []float64) []float64 {
	out := known(v)
	for i, x := range out {
		out[i] = x * x
	}
	return out
}

// inner returns the part of the values without those at either end where motors start
// and stop.
func inner(v []float64) []float64 {
	if len(v) <= 2*weakLinks {
		return nil
	}
	return v[weakLinks : len(v)-weakLinks]
}

// uneven is by how much the steps around i vary, as a standard deviation of ln, beyond
// what the methods' own noise makes: before any step is seen, motorUneven.
func (s *steps) uneven(i int) float64 {
	var v, noise []float64
	for k := max(0, i-unevenLinks/2); k <= min(len(s.ln)-1, i+unevenLinks/2); k++ {
		if k != i && !math.IsNaN(s.ln[k]) {
			v, noise = append(v, s.ln[k]), append(noise, s.sigma[k])
		}
	}
	m := float64(len(v))
	if m == 0 {
		return motorUneven
	}
	spread, sigma := deviation(v), median(noise)
	return math.Sqrt((unevenPrior*motorUneven*motorUneven + m*max(0, spread*spread-sigma*sigma)) / (unevenPrior + m))
}

// deviation is the robust standard deviation of values from their median. They are
// sorted.
func deviation(v []float64) float64 {
	m := median(v)
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = math.Abs(x - m)
	}
	return consistent * median(d)
}
