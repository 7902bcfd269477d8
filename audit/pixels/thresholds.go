package pixels

// Thresholds are the numbers that [Sequence.Judge] decides by. They were chosen
// on one half of rendered and real sequences; the tests state what they do on
// the other half. Start from [DefaultThresholds].
type Thresholds struct {
	// Texture.

	// MinTiles is the number of textured tiles below which nothing is said
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
		SoftLoss: 0.35, SoftLossMost: 0.10, SoftLossStanding: 0.2,
	}
}
