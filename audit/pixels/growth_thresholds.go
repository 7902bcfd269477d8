package pixels

// Growth of blur in a test run. Where no source is named, the numbers are those of a
// trial on rendered scenes with even seeds.
const (
	// testRunFrames is the number of frames of a test run at least.
	testRunFrames = 8
	// patchMargin is what a patch has around its tile, px: half of the widest disc, and
	// what the coarsest scale asks of its neighbours; a whole number of its squares.
	patchMargin = 24
	// fineEdge is the edge, in cells, of the tiles that show where the subject ends. A
	// small tile counts from fineEnergy times MinEnergy and where it rises by fineRise.
	fineEdge             = 2
	fineEnergy, fineRise = 2.0, 2.5
	// growthEnds is the share of the places left out at either end.
	growthEnds = 0.005
	// Noise is measured for each of noiseBins ranges of luma that have noiseTiles tiles or
	// more: it is the sharpness below which noiseShare of them lie.
	noiseBins, noiseTiles, noiseShare = 16, 100, 0.01
	// A tile is flat where flatShare of its neighbours are sharpest within flatWithin
	// frames: the least of them that gives flatEnough tiles, while the next makes no more
	// than flatBlur px of blur each. The sharpest flatMost are measured.
	flatShare, flatEnough, flatMost = 0.75, 40, 160
	flatBlur                        = 2.0
	// signalNoise is the least sharpness of a patch against its noise. sharpShare is
	// the share of the patch's sharpness down to which a frame counts: below it,
	// noise and depth weigh more than blur.
	signalNoise, sharpShare = 3, 0.3
	// curveError is the error of a share of sharpness, and leastSquare that of a square of
	// blur, px².
	curveError, leastSquare = 0.05, 0.05
	// leastNeighbours frames beside the sharpest must count; what is more uncertain
	// than mostUncertain of itself is left out.
	leastNeighbours, mostUncertain = 2, 0.5
	// growthTiles is the number of tiles without which there is no answer.
	growthTiles = 8
	// The error of ln b is growthError and growthSpread of the spread, added in squares.
	growthError, growthSpread = 0.07, 0.4
	// There is no answer beyond mostSpread, beyond doubtSpread where fewer than doubtShare
	// of the textured tiles count, and where the run gathers less than leastBlurInAll px.
	mostSpread, doubtSpread, doubtShare = 0.35, 0.2, 0.12
	leastBlurInAll                      = 5.0
)

// The step of a run.
const (
	// curveFactor is how far the growth of blur by the width of the curves may lie from
	// the truth.
	curveFactor = 2
	// MostStepFrames are inspected again at most, and no fewer than stepLeast.
	MostStepFrames, stepLeast = 16, 6
)

// flatWithin are the differences of peaks, in frames, within which tiles are flat.
var flatWithin = [...]float64{0.5, 1, 2}
