package optics

import "math"

// SymmetricPupil is the pupil magnification of a symmetric lens, to be assumed
// (and said to be assumed) where a lens's own is not known. Lenses of telephoto
// build have less, so that it understates their working f-number.
const SymmetricPupil = 1.0

// WorkingFNumber returns the f-number the sensor sees at magnification m with
// the lens marked n.
//
//	Ne = N(1 + m/P)
//
// n and p must be above 0 and m 0 or more, else NaN. N is the f-number of the
// lens as focused: a body that shows working values (the f-number rises as
// focus comes near) has applied the factor already, see [MarkedFNumber].
// Source: Greivenkamp, Field Guide to Geometrical Optics, 2004, p. 29.
func WorkingFNumber(n, m, p float64) float64 {
	if !positive(n, p) || !notNegative(m) {
		return nan
	}
	return n * (1 + m/p)
}

// MarkedFNumber returns the f-number a lens is set to when the sensor sees ne.
//
//	N = Ne/(1 + m/P)
//
// ne and p must be above 0 and m 0 or more, else NaN.
// Source: [WorkingFNumber] solved for N.
func MarkedFNumber(ne, m, p float64) float64 {
	if !positive(ne, p) || !notNegative(m) {
		return nan
	}
	return ne / (1 + m/p)
}

// ExposureLoss returns the stops of light that magnification m costs against
// focus at infinity.
//
//	2 log2(1 + m/P)
//
// p must be above 0 and m 0 or more, else NaN. Life size with a symmetric lens
// costs two stops.
// Source: [WorkingFNumber], as exposure goes with 1/Ne².
func ExposureLoss(m, p float64) float64 {
	return FNumberStops(1, WorkingFNumber(1, m, p))
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

// ObjectNA returns the numerical aperture on the subject's side, in air.
//
//	NA = m/(2Ne)
//
// Both must be above 0 and the result at most 1, the limit in air, else NaN.
// It is paraxial: above NA 0.5 the true sine is smaller.
// Source: coinimaging.com/effective_na.html, NA = 1/(2N(1/m + 1/P)).
func ObjectNA(ne, m float64) float64 {
	if !positive(ne, m) || m > 2*ne {
		return nan
	}
	return m / (2 * ne)
}
