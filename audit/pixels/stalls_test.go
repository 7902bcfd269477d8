package pixels

import (
	"math"
	"slices"
	"testing"
)

// trod makes steps by methods that measured these lengths with these deviations.
func trod(lengths [][]float64, sigmas ...float64) joinedSteps {
	var methods []steps
	for k, length := range lengths {
		variance := make([]float64, len(length))
		for i := range variance {
			variance[i] = sigmas[k] * sigmas[k]
		}
		methods = append(methods, oneLength(length, variance, 1, 0))
	}
	return joined(methods...)
}

// even are lengths of the usual step but for what varies in turns, and those of a stretch.
func even(n, from int, of ...float64) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = 1 + 0.05*[...]float64{1, -1, -1, 1, 0}[i%5]
	}
	copy(v[from:], of)
	return v
}

// TestStandingBySteps: focus stands over a stretch whose steps are near nothing together,
// against the steps beside it: at the ends against those of one side.
func TestStandingBySteps(t *testing.T) {
	const n = 24
	still := make([]float64, 4)
	for name, c := range map[string]struct {
		from    int
		of      []float64 // by the first method
		other   []float64 // by the second, where it has them otherwise
		sigma   [2]float64
		change  float64 // of the picture, where it is 1 elsewhere
		stands  bool
		evident bool // that it moves over all links
	}{
		"moves":                          {0, nil, nil, [2]float64{0.05, 0.05}, 1, false, true},
		"stands at the start":            {0, still, nil, [2]float64{0.05, 0.05}, 1, true, false},
		"stands at the end":              {n - 4, still, nil, [2]float64{0.05, 0.05}, 1, true, false},
		"stands in the middle":           {10, still, nil, [2]float64{0.05, 0.05}, 1, true, false},
		"stands once at the end":         {n - 1, still[:1], nil, [2]float64{0.05, 0.05}, 1, true, false},
		"fades out towards the end":      {n - 5, []float64{0.3, 0, 0, 0, 0}, nil, [2]float64{0.05, 0.05}, 1, false, false},
		"fades in from the start":        {0, []float64{0, 0, 0, 0.9, 0.3}, nil, [2]float64{0.05, 0.05}, 1, false, false},
		"begins with half a step":        {0, []float64{0.5}, nil, [2]float64{0.05, 0.05}, 1, false, true},
		"goes back":                      {10, []float64{-1}, nil, [2]float64{0.05, 0.05}, 0.7, false, true},
		"the picture changes more":       {0, still, nil, [2]float64{0.05, 0.05}, 1.3, false, false},
		"known poorly, over four":        {0, still, nil, [2]float64{0.33, 0.33}, 1, true, false},
		"known poorly, over one":         {0, still[:1], nil, [2]float64{0.33, 0.33}, 1, false, false},
		"a good method denies":           {0, still, even(n, 0), [2]float64{0.02, 0.05}, 0.7, false, false},
		"a fair one denies, over four":   {0, still, even(n, 0), [2]float64{0.05, 0.33}, 0.7, false, false},
		"by one, and the picture":        {0, still, nil, [2]float64{0.05, 0.9}, 0.7, true, false},
		"by one, the picture does not":   {0, still, nil, [2]float64{0.05, 0.9}, 1, false, false},
		"moves, as far as can be known":  {0, nil, nil, [2]float64{0.5, 0.5}, 1, false, false},
		"nothing is known of the end":    {n - 1, []float64{math.NaN()}, nil, [2]float64{0.05, 0.05}, 1, false, false},
		"nothing is known of the middle": {12, []float64{math.NaN()}, nil, [2]float64{0.05, 0.05}, 1, false, true},
	} {
		first := even(n, c.from, c.of...)
		second := first
		if c.other != nil {
			second = c.other
		}
		s := trod([][]float64{first, second}, c.sigma[0], c.sigma[1])
		change, marked := make([]float64, n), make([]bool, n)
		for i := range change {
			change[i] = 1
			if i >= c.from && i < c.from+len(c.of) {
				change[i] = c.change
			}
		}
		moves := s.standing(marked, change)
		for i, m := range marked {
			if m != (c.stands && i >= c.from && i < c.from+len(c.of)) {
				t.Errorf("%s: link %d stands: %v", name, i, m)
			}
		}
		if moves != c.evident {
			t.Errorf("%s: moves over all links: %v", name, moves)
		}
	}
}

// TestStandingWhereFocusTurns: where focus walks there and back no step is the usual one.
func TestStandingWhereFocusTurns(t *testing.T) {
	v := even(24, 0, 0)
	for i := 14; i < len(v); i++ {
		v[i] = -v[i]
	}
	s := trod([][]float64{v, v}, 0.05, 0.05)
	change, marked := make([]float64, 24), make([]bool, 24)
	for i := range change {
		change[i] = 1
	}
	if moves := s.standing(marked, change); moves || slices.Contains(marked, true) {
		t.Errorf("moves over all links %v, stands %v", moves, marked)
	}
}

// TestStandingOfNoWalk: where it is not known whether focus walks, steps show no stop.
func TestStandingOfNoWalk(t *testing.T) {
	v := even(23, 0, 0, 0, 0)
	s := trod([][]float64{v, v}, 0.05, 0.05)
	e := tell(24).standing().evidence()
	if st := e.askStalls(walks, Moved{}, s); st.Answer != Found {
		t.Errorf("focus walks: %+v", st)
	}
	if st := e.askStalls(Walk{Verdict: cannot(ReasonWalk)}, Moved{}, joinedSteps{steps: newSteps(23), finer: &s}); st.Answer != CannotTell {
		t.Errorf("whether focus walks is not known: %+v", st)
	}
}

// TestStillBackBySteps: a full step back is no stop, as where two frames changed places.
func TestStillBackBySteps(t *testing.T) {
	s := tread(24, 0.05, 0.05)
	s.ratio[10] = -1
	for k := range s.methods {
		s.methods[k].ratio[10] = -1
	}
	change, still := make([]float64, 24), make([]bool, 24)
	for i := range change {
		change[i] = 1
	}
	change[10] = 0.5
	if s.still(still, change); still[10] {
		t.Error("a step back is taken for a stop")
	}
}

// TestStallInNoise: where noise makes most of what the picture changes by, it changes as
// much while focus stands. What counts is what it changes by beside the stop, and not only
// in the rest of the run, where the picture may be darker.
func TestStallInNoise(t *testing.T) {
	for beside, found := range map[float64]bool{1.3: true, 1: false} {
		s := tell(24)
		for i := range 10 {
			s.links[i].change = beside
		}
		for i := range 6 {
			s.links[i].motion.Scale, s.links[i].change = 0, 1.3
		}
		st := s.evidence().askStalls(walks, Moved{}, joinedSteps{})
		if from := len(st.Events) == 1 && st.Events[0].From == 0 && st.Events[0].To == 6; from != found {
			t.Errorf("the picture changes by 1.3 while the scale stands and by %v beside: %+v", beside, st.Events)
		}
	}
}

// TestMovedWhereDriftStands: where the picture drifts with focus, one that lies still is
// focus that stands, and no camera that moved back by half a step.
func TestMovedWhereDriftStands(t *testing.T) {
	s := tell(24).standing()
	for i := range s.links {
		s.links[i].motion.ShiftX = 3 * (1 + 0.06*[...]float64{1, -1, -1, 1, 0.5, -0.5}[i%6])
	}
	for i := range 3 {
		s.links[i].motion.ShiftX = 0
	}
	e := s.evidence()
	if e.signature.Kind != "drift" {
		t.Fatalf("signature %+v, want a drift", e.signature.Signature)
	}
	m := e.askMoved(walks, Order{})
	if m.Answer == Found {
		t.Errorf("a drift that begins after three links: moved %+v", m.Events)
	}
	if st := e.askStalls(walks, m, joinedSteps{}); len(st.Events) != 1 || st.Events[0].From != 0 || st.Events[0].To != 3 {
		t.Errorf("a drift that begins after three links: stalls %+v", st.Events)
	}
}
