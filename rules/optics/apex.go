package optics

import "math"

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
func Tv(t Seconds) float64 { return EV(1, t) }

// TimeFromTv returns the exposure time of a time value, as ShutterSpeedValue
// records it. The standard itself equates Tv 5 with 1/30 s, so that a recorded
// time and the recorded Tv may differ by 0.09 EV.
//
//	t = 2^-Tv
//
// tv must be finite, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122.
func TimeFromTv(tv float64) Seconds {
	if !finite(tv) {
		return Seconds(nan)
	}
	return Seconds(math.Exp2(-tv))
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

// ISOFromSv returns the ISO setting of a sensitivity value.
//
//	S = 3.125 · 2^Sv
//
// sv must be finite, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, p. 122.
func ISOFromSv(sv float64) float64 {
	if !finite(sv) {
		return nan
	}
	return apexISO * math.Exp2(sv)
}

// Bv returns the brightness value of a luminance in foot-lamberts, the unit in
// which the standard's table is even.
//
//	Bv = log2 B
//
// The luminance must be above 0, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, table 48, p. 122.
func Bv(footLamberts float64) float64 {
	if !positive(footLamberts) {
		return nan
	}
	return math.Log2(footLamberts)
}

// FootLambertsFromBv returns the luminance, in foot-lamberts, of a brightness
// value.
//
//	B = 2^Bv
//
// bv must be finite, else NaN.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, table 48, p. 122.
func FootLambertsFromBv(bv float64) float64 {
	if !finite(bv) {
		return nan
	}
	return math.Exp2(bv)
}
