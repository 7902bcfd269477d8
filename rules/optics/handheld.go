package optics

import "math"

// StabilisationBlur is the blur, on 36 × 24 mm, up to which stabilisation is
// rated: a 687th of the diagonal, 14 pixels of a 45-megapixel sensor. A rating
// of five stops holds at that size and for distant subjects.
// Source: ISO 20954-1:2019, clause 3.5.
const StabilisationBlur = 63 * Micrometre

// The most of a stabilisation's rating to count on. Common practice.
const (
	StopsAtPixels = 2.0 // for sharpness at 100 %
	StopsCloseUp  = 1.0 // from CloseUp on: hand travel counts, which no rating covers
	CloseUp       = 0.5 // magnification
	LooksSharp    = 1.0 // sharpness of a print seen from its diagonal
)

// Sharpness returns how much finer than a print's the wanted circle of
// confusion is, for [HandheldLimit]: pixel-sharp pictures allow less blur and
// so less time.
//
//	c/cref,  cref = diagonal/1500
//
// Both must be above 0, else NaN. A 36 × 24 mm sensor of 45 megapixels has 0.38
// at 100 %, 1.4 stops less time.
// Source: derived by geometry.
func Sharpness(c, diagonal Length) float64 {
	if !positive(c) {
		return nan
	}
	return float64(c / PrintCoC(diagonal))
}

// CreditedStops returns how many of a stabilisation's rated stops to count on,
// at magnification m: at most [StopsCloseUp] from [CloseUp] on, at most
// [StopsAtPixels] where the picture shall be sharp at 100 %.
// Both must be 0 or more, else NaN.
// Source: common practice; ISO 20954-1:2019 rates distant subjects, rotation and
// [StabilisationBlur].
func CreditedStops(rated, m float64, atPixels bool) float64 {
	if !notNegative(rated, m) {
		return nan
	}
	if atPixels {
		rated = min(rated, StopsAtPixels)
	}
	if m >= CloseUp {
		rated = min(rated, StopsCloseUp)
	}
	return rated
}

// HandheldLimit returns the longest exposure time to hold by hand, for a 35 mm
// equivalent focal length, magnification m, stops of stabilisation and a
// sharpness ([LooksSharp], or less from [Sharpness]).
//
//	2^stops · sharpness/(f35 (1+m)) s, f35 in mm
//
// f35 and sharpness must be above 0, m 0 or more and stops finite, else NaN.
// Hands differ widely, so it is grounds for a warning and no more; near 1:1 the
// hand's travel, which is not in it, outweighs its turning.
// Source: Wikipedia, Camera shake, for 1/f35; ISO 20954-1:2019 for the stops;
// the rest derived by geometry.
func HandheldLimit(f35 Length, m, stops, sharpness float64) Seconds {
	if !positive(f35) || !positive(sharpness) || !notNegative(m) || !finite(stops) {
		return Seconds(nan)
	}
	return Seconds(math.Exp2(stops) * sharpness / (f35.Millimetres() * (1 + m)))
}
