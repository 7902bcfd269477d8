package pixels

import (
	"math"
	"slices"
)

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
	l := &lengths{parts: part[:], deviate: (*steps).boundNoise}
	for k := range v {
		l.variance = append(l.variance, slices.Repeat(v[k:k+1], n))
	}
	return l.steps(beside)
}

// boundNoise bounds the deviations by what the steps vary by, which holds the noise too.
func (s *steps) boundNoise() {
	values := absolute(inner(s.ln))
	if len(values) < boundSteps {
		return
	}
	most := consistent * median(values)
	for i := range s.sigma {
		s.deviates(i, min(s.sigma[i], math.Hypot(most, leastSigma)))
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
