package pixels

// All numbers that an answer depends on are in this file, but for those of test runs in
// growth_thresholds.go, of steps in steps_thresholds.go, of parts that move in
// subject_thresholds.go, of single frames in stills_thresholds.go and of specks in
// specks_thresholds.go: [Thresholds] has those that tests and callers may vary; below it are
// those that belong to a method. Where no source is named, a number was chosen on the
// rendered scenes with even seeds and the first half of the real series, and the table of
// rates in DEVELOPERS.md states what comes of all of them together on others.

// Thresholds are the numbers that [Sequence.Judge] decides by. They were chosen
// on one half of rendered and real sequences; the tests state what they do on
// the other half. Start from [DefaultThresholds].
type Thresholds struct {
	// Texture.

	// MinTiles is the number of textured tiles below which there is no answer
	// about sharpness: 12.
	MinTiles int
	// MinEnergy is the peak of the focus measure of a textured tile, code
	// values²: 1.5, some three times the noise of a clean picture.
	MinEnergy float64
	// MinRise is the least ratio of a textured tile's sharpest to its softest
	// frame: 1.6.
	MinRise float64
	// MaxNoise is the most noise of a textured tile's curve, as a share of
	// its height: 1/8.
	MaxNoise float64

	// Ends.

	// EdgeShare is the share of the textured tiles that are still getting
	// sharper in the end frame: 0.03.
	EdgeShare float64
	// EdgeCluster is the number of such tiles in one connected patch: 3.
	EdgeCluster int
	// EdgeBeyond is how many frames their best focus lies outside: 0.4.
	EdgeBeyond float64
	// EdgeFall is how much of its height a curve must fall within two half
	// widths from the end: 0.6. It rejects far background, which rises slowly.
	EdgeFall float64

	// Step.

	// StepBlur is the growth of the blur disk per frame, px: 3, which is a
	// disk of 1.5 px half-way between two frames.
	StepBlur float64

	// Registration signature.

	// SignatureRatio is how far the scale (or drift) per frame stands above
	// its noise: 5.
	SignatureRatio float64
	// JumpRatio is the step, as a multiple of its neighbours', that counts as
	// a jump: 1.5; JumpSigma its distance in noise deviations: 3.5.
	JumpRatio, JumpSigma float64
	// StallRatio is the step, as a multiple of its neighbours' or of the
	// run's, up to which the focus did not move: 0.25; StallSigma the
	// distance in noise deviations: 4.
	StallRatio, StallSigma float64
	// StallChange is the change of the picture, as a share of its neighbours',
	// below which nothing moved, where there is no signature: 0.25.
	StallChange float64
	// TurnRatio is the backward step, as a multiple of the run's: 0.4.
	TurnRatio float64
	// RevisitRMS is the difference of two frames' sharpness profiles, 0 to 1,
	// below which a frame repeats the focus of an earlier one: 0.18.
	RevisitRMS float64

	// Camera and light.

	// MovedPixels is the least jump of the picture, in px of a picture with a
	// long side of 1,600: 1. Lenses themselves shift the picture by some 0.7
	// when their motor starts. MovedSigma is its distance in noise
	// deviations: 7.
	MovedPixels, MovedSigma float64
	// JumpEV is the least jump of brightness between neighbours, EV: 0.10;
	// JumpMAD its distance in median deviations: 6.
	JumpEV, JumpMAD float64
	// FlickerEV is the change between neighbours that counts as flicker, EV:
	// 0.10; FlickerShare the share of neighbours that show it: 0.10.
	FlickerEV, FlickerShare float64
	// DriftEV is the range over which the smoothed brightness walks, EV: 0.3.
	// Extension of the lens alone makes some 0.15 EV at life size.
	DriftEV float64
	// DarkEV is how far below the run a dark frame lies, EV: 1.
	DarkEV float64

	// Softness.

	// SoftLoss is the median loss of sharpness of a soft frame against its
	// neighbours, in ln: 0.35; SoftLossMost that of the 80th percentile: 0.10.
	SoftLoss, SoftLossMost float64
	// SoftLossStanding takes the place of SoftLoss where focus stands: 0.2.
	SoftLossStanding float64
	// SoftLossSided takes the place of both, and of SoftLossMost, where the loss has one
	// direction: 0.12.
	SoftLossSided float64
}

// DefaultThresholds returns the thresholds that the rates in DEVELOPERS.md were measured with.
func DefaultThresholds() Thresholds {
	return Thresholds{
		MinTiles: 12, MinEnergy: 1.5, MinRise: 1.6, MaxNoise: 0.125,
		EdgeShare: 0.03, EdgeCluster: 3, EdgeBeyond: 0.4, EdgeFall: 0.6,
		StepBlur:       3,
		SignatureRatio: 5, JumpRatio: 1.5, JumpSigma: 3.5,
		StallRatio: 0.25, StallSigma: 4, StallChange: 0.25,
		TurnRatio: 0.4, RevisitRMS: 0.18,
		MovedPixels: 1, MovedSigma: 7,
		JumpEV: 0.10, JumpMAD: 6, FlickerEV: 0.10, FlickerShare: 0.10, DriftEV: 0.3, DarkEV: 1,
		SoftLoss: 0.35, SoftLossMost: 0.10, SoftLossStanding: 0.2, SoftLossSided: 0.12,
	}
}

// What a run must have.
const (
	// minFrames is the number of frames below which focus is not judged, and
	// fewFrames that below which nothing is judged but the range of exposures and
	// whether the pictures show one thing.
	minFrames = 6
	fewFrames = 4
	// oneViewLinks is the number of links without which frames are not found to show
	// one view: four frames, of which one shows nothing.
	oneViewLinks = 2
	// testFrames is how many frames at either end of a run may be no part of it: a
	// marker, a grey card, a test frame.
	testFrames = 3
	// maxCurves is the number of frames of which the tiles are kept: 1,000 frames of
	// 50 KB. A longer run is judged without its sharpness curves.
	maxCurves = 1000
)

// Neighbourhoods: how many links on either side a link is held against.
const (
	nearLinks = 2 // for motion and light
	wideLinks = 3 // for the change of the picture, which is noisier
)

// Registration.
const (
	minLevelW, minLevelH = 48, 32 // pyramid levels are not made smaller than this
	maxLevels            = 4
	// Pictures that show the same thing leave under a fifth of their
	// variance unexplained, even where the blur changes much; pictures of
	// different things leave most of it.
	maxUnexplained = 0.3
	// From here on the way back is asked too, and the two must agree to a
	// quarter of a pixel of the small picture: blur that changes much pulls
	// the two apart.
	askUnexplained = 0.01
	maxDisagree    = 0.25
	minContrast    = 1.0 // code values; standard deviation of a picture that can be registered
	// The iteration ends where a point half-way to the corner moves by less than
	// this, in pixels of the level: on the levels before the finest, and on it.
	// Where the last step of all moves more than coarseStill it has not converged.
	coarseStill, fineStill = 0.05, 0.01
	// outerSteps bounds the steps on the coarsest and the finest level, middleSteps
	// those on the levels between, of which only the result is passed on.
	outerSteps, middleSteps = 10, 4
	// A level is solved where this many pixels and this share of it are covered,
	// and the motion is believed where viewOverlap is.
	leastPixels, leastOverlap, viewOverlap = 200, 0.25, 0.5
	// Residuals are weighted by Cauchy's function; its width is weightTimes their
	// mean, and at least weightFloor code values.
	weightTimes, weightFloor = 1.5, 0.2
	// saneScale bounds scale and rotation, saneGain the gain and its inverse, 0.01.
	saneScale, saneGain = 0.2, 100.0
)

// Parts of the picture.
const (
	// A block is known where the deviation of its shift is under partSigma, pixels of the
	// small picture; partBlocks of them are needed. It lies elsewhere from partAside on.
	partSigma, partBlocks, partAside = 0.1, 16, 0.3
)

// typicalRadius is the distance of a typical point from the middle of the picture,
// as a share of the diagonal: changes of scale and rotation are given as what they
// move there. Half-way to a corner is 0.25, the root mean square distance
// 1/√12 = 0.289.
const typicalRadius = 0.285

// Light.
const (
	// clippedTile is the share of clipped pixels above which a tile's brightness is
	// not compared; tiles darker than darkTile, code values, are not either.
	clippedTile = 0.02
	darkTile    = 10
	// Two frames are compared by tiles where at least lightTiles and one in
	// lightEvery can be, else by the light of the whole pictures.
	lightTiles, lightEvery = 6, 20
	// lightFloor is added to the light of pictures, 0 to 1, that may be black.
	lightFloor = 1e-4
	// settled is the least difference that settings make between two frames, EV:
	// half the finest common step.
	settled = 1.0 / 6
	// toneCurve is by how much of the settings' difference a tone curve may make
	// two pictures differ more than their light does.
	toneCurve = 0.5
	// nearlyBlack is the mean luma, code values, under which a picture shows nothing.
	nearlyBlack = 4
	// unlikeLinks is the number of links without which pictures are not found to
	// show one thing after another.
	unlikeLinks = 3
	// upperQuarter is the percentile that is taken for the greater part of a run.
	upperQuarter = 0.75
	// darkAround is the number of frames passed before that a dark one is compared with.
	darkAround = 5
	// deepEV is the depth from which a dark stretch may last to an end of the run,
	// and blackEV that from which it is dark whatever most of the run is like.
	deepEV, blackEV = 2.0, 4.0
	// shortStretch: a stretch at an end is short up to one in this many of the run.
	shortStretch = 4
	// unfitShare is the share of the links from which pictures that do not show the
	// same thing, or settings that change, hide focus; settings only where they span
	// more than unfitEV.
	unfitShare, unfitEV = 0.25, 1.0
	// brightLinks is the number of links that must be comparable, flickerLinks the
	// number that must flicker.
	brightLinks, flickerLinks = 3, 3
)

// Colour.
const (
	// ColourShift is half a just noticeable difference in a* and b*: that is 2.3 (Mahy,
	// Van Eycken and Oosterlinck, Evaluation of uniform color spaces developed after the
	// adoption of CIELAB and CIELUV, Color Research and Application 19(2), 1994).
	ColourShift = 2.3 / 2
	// One pixel is read every tintEvery px in either direction: some 50,000 of a picture.
	tintEvery = 6
	// Pixels whose brightest channel lies above or below keep no colour; the others
	// must be tintShare of the picture.
	tintWhite, tintBlack = 250, 4
	tintShare            = 0.05
)

// What held the camera, and whether it goes around the subject.
const (
	// heldLinks is the number of links without which there is no answer.
	heldLinks = 3
	// viewsApart is the share of the picture's parts that lie elsewhere from which the view
	// changes. Of wide steps of focus in much noise it is 0.06, of a subject turned by
	// 2° a frame 0.2.
	viewsApart = 0.12
	// The camera stood up to a shift of stoodShift, px of a picture 1,600 wide, and a roll of
	// stoodRoll, degrees: registration errs by that where a small subject stands before
	// a blurred background. It stood and trembled up to trembleShift if it hardly rolled, by
	// trembleRoll; and up to middleShift and middleRoll.
	stoodShift, stoodRoll      = 0.12, 0.012
	trembleShift, trembleRoll  = 2.5, 0.0015
	middleShift, middleRoll    = 0.3, 0.0035
	handShift, handRoll        = 0.35, 0.006
	largeRoll                  = 0.002
	heldLeft                   = 0.012 // of a picture's variance, which the motion does not explain
	heldLeftLittle, heldLittle = 0.003, 0.6
)

// Signature.
const (
	// scaleNoise and shiftNoise are the least noise of registration, px: what
	// moves at typicalRadius, and a shift.
	scaleNoise, shiftNoise = 0.01, 0.01
	// leastDrift is the least shift a frame that counts as a drift, px.
	leastDrift = 0.15
	// faintRatio takes the place of SignatureRatio for what needs less to be seen. The
	// ratio is about 0.6 where there is nothing but noise.
	faintRatio = 2
	// signStep is the step, as a multiple of the run's, that has a direction.
	signStep = 0.4
	// localSigma is how many noise deviations the neighbours' step must stand above
	// zero for a step to be held against it.
	localSigma = 4
	// A jump of the picture is no step of focus where it leaves the line of the
	// drift: by bumpSigma noise deviations, by bumpAside of its length along the
	// line (some 20°) and by bumpSteps focus steps.
	bumpSigma, bumpAside, bumpSteps = 7, 0.35, 0.5
	// Nor is one of more than bumpLarge focus steps, over which the picture changes
	// less than bumpChange times what it does around.
	bumpLarge, bumpChange = 4.0, 1.4
)

// Sharpness curves.
const (
	// curveFrames is the number of frames without which there is no curve, and
	// curveSeen the share of the frames that must show a tile.
	curveFrames, curveSeen = 3, 0.75
	// leastEnergy is the least focus measure a ratio is taken to, code values².
	leastEnergy = 0.1
	// detailEnergy times MinEnergy is the peak of a tile that shows more than noise.
	detailEnergy = 2
	// floorNoise is the least noise of a curve, as a share of its floor.
	floorNoise = 0.03
	// halfHeight is where the width of a curve is taken.
	halfHeight = 0.5
	// A Gaussian is fitted where its half width comes out at fitWidth frames and
	// more and its peak within fitReach frames of the sharpest: crossings do better
	// on fewer samples.
	fitWidth, fitReach = 1.2, 1.5
	// A tile is textured where likeTiles of its neighbours are sharpest within
	// likePeak half widths, or one frame: noise is not.
	likeTiles, likePeak = 2, 0.5
)

// Walk.
const (
	// walkTiles is the number of tiles with detail, and of tiles that come and go,
	// without which there is no answer.
	walkTiles = 12
	// Focus walks where walkShare of the tiles with detail come and go, or
	// walkShareScaled where the picture scales too; their sharpest frame is walkRise
	// times their softest, in the median.
	walkShare, walkShareScaled, walkRise = 0.25, 0.1, 2.5
	// strongRise is the rise that noise and light do not make: it counts without a
	// smooth curve.
	strongRise = 6
	// standShare is the share of tiles that come and go below which focus stands.
	standShare = 0.05
	// standScale is the change of scale, as what it moves at typicalRadius, px of a
	// picture with a long side of 1,600, from which focus does not stand: registration
	// adds up to a tenth of that over a long run.
	standScale = 1.5
)

// Order.
const (
	// turnSigma is the way back in noise deviations.
	turnSigma = 5
	// swapStep and restartStep are steps as multiples of the run's: the two beside a
	// swap of neighbours are longer than the one (two steps each), and a single step
	// back longer than the other is no swap (which is one step back).
	swapStep, restartStep = 1.5, 2.5
	// swapSigma is by how many noise deviations the three links of a swap must exceed
	// regular steps together.
	swapSigma = 4.5
	// A frame repeats another where it is more than revisitApart half widths behind
	// it. Compared are tiles of which the sharpness in either is over revisitSharp of
	// their best; at least revisitTiles, and revisitShare of the textured ones.
	revisitApart, revisitSharp = 2, 0.6
	revisitTiles, revisitShare = 6, 0.03
	// revisitLeaves times RevisitRMS is the difference of frames between the two
	// that shows that focus has left in the meantime.
	revisitLeaves = 2
)

// Orders outwards. Counted on 25 rendered scenes: 270 runs made in such orders, and 734
// others of which 102 have valleys of outwardHint and more.
const (
	// outwardFrames is the number of frames without which no such order is seen, as fewer
	// may come to lie in one by chance. Up to a share outwardLost of them may lack.
	outwardFrames, outwardLost = 9, 0.2
	// valleyNoise is the deepest valley that noise makes in a curve of 12 to 40 frames, in
	// its deviations. An order is chosen by some valleyTiles of the tiles.
	valleyNoise, valleyTiles = 3, 100
	// Valleys are means over the tiles. As made, nine in ten runs in turn have 0.37 and more;
	// from outwardDeep on an order is seen, from outwardHint on it may be one.
	outwardDeep, outwardHint = 0.25, 0.15
	// What is left of the valleys in the order of focus: 0.15 at most, and of those as
	// made 0.41, but for one of 120 runs in turn, with 0.7. Other runs are left 0.96.
	outwardFlat, outwardLeft, outwardLess = 0.2, 0.5, 0.8
	// An order with a lost frame, or a side that ends early, must leave less than
	// outwardBetter of what the plain one does; orders that differ by outwardSame leave the
	// same.
	outwardBetter, outwardSame = 0.9, 0.01
	// backTiles is the number of tiles that must come back as focus returns to the middle.
	backTiles = 6
	// outwardSide is the number of frames of the shorter side, and outwardWidths the half
	// widths of a peak that they must be where nothing else decides: a part that was
	// shown twice within one peak has no valley.
	outwardSide, outwardWidths = 3, 2
	// outwardSure is by how many noise deviations a motion of the picture must stand out
	// to decide which way focus goes, outwardSlopes how alike it is on the two sides, and
	// outwardBack how far from its beginning it comes back: registration over so wide a
	// step errs by up to a third of it, and a run that walks back does not come back.
	outwardSure, outwardSlopes, outwardBack = 6.0, 0.4, 0.4
)

// Camera.
const (
	// movedLinks is the number of links that must be registered.
	movedLinks = 3
	// rayleighMedian is the median length of a two-dimensional normal deviation of 1:
	// √(2 ln 2) = 1.1774, rounded.
	rayleighMedian = 1.18
	// doubtTimes is by how many times a jump must exceed the disagreement of the
	// picture's quarters.
	doubtTimes = 3
	// maxLeft is the share of a picture's variance that noise and a changed blur may
	// leave unexplained where a jump of the picture is believed; where the run leaves
	// more, leftTimes its median.
	maxLeft, leftTimes = 0.03, 3
	// lostSigma is by how many deviations of a binomial count more tiles must show that a
	// picture is another than would by chance, and lostShare the share that must. Of 16 drawn
	// scenes (seeds 51001 to 51031, odd) up to 0.51 of the tiles have a clean frame apart from the
	// two beside it, and up to 0.63 one pair of frames from the next. Of pictures that lie
	// elsewhere, are others, or are half covered, 0.88 do and more.
	lostSigma, lostShare = 5, 0.75
	// unsteady is how many times the least jump must show, or there is no answer for
	// runs in which no jump is found.
	unsteady = 2
	// A jump under playPixels, of a picture with a long side of 1,600, is the lens's
	// where focus stands on one side of it and moves on the other, over playLinks links
	// each and more. It stands up to StallRatio of the other side's step, or, without a
	// signature, playChange of what changes in sharpness on the other side.
	playPixels, playLinks, playChange = 2.5, 2, 0.5
	// Two jumps undo each other within undoLinks links where what remains is under
	// undoShare of the one.
	undoLinks, undoShare = 3, 0.5
)

// Stalls and jumps of focus.
const (
	// A stretch that stands by the run's measure ends abruptly: beside it focus
	// moves by stallEdge of the usual step; and the picture changes over it by less
	// than stallTypical of what is usual.
	stallEdge, stallTypical = 0.6, 1.1
	// stallAbrupt is how many times as much the picture changes beside a stretch over
	// which it hardly does.
	stallAbrupt = 2.5
	// habitLinks is the number of links without which two frames at every position are
	// not found: in 11 links of chance, every other one is below all others once in 231.
	// habitChange is how much less the picture changes over them, in the median:
	// rendered pairs have 0.4 to 0.5, even steps 1.
	habitLinks, habitChange = 11, 0.7
	// stallFromMove is within how many frames of a jump of the picture its change
	// means nothing.
	stallFromMove = 3
	// jumpApart is the distance in frames from a reversal or a stall within which a
	// long step belongs to it.
	jumpApart = 2
	// weakLinks is the number of links at either end where motors that start or stop
	// are uneven.
	weakLinks = 2
)

// What focus does behind a pause.
const (
	// coursePart is the number of frames on either side without which there is no
	// answer, courseFrames how many behind the pause are compared with those before.
	coursePart, courseFrames = 5, 12
	// courseRatio is how far the first run's step must stand above its noise to count in.
	courseRatio = 2
	// Focus goes on where it moved over the pause by a step, by up to two more that were
	// lost, or by none, as the last frame may be there again; half a step is for
	// uneven motors. It starts over within courseAgain of the first run's length.
	courseLeast, courseMost, courseAgain = -0.4, 3.6, 0.35
	// Steps behind the pause shorter than courseWay times those before go nowhere.
	courseWay = 0.3
	// A tile is sharp in a frame from courseSharp of its best on.
	courseSharp = 0.3
	// Frames two apart differ by courseClear times what neighbours do, or it is noise.
	courseClear = 1.25
	// A frame repeats another that differs by less than courseRepeat of what neighbours
	// do; courseRepeats of them show which way focus goes, by courseSlope frames a
	// frame at least.
	courseRepeat, courseRepeats, courseSlope = 0.75, 3, 0.4
	// Behind the end the first frame lies within courseNear times three steps, and the
	// fourth courseFar times as far.
	courseNear, courseFar = 1.2, 1.5
)

// Bands.
const (
	// bandLines is the number of lines without which there is no answer.
	bandLines = 8
	// BandEV is the least depth of a dark band: half a stop. What a flash alone lights
	// lies far deeper where the curtain covers it.
	BandEV = 0.5
	// A band has bandLeast lines at least, and leaves bandFree of them free; bandSoft
	// lines behind it are the soft edge of the curtain.
	bandLeast, bandFree, bandSoft = 2, 0.25, 3
	// bandAlike is how far the quarters of a line may lie apart, as a share of the depth.
	bandAlike = 0.3
	// RippleEV is the least depth of waves, as that of flicker; rippleTurns how often
	// they go up and down, one and a half periods at least; rippleAlike how
	// far the quarters may lie apart, as a share of the depth.
	RippleEV, rippleTurns, rippleAlike = 0.1, 3, 0.2
)

// Ends and step.
const (
	// edgeNoise is how many noise deviations a curve must rise towards the end.
	edgeNoise = 4
	// halfWidthSigma is the half width at half maximum of a Gaussian of deviation 1:
	// √(2 ln 2).
	halfWidthSigma = 1.1774
	// edgeWide is the half width, frames, from which the third frame from the end is
	// compared with the end frame, in place of the second.
	edgeWide = 2
	// edgeFloor is the least height of a curve that a ratio is taken to.
	edgeFloor = 0.01
	// edgeInside is how many half widths inside the curve must have fallen by EdgeFall.
	edgeInside = 2
	// edgeMost is the share of the tiles that as many more frames would do for.
	edgeMost = 0.9
	// The growth of blur a frame, times the half width of the curves, is blurWide px;
	// below a half width of narrowPeak frames it is more, by blurNarrow px for each
	// frame that lacks, up to blurMost frames. Fitted to rendered scenes.
	blurWide, blurNarrow, blurMost, narrowPeak = 3.2, 2.2, 0.8, 1.25
)

// Softness.
const (
	// softTiles is the number of tiles that must be sharp enough beside a frame.
	softTiles = 6
	// A tile is sharp enough where the mean of the two frames beside is over
	// softMean of its height, and each over softLeast.
	softMean, softLeast = 0.4, 0.25
	// softEnergy times MinEnergy is what it must have where focus stands.
	softEnergy = 2
	// softFloor, and softNoise times a curve's noise, are added before the logarithm.
	softFloor, softNoise = 0.03, 3
	// softNearlyAll is the share of the tiles that must lose sharpness, by SoftLossMost.
	softNearlyAll = 0.8
	// softStandingMAD is the loss in deviations of the run's where focus stands.
	softStandingMAD = 6
	// Directions are compared of up to slantTiles tiles with slantEnergy, twice MinEnergy, in
	// both frames beside; where half of them, by that energy up to slantMost, lose slantLoss
	// in ln at least.
	slantTiles, slantEnergy, slantMost, slantLoss = 120, 3, 50, 0.05
	// A shake has a direction where the anisotropy differs by sideLeast, and by sideSigma
	// deviations of its mean over sideTiles tiles or more. Of 543 clean frames (24 scenes, even
	// seeds) nine differ by that much, one of those loses sharpness, and it loses 0.05; shakes
	// of 2.5 to 4 px differ by 0.04 to 0.15.
	sideTiles, sideSigma, sideLeast = 12, 6, 0.03
)

// Views. Lengths are small pixels, of which the long side has some 256.
const (
	// blockSide is the side of a block; seekReach how far aside it is sought.
	blockSide, seekReach = 8, 2
	// maxViewSide bounds views that come from a file.
	maxViewSide = 4096
	// leastBlocks, and one in blocksEvery, must be sharp in both.
	leastBlocks, blocksEvery = 16, 40
	// A block counts as sharp from sharpEnergy, code values², and sharpRise times its
	// least sharp frame; where focus stands from standingEnergy. In the other view
	// it must be within energyRatio of that.
	sharpEnergy, sharpRise, standingEnergy, energyRatio = 1.5, 1.6, 4, 4
	riseFloor                                           = 0.01
	// coarsePasses of the binomial kernel, each of variance 1/2, make what is taken out.
	coarsePasses = 8
	// firmBlock is the correlation of a block's two sharpest frames: of noise it is 0.
	firmBlock = 0.7
	// alikeBlock is the correlation from which a block counts as alike.
	alikeBlock = 0.7
	// Beyond these it is another view: share of blocks that moved together by
	// more than 0.5 and 0.3, share of blocks that are not alike, shift in shares of the
	// long side, scale, and roll in radians.
	otherApart05, otherApart03, otherUnlike = 0.15, 0.25, 0.25
	otherShift, otherScale, otherRoll       = 0.03, 0.04, 0.035
	// Within all of these it is the same.
	sameApart05, sameApart03, sameUnlike, sameShift = 0.02, 0.05, 0.15, 0.015
)

// sliver is by how much of a cell a tile may lie outside the picture.
const sliver = 0.5

// The range of exposures.
const (
	// highEnd and lowEnd are code values of 8 bits: above the one nothing can be
	// distinguished, and up to the other, 2 % of the scale, shadows have few values left of
	// a stop.
	highEnd, lowEnd = 250, 5
	// rangeShare is the least share of all tiles that the textured area must be.
	rangeShare = 0.05
	// A tile shows detail beside what is clipped up to lightsClipped of it, as an edge of a
	// clipped part does. A background is white where lightsWhite of a tile is clipped.
	lightsClipped, lightsWhite = 0.9, 0.9
	// lightsOrdinary is the largest share that others may have clipped: of 384 rendered views
	// without a fault, half of them exposed as far as a session allows, the most has 0.093.
	lightsOrdinary = 0.1
)
