package optics

// SymmetricPupil is the pupil magnification of a symmetric lens. Assume it where
// a lens's own is not known, and report that it is assumed. Lenses of telephoto
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

// WorkingFNumberFromNA returns the working f-number of a lens whose aperture is
// given as the numerical aperture on the subject's side, in air, as microscope
// objectives are marked.
//
//	Ne = m/(2NA)
//
// m must be above 0 and na above 0 and at most 1, else NaN. It is paraxial:
// above NA 0.5 the true cone is wider.
// Source: [ObjectNA] solved for Ne.
func WorkingFNumberFromNA(na, m float64) float64 {
	if !positive(na, m) || na > 1 {
		return nan
	}
	return m / (2 * na)
}
