package optics

import "math"

// Wavelength is the light to reckon with: the middle of the visible band, near
// the eye's peak at 0.555 µm. Blue and red change every figure of diffraction
// by about -18 and +18 %.
const Wavelength = 0.55 * Micrometre

// The first dark ring of the Airy pattern has diameter 2.44λNe (the first zero
// of the Bessel function J1 over π, twice 1.21967, as commonly rounded).
const (
	airy     = 2.44
	rayleigh = airy / 2
)

// Values of Q at which diffraction begins to matter, and ends all. Rules and
// plans judge by these and no others.
const (
	// QTransition: the lens begins to weigh beside the pixels; the Airy disc
	// is one pixel wide. Holst, Opt. Eng. 46(10) 103204, 2007.
	QTransition = 0.41
	// QNotice: the Airy disc is 2.5 pixels wide; the lens alone holds 38 %
	// contrast at the finest pattern. Visible at 100 %. Common practice; the end
	// of Holst's transition is 1.0.
	QNotice = 2.5 / airy
	// QWarning: the Rayleigh distance is 2 pixels; 9 % contrast is left at the
	// finest pattern, below what is seen in a photograph. Up to QCutoff
	// sharpening brings some of it back, with the noise.
	QWarning = 2 / rayleigh
	// QCutoff: the lens passes nothing of the finest pattern the pixels
	// sample. Beyond, no sharpening brings detail back.
	// Fiete, Opt. Eng. 38(7) 1229, 1999.
	QCutoff = 2.0
)

// AiryDiameter returns the diameter of the first dark ring of a point's image.
//
//	2.44λNe
//
// Both must be above 0, else NaN. About 84 % of the light falls inside.
// Source: Holst, Opt. Eng. 46(10) 103204, 2007; checked against the 520 nm table
// of the application note Limitations on Resolution and Contrast: the Airy Disk.
func AiryDiameter(lambda Length, ne float64) Length {
	if !positive(lambda) || !positive(ne) {
		return Length(nan)
	}
	return airy * lambda * Length(ne)
}

// MTF returns the contrast a perfect lens with a round aperture passes at x, a
// spatial frequency as a fraction of the [Cutoff].
//
//	2/π (acos x - x√(1-x²))
//
// It is 1 at x = 0, and 0 from x = 1 on; NaN for x below 0.
// Source: W. J. Smith, 1997, pp. 120-121, after photomacrography.net
// viewtopic.php?p=124831.
func MTF(x float64) float64 {
	switch {
	case !(x >= 0):
		return nan
	case x >= 1:
		return 0
	}
	return 2 / math.Pi * (math.Acos(x) - x*math.Sqrt(1-x*x))
}

// Q returns the ratio of diffraction to sampling. The Airy disc is 2.44 Q
// pixels wide, and the lens's cutoff is 2/Q times the Nyquist frequency.
//
//	Q = λNe/p
//
// All must be above 0, else NaN.
// Source: Fiete, Opt. Eng. 38(7) 1229, 1999.
func Q(lambda, pitch Length, ne float64) float64 {
	if !positive(lambda, pitch) || !positive(ne) {
		return nan
	}
	return float64(lambda/pitch) * ne
}

// FNumberAtQ returns the working f-number at which a sensor reaches q, such as
// [QNotice] or [QWarning].
//
//	Ne = Qp/λ
//
// All must be above 0, else NaN.
// Source: [Q] solved for Ne.
func FNumberAtQ(q float64, lambda, pitch Length) float64 {
	if !positive(lambda, pitch) || !positive(q) {
		return nan
	}
	return q * float64(pitch/lambda)
}

// MegapixelsLeft returns how many of a picture's megapixels hold real detail
// at q: all of them up to [QWarning], then fewer with the square.
//
//	MP min(1, (1.64/Q)²)
//
// Both must be above 0, else NaN.
// Source: derived from Rayleigh's criterion at 2 pixels.
func MegapixelsLeft(megapixels, q float64) float64 {
	if !positive(megapixels, q) {
		return nan
	}
	r := min(1, QWarning/q)
	return megapixels * r * r
}
