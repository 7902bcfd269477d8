package pixels

// The numbers of steps of focus and of patches; thresholds.go describes how they were
// chosen.

// Steps of focus by registration and by sharpness.
const (
	// leastRatio is the least ratio to the usual step that is written as a logarithm, and
	// leastRatioSigma the least that its deviation is divided by.
	leastRatio, leastRatioSigma = 0.05, 0.5
	// usualVariance is 1 and the variance of the mean of two medians of three, of steps
	// of variance 1: a median of three has 0.449 (David and Nagaraja, Order Statistics,
	// 2003, table of variances).
	usualVariance = 1 + 0.449/2
	// loopNoise is the least noise of registration, px, below what loops show, which
	// share their frames; leastSigma the least deviation of a logarithm.
	loopNoise, leastSigma = 0.004, 0.01
	// boundSteps is the number of steps from which their spread bounds their noise.
	boundSteps = 8
	// A loop is registered up to each of the first loopFrames frames, and every
	// loopEvery behind.
	loopFrames, loopEvery = 12, 4

	// peakTiles tiles are fitted, in long runs peakTilesFrame for each frame, in peakRounds
	// rounds of peakSteps steps: more of each improved rendered steps by less than a tenth.
	peakTiles, peakTilesFrame, peakRounds, peakSteps = 100, 3, 3, 3
	// peakLeap and placeLeap bound one step of a parameter and of a frame's place, and
	// placeSigma holds the place of a frame of which the tiles show little.
	peakLeap, placeLeap, placeSigma = 2, 0.5, 2.0
	// usualWidth, in steps, and usualPower are what peaks are begun with.
	usualWidth, usualPower = 3, 2
	// peakNoise is what the deviation of ln sharpness is begun with, and leastPeakNoise
	// the least it is taken for.
	peakNoise, leastPeakNoise = 0.2, 0.02
	// cauchyWidth is the width of Cauchy's weight in deviations at which it loses a
	// twentieth on normal ones (Holland and Welsch, Commun. Statist. A6(9), 1977).
	cauchyWidth = 2.385
	// Neighbouring tiles err together: rendered steps deviated by peakTimes what the
	// fit claims, and by peakSigma besides.
	peakTimes, peakSigma = 2.5, 0.08

	// The change of blur is compared in about blurTiles tiles: in every so many of a row, and
	// blurShear farther in the next. blurBorder is what softening and the Laplacian need
	// around a tile, pixels of the half picture.
	blurTiles, blurShear, blurBorder = 600, 2, 2
	// Whether it is needed is asked of blurAsked links, and of twice as many again and again.
	blurAsked = 8
	// The product of the two Laplacians must be blurLeast code values² and blurShare of their
	// mean square, of which noise is a part; blurRounding is what code values in whole
	// numbers and their interpolation leave at least of their difference, squared.
	blurLeast, blurShare, blurRounding = 1, 0.2, 0.02
	// A tile shows blur that is blurRise times as sharp at its sharpest as at its softest, in
	// frames in which it is that too, as noise makes a quarter of its sharpness at most, or has
	// blurNear of that at its sharpest: a disc of 6 px leaves a third of texture whose spectrum
	// falls with frequency.
	blurRise, blurNear = 4, 0.3
	// A tile counts that shows blurLinks links, in blurRounds rounds; blurSpread is what the
	// deviation in those of noise is begun with. Rendered steps deviated by blurTimes what
	// the fit claims, and by blurSigma besides.
	blurLinks, blurRounds, blurSpread = 3, 12, 3
	blurTimes, blurSigma              = 2.5, 0.06

	// motorUneven is the deviation of ln step taken of a motor before any step is seen,
	// worth unevenPrior steps; it is counted over unevenLinks.
	motorUneven, unevenPrior, unevenLinks = 0.08, 6, 16
	// A step is a jump where it is longSteps times the usual and longSigma deviations of
	// noise and unevenness beyond it; or looseSteps times, looseSigma deviations, firmSigma
	// of the noise alone, and aloneSigma of these beyond all within aloneLinks.
	longSteps, longSigma                          = 1.6, 4
	looseSteps, looseSigma, firmSigma, aloneSigma = 1.4, 2.5, 5, 3
	aloneLinks                                    = 12
	// Two methods must show voteSteps; none whose deviation is under voteSigma less than
	// vetoSteps. Of three methods, one chooses more often by chance: there their deviation
	// must be under doubtSigma, at which a usual step passes for voteSteps once in six times.
	voteSteps, vetoSteps, voteSigma, doubtSigma = 1.4, 1.25, 0.15, 0.35
	// The usual steps of the two sides must be alike to likeSides, or the motor starts or
	// stops; and short steps beside it must not make up madeUp of its excess.
	likeSides, madeUp = 0.45, 0.6
	// Where focus stands by the steps, the picture must change by less than stillChange of
	// what it does around.
	stillChange = 0.8
	// A step of two must stand out by a jump's deviations over knownLinks of the links, or
	// that there is none is not claimed; where the motor alone varies by more than
	// tooUneven, that is the reason.
	knownLinks, tooUneven = 0.9, 0.15
)

// extendSteps are the lengths of step, in usual ones, that the fit of the frames behind
// an end is begun with.
var extendSteps = [...]float64{0.4, 0.7, 1, 1.5, 2.5}

// peakPriors are the deviations about what the parameters of a peak are begun with: top,
// floor, place, ln width, ln power.
var peakPriors = [5]float64{2, 1, 5, 0.7, 0.5}

// Patches: a few frames made later that close a hole.
const (
	// patchFrames is the most frames of a run that is kept to be placed in another.
	patchFrames = 32
	// patchMoved is by how far the picture may lie aside, px of a picture with a long side
	// of 1,600: the small pictures that are compared have a sixth of that. What fits lay
	// within 1.3.
	patchMoved = 2
	// patchEV is the difference of light from which it is another exposure, as that of
	// JumpEV and half as much for the comparison of pictures that are sharp elsewhere;
	// toneSlope is by how much the sRGB curve (IEC 61966-2-1) makes light vary more than
	// code values do, of which the logarithm varies 1/2.2 as much.
	patchEV, toneSlope = 0.15, 2.2
	// Another view is shown where more than these shares of the blocks that are sharp in both
	// lie aside, with their neighbours, by more than 0.5 and 0.3 small pixels: what fits had
	// no more than 0.07 and 0.12, under harder conditions too but for one of 100 that was
	// registered wrong, and subjects turned by 10° had 0.26 and 0.33 at least.
	patchApart05, patchApart03 = 0.10, 0.18
	// patchStep is the widest step that may be left, in usual steps: the next is a jump.
	patchStep = 1.5
	// patchNoise is the least deviation of ln sharpness that is believed of another run,
	// and patchMisfit times it what a frame may deviate that shows the same: those of
	// fitting patches deviated by 0.3 to 1.8, those of turned subjects by 1.3 and more.
	patchNoise, patchMisfit = 0.15, 2
	// patchBeyond is how far beyond the run a frame is sought, and patchGrid the distance
	// of the places tried, in steps.
	patchBeyond, patchGrid = 3, 0.1
	// Of few frames, a place by sharpness deviates by fewTimes what the fit says, and no less
	// than fewLeast of the hole. Registered with each other, frames deviate by fewScale px
	// half-way to a corner, or by fewShift px along a drift; with the run, by fewScaleApart and
	// fewShiftApart; and by fewUneven of the hole, as no lens scales quite evenly. Over less
	// than leastWay px nothing is seen. The width of the hole deviates by the share fewWidth.
	// All were taken from what rendered patches deviated by.
	fewTimes, fewLeast, fewUneven, fewWidth = 1.5, 0.02, 0.03, 0.08
	fewScale, fewScaleApart                 = 0.02, 0.15
	fewShift, fewShiftApart                 = 0.1, 0.4
	leastWay                                = 0.01
	// asideSteps is over how many steps of an end the way of the picture is carried on.
	asideSteps = 5
	// Where a run did not cover the subject, endTiles more tiles that are sharpest in its
	// end frame are kept.
	endTiles = 24
	// What lies within extendWindow steps of the end takes part in the fit of the frames
	// behind it, in extendRounds rounds. A tile belongs to what was not covered whose peak
	// lay no farther inside than extendEdge.
	extendWindow, extendRounds, extendEdge = 8, 12, 0.5
	// A tile still gets sharper that rises by riseNoise deviations of the run's fit, and by
	// riseShare of what one does that is sharp just beyond. Noise makes one of some thirty
	// tiles without detail rise by that, but hardly EdgeCluster neighbours: a tile beside
	// which none rises must do so by aloneNoise deviations.
	riseNoise, riseShare, aloneNoise = 1.5, 0.5, 3
	// The motion of the picture places frames behind an end where it deviates by less than
	// motionStep of a step from one frame to the next. All of them may lie aside together, by
	// asideMost deviations of the registration of two runs; each asideGrid of a step is
	// tried, and the peaks are fitted to it in asideRounds rounds. What costs asideCost more
	// than the best, five deviations, is not believed: tiles beside each other deviate
	// together, so that four or five of their deviations are but two or three.
	motionStep                                   = 0.3
	asideMost, asideGrid, asideRounds, asideCost = 3, 0.25, 3, 25
)
