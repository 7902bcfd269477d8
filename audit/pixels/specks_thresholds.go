package pixels

// The numbers of specks; thresholds.go describes how they were chosen. Lengths are pixels
// of a mean picture with a long side of some sensorSide.
const (
	sensorSide = 400
	// Behind the first sensorAll frames one in sensorEvery is enough, and saves time.
	sensorAll, sensorEvery = 8, 3
	// speckRadii are those that are sought: 4 to 22 px of a picture 1,600 wide.
	// The ring begins ringFrom outside the disc and ends at ringTo; it has speckSectors parts.
	ringFrom, ringTo = 1.5, 3.5
	speckSectors     = 8
	// A shadow of 5 % of the light is 2.3 % of the code values, by a tone curve of the power
	// 1/2.2, and its soft edge takes up to half of that; one of 20 % is 9.6 %.
	speckDepth, speckDeepest = 0.012, 0.1
	// ringSpread is how much the ring may vary, and sectorDepth by how much each of its parts
	// must be brighter, as shares of the depth.
	ringSpread, sectorDepth = 0.4, 0.5
	// Beyond these code values noise, or the end of the scale, hides a shadow.
	speckDark, speckBright = 25, 245
	mostSpecks             = 64
	// speckCell is the side of a square that is smooth or not, by clearSpread of its mean;
	// leastClear squares must be where no spot is found.
	speckCell, clearSpread, leastClear = 8, 0.005, 20
	// Spots are at one place within speckApart, or speckAside of their radius, and alike within
	// speckSize times their radius and speckDepths times their depth: the f-number changes both.
	speckApart, speckAside = 1.2, 0.4
	speckSize, speckDepths = 1.8, 3.0
	// specksAlike is the chance that two spots of two pictures are at one place and alike: of
	// 2,556,634 pairs of 48 rendered views without dust 73 are. A place counts where chance puts
	// one in fewer than dustChance sessions. Those that stand out most are alike more often: with
	// a limit of 0.002, of 1,000 pairs of 96 other views 7 had such a place.
	specksAlike, dustChance = 2.9e-5, 0.0005
	// The surroundings are the outer sideBlocks blocks of a view, from a spread of sideSpread
	// code values on; on each side sideKnown must be known, of which sideSame at most are
	// alike, by a correlation of sideAlike.
	sideBlocks, sideKnown           = 3, 4
	sideSpread, sideAlike, sideSame = 1.5, 0.5, 0.15
)

var speckRadii = [...]float64{1, 1.6, 2.5, 3.8, 5.5}
