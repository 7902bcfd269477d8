package optics

import "math"

// ImageSpread returns how far apart the sharp images of two points lie when the
// points lie depth apart along the axis: the longitudinal magnification. The
// image side of a focus step is the same.
//
//	dv = m²T
//
// Both must be above 0, else NaN. It holds for depths small against the
// distance.
// Source: the lens equation, differentiated.
func ImageSpread(depth Length, m float64) Length {
	if !positive(depth) || !positive(m) {
		return Length(nan)
	}
	return depth * Length(m*m)
}

// DefocusBlur returns the blur disc at both ends of a focus spread, with focus
// in its middle.
//
//	dv/(2Ne)
//
// spread must be 0 or more and ne above 0, else NaN.
// Source: Hansma 1996 and Peterson 1996, after Wikipedia, Depth of field.
func DefocusBlur(spread Length, ne float64) Length {
	if !notNegative(spread) || !positive(ne) {
		return Length(nan)
	}
	return spread / Length(2*ne)
}

// CombinedBlur returns the blur at both ends of a focus spread from defocus and
// diffraction together.
//
//	√((dv/(2Ne))² + (2.44λNe)²)
//
// spread must be 0 or more, lambda and ne above 0, else NaN. Adding the squares
// of a disc and an Airy pattern is a convention.
// Source: Hansma 1996 and Peterson 1996, after Wikipedia, Depth of field.
func CombinedBlur(spread, lambda Length, ne float64) Length {
	defocus, diffraction := DefocusBlur(spread, ne), AiryDiameter(lambda, ne)
	return Length(math.Hypot(float64(defocus), float64(diffraction)))
}

// OptimumWorkingFNumber returns the working f-number at which a focus spread is
// least blurred at its ends: there defocus and diffraction blur alike.
//
//	Ne = √(dv/(4.88λ))
//
// Both must be above 0, else NaN.
// Source: Hansma 1996, after Luong, How to select the f-stop,
// largeformatphotography.info/fstop.html.
func OptimumWorkingFNumber(spread, lambda Length) float64 {
	if !positive(spread, lambda) {
		return nan
	}
	return math.Sqrt(float64(spread / (2 * airy * lambda)))
}

// OptimumFNumber returns the marked f-number at which one frame holds depth
// best, at magnification m with pupil magnification p.
//
//	N = m√(T/(4.88λ))/(1 + m/P)
//
// All must be above 0, else NaN.
// Source: [OptimumWorkingFNumber] with [ImageSpread] and [MarkedFNumber].
func OptimumFNumber(depth, lambda Length, m, p float64) float64 {
	return MarkedFNumber(OptimumWorkingFNumber(ImageSpread(depth, m), lambda), m, p)
}
