package shoot

import (
	"math"
	"slices"
)

// Frames of one body are cut into runs by asking which way of cutting them
// explains the times, file numbers and settings best. A run at a steady
// cadence expects its next frame one cadence later; a cut expects a pause of
// some length and, quite often, other settings. Every way is scored by the
// logarithm of its probability under the simple model of the constants below
// and the best is found by going through the frames once (Viterbi's algorithm
// over the starts of runs; only the best few open runs are followed, so time
// is linear in frames).
//
// The constants are common practice, chosen on made-up shoots; the tests state
// how often the runs of other made-up shoots are found exactly.

// A span is an interval of a body's frames.
type span struct {
	from, to int // frames[from:to]
	bracket  bool
	asks     bool // only the pictures show whether it goes on with the run before
	pause    Pause
	// parts are the frames behind pauses of which the pictures may show that they are of
	// another run.
	parts []int
	// whole is true where all of a bracket is one cycle; exposures is how many a focus
	// sequence has at each position, 0 where it has one.
	whole     bool
	exposures int
}

// open is a run that may go on.
type open struct {
	from    int
	bracket bool
	score   float64

	gaps       [9]float64 // latest cadences, a ring
	n          int        // gaps seen since the cadence was set
	sumG, sumK float64    // decayed sums for coarse clocks
	varSum     float64
	changes    int
	exposure   float64 // of the frame before the latest, seconds
	before     float64 // cadence of the run before, 0 where there is none
	hole       bool    // the latest gap is read as missing frames
	odd        bool    // the latest frame has other settings than the one before
}

const coarse = 0.25 // a clock is coarse whose step is more than this share of the cadence

// cadence returns the time per frame as far as the run shows it; 0 before its second frame.
func (o *open) cadence(q float64) float64 {
	if o.n == 0 {
		return 0
	}
	c := 0.0
	if o.sumK > 0 {
		c = o.sumG / o.sumK
	}
	if q <= coarse*c {
		var s [9]float64
		k := copy(s[:], o.gaps[:min(o.n, len(o.gaps))])
		slices.Sort(s[:k])
		c = (s[(k-1)/2] + s[k/2]) / 2
	}
	return max(c, 0.02)
}

func (o *open) scatter() float64 {
	v := (jitterWeight*jitter*jitter + o.varSum) / (jitterWeight + float64(min(o.n, 30)))
	return min(max(math.Sqrt(v), jitterFloor), jitterLimit)
}

// take adds a gap that spans k frame starts and fits the cadence.
func (o *open) take(gap, k, c, q float64) {
	if k > 0 {
		o.gaps[o.n%len(o.gaps)] = gap / k
		o.n++
		o.sumG = o.sumG*0.94 + gap
		o.sumK = o.sumK*0.94 + k
		if c > 0 {
			r := min(math.Abs(gap/k/c-1), jitterLimit)
			if o.n > 30 {
				o.varSum *= 29.0 / 30
			}
			noise := readings * q / c
			o.varSum += max(r*r-noise*noise, 0)
		}
	}
}

// step returns the ways in which the run can go on to the frame behind a.
func (o *open) step(w *between, a *point, out []open) []open {
	next := *o
	next.hole, next.odd = false, w.changed && !o.bracket
	next.weighChanges(w)
	if w.gap < -w.q {
		next.score += lnBackwards
		return append(out, next)
	}
	gap, k := max(w.gap, 0), 1
	if o.bracket {
		gap = max(gap-a.e, 0)
	}
	if w.countKnown && w.count > 1 && w.count <= furthestCount {
		k = w.count
	}
	if o.n == 0 {
		next.weighFirst(gap, k, w)
		next.exposure = a.e
		next.take(gap, float64(k), 0, w.q)
		return append(out, next)
	}
	c := o.cadence(w.q)
	if !o.bracket && k == 1 && c < stallMax && gap > stallFrom*c && gap < stallTo && !w.changed && !w.setup && o.n >= stallBehind {
		stalled := next
		stalled.n, stalled.sumG, stalled.sumK, stalled.varSum = 0, 0, 0, 0
		stalled.score += lnStall - math.Log(2.5*max(gap, w.q))
		stalled.take(gap, 1, 0, w.q)
		out = append(out, stalled)
	}
	score, took := o.readGap(gap, k, c, w.q, a.e)
	next.score += score
	next.exposure = a.e
	next.hole = took > 1 && k > 1
	next.take(gap, took, c, w.q)
	return append(out, next)
}

// weighChanges adds what the settings and the number of the next frame make of the
// run's score.
func (o *open) weighChanges(w *between) {
	switch {
	case o.bracket:
		if w.exposureToo {
			o.score += lnBracketStep
		} else {
			o.score += lnBracketSame
		}
		o.score += lnNotBracketEnd
	case w.changed:
		if o.n == 0 {
			o.score += lnChangeEdge
		}
		p := pChangeInside
		if o.changes > 0 {
			p = min(pChangeAgain*float64(o.changes), pChangeMost)
		}
		if w.many {
			p = pManyInside
		}
		o.changes++
		o.score += math.Log(p) + lnNotSteadyEnd
	default:
		o.score += lnNotSteadyEnd
	}
	if w.setup {
		o.score += lnSetupInside
	}
	if w.countKnown && w.count < 0 {
		o.score += lnNumberBack
	} else if w.countKnown && w.count == 0 {
		o.score += lnNumberSame
	}
}

// weighFirst adds what the first gap of the run, over k steps of the number, makes of
// its score.
func (o *open) weighFirst(gap float64, k int, w *between) {
	median, spread := steadyMedian, steadySpread
	if o.bracket {
		median, spread = bracketMedian, bracketSpread
	}
	g := max(gap/float64(k), w.q/2, 0.03)
	first := logNormal(g, median, spread)
	if g > fastCadence && !o.bracket {
		first -= slowCost * math.Log(g/fastCadence)
	}
	if o.before > 0 {
		first = logSum(lnNotAgain+first, lnAgain+student(g-o.before, scale(jitter*o.before, w.q)))
	}
	o.score += first
	if k > 1 {
		// One frame beyond a hole shows little: a test frame or a
		// marker, and test frames deleted beside it, give the same signs.
		o.score += lnMissingEdge - missingCost*float64(k-2)
	}
}

// readGap returns the best way of reading a gap of a run with cadence c, over k steps of
// the number and from a frame exposed for e: its score, and how many cadences it takes,
// 0 where it shows nothing of them.
func (o *open) readGap(gap float64, k int, c, q, e float64) (best, took float64) {
	s := o.scatter() * math.Sqrt(1+1/float64(min(o.n, len(o.gaps))))
	best = math.Inf(-1)
	try := func(score, ticks float64) {
		if score > best {
			best, took = score, ticks
		}
	}
	fits := func(ticks float64) float64 {
		off, spread := gap-ticks*c, scale(s*c*math.Sqrt(ticks), q)
		if off > farOff*spread && off > c {
			return math.Inf(-1) // a pause
		}
		d := student(off, spread)
		if de := e - o.exposure; !o.bracket && math.Abs(de) > 0.05*c {
			// With a changed exposure time either the interval or the
			// dead time between frames stays, one as probable as the other.
			d = logSum(d, student(gap-ticks*c-de, scale(s*c*math.Sqrt(ticks), q))) - math.Ln2
		}
		return d
	}
	if k > 1 {
		try(lnMissing-missingCost*float64(min(k, 20)-2)+fits(float64(k)), float64(k))
		try(lnJump+fits(1), 1)
	} else {
		try(fits(1), 1)
		for m := 2.0; m <= mostLeftOut && o.n >= 2; m++ {
			try(lnLeftOut-leftOutCost*(m-2)+fits(m), m)
		}
	}
	if c > 0 && gap > pauseFrom*c {
		rho := gap / c
		f := math.Log(pauseSteep/pauseFrom) - (pauseSteep+1)*math.Log(rho/pauseFrom)
		try(lnPause+f-math.Log(c), 0)
	}
	if gap < c {
		try(lnHurry-math.Log(max(c, q)), 0)
	}
	return best, took
}

// cut returns the score of a pause between two runs.
func cut(w *between) float64 {
	s := 0.0
	if w.gap < -w.q {
		s += lnClockBack
	} else {
		g := max(w.gap, w.q/2, 0.05)
		wide := pauseFloor / (g * lnPauseRange)
		s += math.Log((1-pauseFloor)*math.Exp(logPause(g)) + wide)
	}
	if w.changed {
		s += lnChangeBetween
	} else {
		s += lnNotChangeBetween
	}
	if w.setup {
		s += lnSetupBetween
	} else {
		s += lnNotSetupBetween
	}
	if w.countKnown {
		switch {
		case w.count == 1:
			s += lnNextBetween
		case w.count > 1:
			s += lnSkipBetween - 0.1*math.Log(float64(w.count))
		default:
			s += lnOtherBetween
		}
	}
	return s
}

// segment cuts a body's timed frames, in order, into runs.
func segment(ps []point) []span {
	n := len(ps)
	if n == 0 {
		return nil
	}
	type end struct {
		score   float64
		from    int
		bracket bool
		cadence float64
	}
	ends := make([]end, n) // best way to cut after frame i
	var live, next []open
	start := func(i int, score float64) {
		// a single frame
		ends[i] = end{score + lnSingle, i, false, 0}
		before := 0.0
		if i > 0 {
			before = ends[i-1].cadence
		}
		bracket := pBracket
		if ps[i].auto {
			bracket = 0.95
		}
		live = append(live,
			open{from: i, before: before, score: score + math.Log(pSteady*(1-bracket)/(1-pBracket))},
			open{from: i, bracket: true, score: score + math.Log(bracket)})
	}
	start(0, 0)
	for i := 1; i < n; i++ {
		w := compare(&ps[i-1], &ps[i])
		next = next[:0]
		for j := range live {
			next = live[j].step(&w, &ps[i-1], next)
		}
		live, next = next, live
		cutScore := ends[i-1].score + cut(&w)
		start(i, cutScore)
		best := ends[i].score
		for j := range live {
			o := &live[j]
			if o.from == i {
				best = max(best, o.score)
				continue
			}
			p := pSteadyEnd
			if o.bracket {
				p = pBracketEnd
			}
			s := o.score + math.Log(p)
			if o.hole {
				s += lnMissingEdge - lnMissing
			}
			if o.odd {
				s += lnChangeEdge
			}
			if s > ends[i].score {
				ends[i] = end{s, o.from, o.bracket, o.cadence(w.q)}
			}
			best = max(best, o.score)
		}
		live = narrow(live, best)
	}
	var spans []span
	for i := n; i > 0; {
		e := ends[i-1]
		spans = append(spans, span{from: e.from, to: i, bracket: e.bracket})
		i = e.from
	}
	slices.Reverse(spans)
	return spans
}

// narrow drops the open runs that are not worth following.
func narrow(live []open, best float64) []open {
	live = slices.DeleteFunc(live, func(o open) bool { return o.score < best-beamDepth })
	if len(live) > beamWidth {
		slices.SortFunc(live, func(x, y open) int {
			switch {
			case x.score > y.score:
				return -1
			case x.score < y.score:
				return 1
			}
			return 0
		})
		live = live[:beamWidth]
	}
	return live
}
