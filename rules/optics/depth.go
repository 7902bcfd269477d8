package optics

import "math"

// PrintDivisor is the sensor diagonal over the largest blur that appears sharp
// in a print seen from its diagonal. A print convention of the 1930s: not for
// viewing at 100 %.
const PrintDivisor = 1500

// PixelsOfBlur is the blur, in pixels, still called sharp at 100 %: between the
// 2 pixels of Nyquist and the 3 of Savazzi's practice, and the same as the Airy
// disc at [QNotice].
const PixelsOfBlur = 2.5

// PrintCoC returns the circle of confusion of a print for a sensor diagonal:
// the diagonal over [PrintDivisor], 0.029 mm on 36 × 24 mm.
// The diagonal must be above 0, else NaN.
// Source: common practice; dpreview.com/forums/post/65346673 on its origin.
func PrintCoC(diagonal Length) Length {
	if !positive(diagonal) {
		return Length(nan)
	}
	return diagonal / PrintDivisor
}

// PixelCoC returns the circle of confusion for viewing at 100 %:
// [PixelsOfBlur] times the pixel pitch. The pitch must be above 0, else NaN.
// Source: E. Savazzi, Digital Photography for Science, gives 3 pixels as the
// practice figure; 2.5 is our own choice.
func PixelCoC(pitch Length) Length {
	if !positive(pitch) {
		return Length(nan)
	}
	return PixelsOfBlur * pitch
}

// Hyperfocal returns the nearest focus distance that still holds infinity
// within blur c, at f-number n.
//
//	H = f²/(Nc) + f
//
// All must be above 0, else NaN.
// Source: Wikipedia, Hyperfocal distance, definition 1.
func Hyperfocal(f Length, n float64, c Length) Length {
	return HyperfocalAtInfinity(f, n, c) + f
}

// HyperfocalAtInfinity returns the distance beyond which everything is within
// blur c with the lens focused at infinity.
//
//	H = f²/(Nc)
//
// All must be above 0, else NaN.
// Source: Wikipedia, Hyperfocal distance, definition 2.
func HyperfocalAtInfinity(f Length, n float64, c Length) Length {
	if !positive(f, c) || !positive(n) {
		return Length(nan)
	}
	return f / Length(n) * (f / c)
}

// NearLimit returns the nearest distance within blur c, with a thin lens of
// focal length f focused at s, distances from the lens.
//
//	s(H-f)/(H+s-2f)
//
// f, n and c must be above 0 and s beyond f, else NaN; s may be infinite. The
// wave nature of light is left out, see [WaveDepth].
// Source: Wikipedia, Depth of field, with [Hyperfocal].
func NearLimit(f Length, n float64, c, s Length) Length {
	h := HyperfocalAtInfinity(f, n, c)
	if !(s > f) || math.IsNaN(float64(h)) {
		return Length(nan)
	}
	return h / (h/s + 1 - f/s)
}

// FarLimit returns the farthest distance within blur c, with a thin lens of
// focal length f focused at s, distances from the lens.
//
//	s(H-f)/(H-s)
//
// It is infinite for s at the hyperfocal distance or beyond. f, n and c must be
// above 0 and s beyond f, else NaN; s may be infinite.
// Source: Wikipedia, Depth of field, with [Hyperfocal].
func FarLimit(f Length, n float64, c, s Length) Length {
	h := HyperfocalAtInfinity(f, n, c)
	switch {
	case !(s > f) || math.IsNaN(float64(h)):
		return Length(nan)
	case s >= h+f:
		return Length(math.Inf(1))
	}
	return h / (h/s - 1 + f/s)
}

// GeometricDepth returns the depth of field of close work, both sides of the
// focus plane together, by geometry alone.
//
//	2cNe/m²
//
// All must be above 0, else NaN. Within 1 % of [GeometricDepthExact] for m over
// ten times Nc/f.
// Source: E. Savazzi, Digital Photography for Science, table 1.
func GeometricDepth(c Length, ne, m float64) Length {
	if !positive(c) || !positive(ne, m) {
		return Length(nan)
	}
	return c * Length(2*ne/(m*m))
}

// GeometricDepthExact returns the depth of field by geometry, from near to far
// limit, with pupil magnification p, marked f-number n and focal length f.
//
//	2cN(1 + m/P)/(m² - (Nc/f)²)
//
// It is infinite for m up to Nc/f: the far limit is at infinity. All must be
// above 0, else NaN.
// Source: far limit less near limit of the thin lens.
func GeometricDepthExact(f, c Length, n, m, p float64) Length {
	if !positive(f, c) || !positive(n, m, p) {
		return Length(nan)
	}
	infinite := n * float64(c/f)
	if m <= infinite {
		return Length(math.Inf(1))
	}
	return c * Length(2*WorkingFNumber(n, m, p)/((m-infinite)*(m+infinite)))
}

// WaveDepth returns the depth of field of close work that diffraction gives
// even a perfect lens, both sides together, in air.
//
//	4λNe²/m²
//
// At its ends the focus is off by a quarter of a wave, which costs up to about
// 26 % of the contrast of fine detail. All must be above 0, else NaN.
// Source: λ/NA² (G. Keiser, Biophotonics: Concepts to Applications, eq. 8.4,
// p. 243) with [ObjectNA]; photomacrography.net viewtopic.php?t=41247 for the
// contrast.
func WaveDepth(lambda Length, ne, m float64) Length {
	if !positive(lambda) || !positive(ne, m) {
		return Length(nan)
	}
	return lambda * Length(4*(ne/m)*(ne/m))
}

// A Depth is the depth of field of close work, both sides of the focus plane
// together, in its two parts.
type Depth struct {
	Geometric Length // by the size of the blur disc
	Wave      Length // by diffraction
}

// DepthOfField returns both parts of the depth of field for blur c, wavelength
// lambda, working f-number ne and magnification m. The parts are NaN where
// [GeometricDepth] and [WaveDepth] are.
func DepthOfField(c, lambda Length, ne, m float64) Depth {
	return Depth{Geometric: GeometricDepth(c, ne, m), Wave: WaveDepth(lambda, ne, m)}
}

// Sum returns both parts together, the whole depth in which anything is sharp.
// With e = c it is what microscopy states: nλ/NA² + ne/(mNA).
func (d Depth) Sum() Length { return d.Geometric + d.Wave }

// Larger returns the greater of the two parts: the depth to plan with. The
// wave part is the greater one from Ne = c/(2λ) on.
func (d Depth) Larger() Length { return max(d.Geometric, d.Wave) }
