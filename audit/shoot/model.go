package shoot

import "math"

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
	// until the run itself gives a better one.
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
	missingCost  = 0.3   // ln, of each missing frame beyond the first
	leftOutCost  = 0.9   // ln, of each left out tick beyond the first
	mostLeftOut  = 4.0   // cadences; longer is a pause
	// A larger step of the number is another card or a reset, not missing frames.
	furthestCount = 200
	stallMax      = 1.5 // s; slower runs do not stall
	stallFrom     = 1.4 // cadences; shorter is jitter
	stallTo       = 3.0 // s; longer is a pause
	stallBehind   = 3   // frames of one cadence before it
	pauseSteep    = 8.0 // exponent of the tail of pauses inside a run
	pauseFrom     = 1.2 // cadences; shorter is jitter
	farOff        = 8.0 // times the scatter; longer is a pause, not a tick

	// Settings (ISO, exposure time, f-number, white balance, orientation).
	pChangeInside  = 0.012
	pChangeBetween = 0.45
	// Each change makes the next more probable, up to pChangeMost.
	pChangeAgain, pChangeMost = 0.08, 0.4
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
