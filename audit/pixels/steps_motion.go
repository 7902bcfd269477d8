package pixels

import "math"

// stepsInMotion takes the steps from registration: from how far the picture scales and
// shifts over a link, along the way it does so around. The noise of registration comes
// from loops: two links and the way over both at once, registered by itself, would
// agree but for it. Unevenness of the motor is no noise.
func (e *evidence) stepsInMotion() steps {
	n := len(e.links)
	half := typicalRadius * e.diagonal()
	parts := func(m Motion) [3]float64 { return [3]float64{m.Scale * half, m.ShiftX, m.ShiftY} } // px
	var part, loops [3][]float64
	for k := range part {
		part[k] = make([]float64, n)
	}
	for i, l := range e.links {
		ok := l.motion.Converged && !e.outside[l.from] && !e.outside[l.to]
		for k, v := range parts(l.motion) {
			part[k][i] = v / e.span(l)
			if !ok {
				part[k][i] = math.NaN()
			}
		}
		if i > 0 && ok && l.loop.Converged {
			whole, sum := parts(l.loop), parts(e.links[i-1].motion.then(l.motion))
			for k := range loops {
				loops[k] = append(loops[k], math.Abs(whole[k]-sum[k]))
			}
		}
	}
	across := roughness(acrossDrift(part[1], part[2])) // a camera that trembles is no focus
	var v [3]float64
	for k := range v {
		s := loopNoise
		if len(loops[k]) > 0 {
			s += consistent * median(loops[k]) / math.Sqrt(3) // of three registrations
		} else {
			s += roughness(part[k])
		}
		v[k] = s * s
		if k > 0 {
			v[k] += across * across
		}
	}
	out := newSteps(n)
	for i := range n {
		out.along(i, part, v)
	}
	// What the steps vary by holds the noise too, and bounds it.
	if values := absolute(inner(out.ln)); len(values) >= boundSteps {
		most := consistent * median(values)
		for i := range out.sigma {
			out.deviates(i, min(out.sigma[i], math.Hypot(most, leastSigma)))
		}
	}
	return out
}

// along sets step i from parts of a motion whose variances are v: its length along the
// usual one, each part by its weight.
func (s *steps) along(i int, part [3][]float64, v [3]float64) {
	var is, usual, before, behind float64
	for k := range part {
		a, b := beside(part[k], i)
		m := (a + b) / 2
		if math.IsNaN(m) || math.IsNaN(part[k][i]) {
			return
		}
		is += m * part[k][i] / v[k]
		usual += m * m / v[k]
		before += m * a / v[k]
		behind += m * b / v[k]
	}
	if usual > 0 {
		s.set(i, is/usual, 1/math.Sqrt(usual), before, behind)
	}
}

// acrossDrift returns the part of the shifts across their usual direction.
func acrossDrift(x, y []float64) []float64 {
	mx, my := median(known(x)), median(known(y))
	d := math.Hypot(mx, my)
	v := make([]float64, len(x))
	for i := range v {
		v[i] = (y[i]*mx - x[i]*my) / max(d, 1e-12)
	}
	return v
}
