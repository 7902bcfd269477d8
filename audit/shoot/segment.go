package shoot

import (
	"math"
	"slices"
	"time"
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

// A run is an interval of a body's frames.
type run struct {
	from, to int // frames[from:to]
	bracket  bool
}

const (
	// What a new run is.
	pSingle  = 0.50
	pSteady  = 0.40
	pBracket = 0.10
	// A slow steady run needs more than a coincidence of two gaps: each time
	// its first gap is e times fastCadence, it is less probable by slowCost.
	fastCadence = 1.0 // s
	slowCost    = 1.9 // ln
	// The next run often has the cadence of the one before.
	pAgain = 0.25
	// How runs end.
	pSteadyEnd  = 1.0 / 30
	pBracketEnd = 1.0 / 5

	// Pauses between runs are spread log-normally, with a wide floor.
	pauseMedian, pauseSpread = 20.0, 1.3        // s, ln
	shortSpread              = 0.9              // of pauses shorter than the median
	pauseFloor               = 0.08             // share of pauses of any length up to pauseLongest
	pauseLongest             = 30 * 24 * 3600.0 // s
	pClockBack               = 1e-3             // the clock runs backwards between runs
	// First gaps of runs.
	steadyMedian, steadySpread   = 1.5, 1.7
	bracketMedian, bracketSpread = 0.6, 1.5

	// Gaps inside a run scatter around the cadence by this share of it,
	// until the run itself tells better.
	jitter, jitterWeight     = 0.08, 3.0
	jitterFloor, jitterLimit = 0.015, 0.30
	// Odd steps inside a run.
	pMissing     = 0.012 // frames missing: the gap fits the step of the number
	pMissingEdge = 1e-6  // the same, with one frame before or behind
	pJump        = 0.002 // the number jumps, the cadence runs on
	pLeftOut     = 0.005 // one or a few ticks left out
	pPause       = 0.001 // a pause
	pStall       = 0.006 // the buffer is full: the run goes on more slowly
	pHurry       = 0.002 // a short gap
	pBackwards   = 1e-6  // the clock runs backwards
	pNumberBack  = 1e-4  // the number falls
	pNumberSame  = 1e-3  // the number stays
	pBracketStep = 0.92  // the exposure changes from frame to frame of a bracket
	stallMax     = 1.5   // s; slower runs do not stall
	pauseSteep   = 8.0   // exponent of the tail of pauses inside a run
	pauseFrom    = 1.2   // cadences; shorter is jitter
	farOff       = 8.0   // times the scatter; longer is a pause, not a tick

	// Settings (ISO, exposure time, f-number, white balance, orientation).
	pChangeInside  = 0.012
	pChangeBetween = 0.45
	// The first or last frame alone is other than the rest: rather a test frame.
	pChangeEdge = 0.03
	// Three kinds of settings and more at once: another picture, not a slip.
	pManyInside = 0.0005
	manyKinds   = 3
	// What a photographer changes between set-ups only: lens, focal length, picture size.
	pSetupInside  = 0.001
	pSetupBetween = 0.20

	// Numbers between runs.
	pNextBetween  = 0.80 // runs on
	pSkipBetween  = 0.10 // some frames deleted
	pOtherBetween = 0.02 // another series, or back

	beamWidth = 16   // open runs followed
	beamDepth = 16.0 // how much worse than the best a followed run may be, in ln
)

// The logarithms of the model's probabilities.
var (
	lnSingle           = math.Log(pSingle)
	lnMissing          = math.Log(pMissing)
	lnChangeEdge       = math.Log(pChangeEdge)
	lnMissingEdge      = math.Log(pMissingEdge)
	lnJump             = math.Log(pJump)
	lnLeftOut          = math.Log(pLeftOut)
	lnPause            = math.Log(pPause)
	lnStall            = math.Log(pStall)
	lnHurry            = math.Log(pHurry)
	lnBackwards        = math.Log(pBackwards)
	lnNotSteadyEnd     = math.Log(1 - pSteadyEnd)
	lnNotBracketEnd    = math.Log(1 - pBracketEnd)
	lnSetupInside      = math.Log(pSetupInside)
	lnSetupBetween     = math.Log(pSetupBetween)
	lnNotSetupBetween  = math.Log(1 - pSetupBetween)
	lnChangeBetween    = math.Log(pChangeBetween)
	lnNotChangeBetween = math.Log(1 - pChangeBetween)
	lnNextBetween      = math.Log(pNextBetween)
	lnSkipBetween      = math.Log(pSkipBetween)
	lnOtherBetween     = math.Log(pOtherBetween)
	lnAgain            = math.Log(pAgain)
	lnBracketStep      = math.Log(pBracketStep)
	lnBracketSame      = math.Log(1 - pBracketStep)
	lnNumberBack       = math.Log(pNumberBack)
	lnNumberSame       = math.Log(pNumberSame)
	lnClockBack        = math.Log(pClockBack)
	lnPauseRange       = math.Log(pauseLongest)
	lnStudent          = math.Log(0.375)
	lnNotAgain         = math.Log(1 - pAgain)
)

// point is what segmentation looks at in a frame.
type point struct {
	t, q, e  float64 // start, clock resolution, exposure time: seconds
	settings settingsKey
	setup    setupKey
	auto     bool // ExposureMode says auto bracket
	number   Number
}

type settingsKey struct {
	iso          uint32
	time, f      float64
	wb           int
	orientation  uint16
	flash, isoOK bool
}

type setupKey struct {
	lens          string
	focal         float64
	width, height uint32
}

func points(frames []*Frame) []point {
	ps := make([]point, len(frames))
	var origin time.Time
	if len(frames) > 0 {
		origin = frames[0].Time
	}
	for i, f := range frames {
		m := f.meta
		p := &ps[i]
		p.t, p.q, p.e = f.Time.Sub(origin).Seconds(), f.Resolution.Seconds(), f.ExposureSeconds()
		p.settings.iso, p.settings.isoOK = m.Sensitivity.Get()
		p.settings.time = p.e
		if n, ok := m.FNumber.Get(); ok {
			p.settings.f = n.Float()
		}
		p.settings.wb = -1
		if wb, ok := m.WhiteBalance.Get(); ok {
			p.settings.wb = int(wb)
		}
		p.settings.orientation = m.Orientation.Or(0)
		if fl, ok := m.Flash.Get(); ok {
			p.settings.flash = fl.Fired()
		}
		p.setup.lens = m.LensModel.Or("")
		if fl, ok := m.FocalLength.Get(); ok {
			p.setup.focal = fl.Float()
		}
		p.setup.width, p.setup.height = m.Width.Or(0), m.Height.Or(0)
		if mode, ok := m.ExposureMode.Get(); ok {
			p.auto = mode == 2
		}
		p.number = f.Number
	}
	return ps
}

// between is what lies between two neighbouring frames.
type between struct {
	gap, q      float64 // elapsed and the clock's resolution, seconds
	count       int     // step of the number
	countKnown  bool
	changed     bool // settings
	many        bool // of several kinds
	exposureToo bool // exposure changed by 1/6 EV or more
	setup       bool // lens, focal length or picture size changed
}

func compare(a, b *point) between {
	w := between{gap: b.t - a.t, q: max(a.q, b.q)}
	if a.number.Known && b.number.Known {
		if a.number.Series == b.number.Series {
			w.count, w.countKnown = b.number.Count-a.number.Count, true
		} else {
			w.count, w.countKnown = math.MinInt, true
		}
	}
	x, y := a.settings, b.settings
	w.exposureToo = math.Abs(exposureChange(x, y)) >= SameSetting
	iso := x.isoOK && y.isoOK && x.iso != y.iso
	w.changed = w.exposureToo || iso || x.wb != y.wb || x.orientation != y.orientation
	y.iso = x.iso // time and f-number, which a programme changes together, are of one kind
	kinds := 0
	for _, differs := range []bool{math.Abs(exposureChange(x, y)) >= SameSetting, iso, x.wb != y.wb, x.orientation != y.orientation} {
		if differs {
			kinds++
		}
	}
	w.many = kinds >= manyKinds
	u, v := a.setup, b.setup
	focal := u.focal > 0 && v.focal > 0 && math.Abs(math.Log(u.focal/v.focal)) > 0.03
	w.setup = u.lens != v.lens || focal || u.width != v.width || u.height != v.height
	return w
}

// SameSetting, in EV, is half the finest common setting step (1/3 EV): nominal values of
// one setting never differ by as much.
const SameSetting = 1.0 / 6

// exposureChange returns how much more exposure b gets than a, in EV:
// log2(t2 S2 / t1 S1) - 2 log2(N2/N1), over what both record.
func exposureChange(a, b settingsKey) float64 {
	ev := 0.0
	if a.time > 0 && b.time > 0 {
		ev += math.Log2(b.time / a.time)
	}
	if a.f > 0 && b.f > 0 {
		ev -= 2 * math.Log2(b.f/a.f)
	}
	if a.isoOK && b.isoOK && a.iso > 0 && b.iso > 0 {
		ev += math.Log2(float64(b.iso) / float64(a.iso))
	}
	return ev
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
	exposure   float64 // of the first frame, seconds
	before     float64 // cadence of the run before, 0 where there is none
	hole       bool    // the latest gap is read as missing frames
	odd        bool    // the latest frame has other settings than the one before
}

const coarse = 0.25 // a clock is coarse whose step is more than this share of the cadence

// cadence returns the time per frame as far as the run tells; 0 before its second frame.
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

// step returns the ways in which the run can go on to frame i.
func (o *open) step(w *between, a *point, out []open) []open {
	next := *o
	next.hole, next.odd = false, w.changed && !o.bracket
	// Settings.
	switch {
	case o.bracket:
		if w.exposureToo {
			next.score += lnBracketStep
		} else {
			next.score += lnBracketSame
		}
		next.score += lnNotBracketEnd
	case w.changed:
		next.changes++
		if o.n == 0 {
			next.score += lnChangeEdge
		}
		p := pChangeInside
		if o.changes > 0 {
			p = min(0.08*float64(o.changes), 0.4)
		}
		if w.many {
			p = pManyInside
		}
		next.score += math.Log(p) + lnNotSteadyEnd
	default:
		next.score += lnNotSteadyEnd
	}
	if w.setup {
		next.score += lnSetupInside
	}
	if w.countKnown && w.count < 0 {
		next.score += lnNumberBack
	} else if w.countKnown && w.count == 0 {
		next.score += lnNumberSame
	}
	gap := w.gap
	k := 1
	if w.countKnown && w.count > 1 && w.count <= 200 {
		k = w.count
	}
	if gap < -w.q {
		next.score += lnBackwards
		return append(out, next)
	}
	gap = max(gap, 0)
	if o.bracket {
		gap = max(gap-a.e, 0)
	}
	if o.n == 0 {
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
		next.score += first
		if k > 1 {
			// One frame beyond a hole says little: a test frame or a
			// marker, and test frames deleted beside it, look the same.
			next.score += lnMissingEdge - 0.3*float64(k-2)
		}
		next.exposure = a.e
		next.take(gap, float64(k), 0, w.q)
		return append(out, next)
	}
	c := o.cadence(w.q)
	s := o.scatter() * math.Sqrt(1+1/float64(min(o.n, len(o.gaps))))
	// best way of reading the gap
	best, took := math.Inf(-1), 0.0
	try := func(score, ticks float64) {
		if score > best {
			best, took = score, ticks
		}
	}
	fits := func(ticks float64) float64 {
		off, spread := gap-ticks*c, scale(s*c*math.Sqrt(ticks), w.q)
		if off > farOff*spread && off > c {
			return math.Inf(-1) // a pause
		}
		d := student(off, spread)
		if de := a.e - o.exposure; !o.bracket && math.Abs(de) > 0.05*c {
			// With a changed exposure time either the interval or the
			// dead time between frames stays.
			d = max(d, student(gap-ticks*c-de, scale(s*c*math.Sqrt(ticks), w.q)))
		}
		return d
	}
	if k > 1 {
		try(lnMissing-0.3*float64(min(k, 20)-2)+fits(float64(k)), float64(k))
		try(lnJump+fits(1), 1)
	} else {
		try(fits(1), 1)
		for m := 2.0; m <= 4; m++ {
			try(lnLeftOut-0.9*(m-2)+fits(m), m)
		}
	}
	if c > 0 && gap > pauseFrom*c {
		rho := gap / c
		f := math.Log(pauseSteep/pauseFrom) - (pauseSteep+1)*math.Log(rho/pauseFrom)
		try(lnPause+f-math.Log(c), 0)
	}
	if gap < c {
		try(lnHurry-math.Log(max(c, w.q)), 0)
	}
	if !o.bracket && k == 1 && c < stallMax && gap > 1.4*c && gap < 3 && !w.changed && !w.setup && o.n >= 3 {
		stalled := next
		stalled.n, stalled.sumG, stalled.sumK, stalled.varSum = 0, 0, 0, 0
		stalled.score += lnStall - math.Log(2.5*max(gap, w.q))
		stalled.take(gap, 1, 0, w.q)
		out = append(out, stalled)
	}
	next.score += best
	next.hole = took > 1 && k > 1
	next.take(gap, took, c, w.q)
	return append(out, next)
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
func segment(frames []*Frame) []run {
	n := len(frames)
	if n == 0 {
		return nil
	}
	ps := points(frames)
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
	}
	var runs []run
	for i := n; i > 0; {
		e := ends[i-1]
		runs = append(runs, run{e.from, i, e.bracket})
		i = e.from
	}
	slices.Reverse(runs)
	return runs
}

// readings is the scatter of the difference of two clock readings, in steps of
// the clock: each is uniform over one step, so the variance is 1/6.
const readings = 0.41

// scale joins the scatter of a cadence with that of a clock of resolution q.
func scale(s, q float64) float64 { return max(math.Hypot(s, readings*q), 0.004) }

// student is the logarithm of Student's density with 4 degrees of freedom:
// like a normal one, but forgiving to outliers.
func student(r, s float64) float64 {
	z := r / s
	x := 1 + z*z/4
	return lnStudent - math.Log(s*x*x*math.Sqrt(x))
}

// logPause is the logarithm of the density of a pause of g seconds.
func logPause(g float64) float64 {
	spread := pauseSpread
	if g < pauseMedian {
		spread = shortSpread
	}
	z := math.Log(g/pauseMedian) / spread
	// Both halves meet at the median.
	return -0.5*z*z - math.Log(g*(pauseSpread+shortSpread)/2) - 0.919
}

// logSum returns ln(e^a + e^b).
func logSum(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// logNormal is the logarithm of the log-normal density at g > 0.
func logNormal(g, median, spread float64) float64 {
	z := math.Log(g/median) / spread
	return -0.5*z*z - math.Log(g*spread) - 0.919
}
