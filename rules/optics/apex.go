package optics

import "math"

// The APEX values put aperture, time and sensitivity on one scale whose unit is
// the stop, 1 EV. All comparisons of exposure go through them: a frame gets
// Sv - Av - Tv stops of exposure.

// DriftTolerance, in EV, is the least change of settings that is a change: half
// the finest common step of 1/3 EV, and above every error of nominal rounding
// (at most 0.14 EV).
const DriftTolerance = 1.0 / 6

// Av returns the aperture value of an f-number.
//
//	Av = 2 log2 N
//
// n must be above 0, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122.
func Av(n float64) float64 { return FNumberStops(1, n) }

// FNumberFromAv returns the f-number of an aperture value, as ApertureValue and
// MaxApertureValue record it.
//
//	N = 2^(Av/2)
//
// av must be finite, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122.
func FNumberFromAv(av float64) float64 { return FNumberAfterStops(1, av) }

// Tv returns the time value of an exposure time.
//
//	Tv = -log2 t
//
// t must be above 0, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122.
func Tv(t Seconds) float64 {
	if !positive(t) {
		return nan
	}
	return -math.Log2(float64(t))
}

// apexISO is the ISO setting of Sv 0.
const apexISO = 3.125

// Sv returns the sensitivity value of an ISO setting.
//
//	Sv = log2(S/3.125)
//
// iso must be above 0, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122.
func Sv(iso float64) float64 {
	if !positive(iso) {
		return nan
	}
	return math.Log2(iso / apexISO)
}

// Stops returns how many stops brighter a frame comes out by a change of its
// exposure time or its ISO setting; negative where it comes out darker.
//
//	log2(to/from)
//
// Both must be above 0, else NaN.
// Source: definition of the stop.
func Stops(from, to float64) float64 {
	if !positive(from, to) {
		return nan
	}
	return math.Log2(to / from)
}

// FNumberStops returns how many stops less light f-number n2 lets in than n1;
// negative where it lets in more.
//
//	2 log2(N2/N1)
//
// Both must be above 0, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122: Av = 2 log2 N.
func FNumberStops(n1, n2 float64) float64 {
	if !positive(n1, n2) {
		return nan
	}
	return 2 * math.Log2(n2/n1)
}

// FNumberAfterStops returns the f-number that lets in the given stops less
// light than n; negative stops open the lens.
//
//	N 2^(stops/2)
//
// n must be above 0 and stops finite, else NaN.
// Source: [FNumberStops] solved for N2.
func FNumberAfterStops(n, stops float64) float64 {
	if !positive(n) || !finite(stops) {
		return nan
	}
	return n * math.Exp2(stops/2)
}
