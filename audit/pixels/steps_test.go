package pixels

import (
	"math"
	"testing"
)

// tread makes steps by two methods that agree, each of the usual length but for what
// varies in turns, with a deviation.
func tread(n int, varies, sigma float64) joinedSteps {
	one := func() steps {
		s := newSteps(n)
		for i := range n {
			s.ln[i], s.sides[i] = varies*[...]float64{1, -1, -1, 1, 0}[i%5], 1
			s.ratio[i] = math.Exp(s.ln[i])
			s.deviates(i, sigma)
		}
		return s
	}
	return joinedSteps{steps: one(), methods: []steps{one(), one()}}
}

// long sets step i in all methods.
func (s *joinedSteps) long(i int, times float64) {
	s.ln[i] = math.Log(times)
	for k := range s.methods {
		s.methods[k].ln[i] = math.Log(times)
	}
}

func TestLongSteps(t *testing.T) {
	for name, c := range map[string]struct {
		alter func(s *joinedSteps)
		found bool
	}{
		"twice as long":           {func(s *joinedSteps) { s.long(10, 2) }, true},
		"1.7 times":               {func(s *joinedSteps) { s.long(10, 1.7) }, true},
		"1.3 times":               {func(s *joinedSteps) { s.long(10, 1.3) }, false},
		"the second of the run":   {func(s *joinedSteps) { s.long(1, 2) }, false},
		"the third":               {func(s *joinedSteps) { s.long(2, 2) }, true},
		"the motor starts there":  {func(s *joinedSteps) { s.long(10, 2); s.sides[10] = 0.4 }, false},
		"the next steps are less": {func(s *joinedSteps) { s.long(10, 2); s.long(11, 0.6); s.long(12, 0.6) }, false},
		"one method alone": {func(s *joinedSteps) {
			s.long(10, 2)
			s.methods[0].ln[10] = math.NaN()
		}, false},
		"a good method denies it": {func(s *joinedSteps) {
			s.long(10, 2)
			s.methods = append(s.methods, newSteps(24))
			s.methods[2].ln[10], s.methods[2].sigma[10] = 0.1, 0.1
		}, false},
		"a poor method denies it": {func(s *joinedSteps) {
			s.long(10, 2)
			s.methods = append(s.methods, newSteps(24))
			s.methods[2].ln[10], s.methods[2].sigma[10] = 0.1, 0.2
		}, true},
	} {
		s := tread(24, 0.05, 0.05)
		c.alter(&s)
		if links := s.jumps(); c.found != (len(links) == 1) {
			t.Errorf("%s: long steps at %v", name, links)
		}
	}
}

// TestLongStepsHidden: steps that vary much, or are hardly seen, hide one of two, and
// the reason is reported.
func TestLongStepsHidden(t *testing.T) {
	for _, c := range []struct {
		varies, sigma float64
		why           string
	}{{0.05, 0.05, ""}, {0.3, 0.05, ReasonUneven}, {0.05, 0.3, ReasonFaint}} {
		s := tread(24, c.varies, c.sigma)
		if why := s.hides(); why != c.why {
			t.Errorf("steps that vary by %v and are known to %v: %q, want %q", c.varies, c.sigma, why, c.why)
		}
		s.long(10, 2)
		if found := len(s.jumps()) > 0; found != (c.why == "") {
			t.Errorf("steps that vary by %v and are known to %v: one of two found %v", c.varies, c.sigma, found)
		}
	}
}

// TestStepsInMotion: noise is what loops do not close by, and not the motor's.
func TestStepsInMotion(t *testing.T) {
	s := tell(24)
	for i := range s.links {
		l := &s.links[i]
		l.motion.Scale = 0.001 * math.Exp(0.3*math.Sin(float64(i*i)))
		l.motion.ShiftX, l.motion.ShiftY = 0, 0
		if i > 0 {
			l.loop = s.links[i-1].motion.then(l.motion)
			l.loop.Converged = true
		}
	}
	st := s.evidence().stepsInMotion()
	for i := 3; i < 20; i++ {
		var usual float64
		for _, side := range [][3]int{{i - 3, i - 2, i - 1}, {i + 1, i + 2, i + 3}} {
			usual += median([]float64{s.links[side[0]].motion.Scale, s.links[side[1]].motion.Scale, s.links[side[2]].motion.Scale}) / 2
		}
		if want := math.Log(s.links[i].motion.Scale / usual); math.Abs(st.ln[i]-want) > 1e-3 || st.sigma[i] > 0.05 {
			t.Errorf("step %d: %.3f ± %.3f, want %.3f ± 0.05 at most", i, st.ln[i], st.sigma[i], want)
		}
	}
}

// TestStillBySteps: focus stands where a step is near nothing and the picture changes
// less than around, and no good method denies it.
func TestStillBySteps(t *testing.T) {
	for name, c := range map[string]struct {
		ratio, change float64
		denied, found bool
	}{
		"stands":                {0.1, 0.5, false, true},
		"moves by half":         {0.5, 0.5, false, false},
		"the picture changes":   {0.1, 0.9, false, false},
		"a good method denies":  {0.1, 0.5, true, false},
		"a step back, standing": {-0.1, 0.5, false, true},
	} {
		s := tread(24, 0.05, 0.05)
		s.ratio[10] = c.ratio
		for k := range s.methods {
			s.methods[k].ratio[10] = c.ratio
		}
		if c.denied {
			s.methods[0].ratio[10] = 0.6
		}
		change, still := make([]float64, 24), make([]bool, 24)
		for i := range change {
			change[i] = 1
		}
		change[10] = c.change
		s.still(still, change)
		if still[10] != c.found || still[9] || still[11] {
			t.Errorf("%s: %v", name, still[9:12])
		}
	}
}

// TestSwapBySteps: a swap is a step of two, one back, and another of two.
func TestSwapBySteps(t *testing.T) {
	for name, c := range map[string]struct {
		steps [3]float64
		found bool
	}{
		"a swap":         {[3]float64{2, -1, 2}, true},
		"one is missing": {[3]float64{1, 2, 1}, false},
		"it turned":      {[3]float64{1, -1, -1}, false},
		"a restart":      {[3]float64{2, -5, 2}, false},
	} {
		s := tread(24, 0.05, 0.05)
		copy(s.ratio[9:], c.steps[:])
		e := tell(25).standing().evidence()
		o := e.swapsInSteps(Order{Verdict: cannot(ReasonSignature)}, s)
		if found := len(o.Events) == 1 && o.Events[0].From == 10; found != c.found {
			t.Errorf("%s: %+v", name, o)
		}
	}
}
