package optics

import "math"

// StopsAtPixels is the most of a stabilisation's rating to count on for
// sharpness at 100 %. Common practice.
const StopsAtPixels = 2.0

// LooksSharp is the sharpness of a print seen from its diagonal, see
// [Sharpness].
const LooksSharp = 1.0

// HandRadius is how far behind the lens's pupil the point lies about which a
// camera held by hand turns: between the wrists and the shoulders. Common
// practice, from memory; no measurement was found.
const HandRadius = 200 * Millimetre

// Sharpness returns how much finer than a print's the wanted circle of
// confusion is, for [Handheld]: pixel-sharp pictures allow less blur and so
// less time.
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

// CreditedStops returns how many of a stabilisation's rated stops to count on:
// at most [StopsAtPixels] where the picture shall be sharp at 100 %. rated must
// be 0 or more, else NaN. Stabilisation is rated for distant subjects and a blur of
// 63 µm on 36 × 24 mm, 14 pixels of a 45-megapixel sensor.
// Source: common practice; ISO 20954-1:2019, clause 3.5, for the rating.
func CreditedStops(rated float64, atPixels bool) float64 {
	if !notNegative(rated) {
		return nan
	}
	if atPixels {
		return min(rated, StopsAtPixels)
	}
	return rated
}

// Handheld is a frame to be made by hand.
type Handheld struct {
	Focal         Length  // f, at the current focus
	Crop          float64 // k, 35 mm equivalent over focal length; see [CropFactor]
	Magnification float64 // m, 0 for far away
	Stops         float64 // S, of stabilisation, as credited
	Radius        Length  // R, see [HandRadius]
	Sharpness     float64 // [LooksSharp], or less from [Sharpness]
}

// Limit returns the longest exposure time to hold by hand.
//
//	t = sharpness/(k[f(1+m)/2^S + mR]) s, lengths in mm
//
// The hand turns the camera, at a rate w, about a point that lies R behind the
// lens's pupil. That does two things to the picture:
//
//   - The turning alone moves it by w times the image distance f(1+m). A
//     stabiliser counters it, and leaves 2^-S.
//   - The pupil travels sideways by wR, which moves the picture by m times as
//     much. Far away that is nothing. Close up it is what counts, and a
//     stabiliser that senses turning hardly touches it.
//
// Both add up at worst. The blur allowed over the rate is set by the rule of
// thumb: far away, without stabilisation, t = 1/(kf).
//
// Focal, Crop and Sharpness must be above 0, Magnification and Radius 0 or more
// and Stops finite, else NaN. Hands differ widely, so it is grounds for a
// warning and no more.
// Source: Wikipedia, Camera shake, for 1/(kf); ISO 20954-1:2019 for the stops,
// which rates turning alone; the rest derived by geometry.
func (h Handheld) Limit() Seconds {
	if !positive(h.Focal) || !positive(h.Crop, h.Sharpness) || !notNegative(h.Magnification) || !notNegative(h.Radius) || !finite(h.Stops) {
		return Seconds(nan)
	}
	turning := h.Focal.Millimetres() * (1 + h.Magnification) / math.Exp2(h.Stops)
	travel := h.Magnification * h.Radius.Millimetres()
	return Seconds(h.Sharpness / (h.Crop * (turning + travel)))
}

// TravelShare returns which part of the blur comes from the hand's travel, 0 to
// 1: none far away, most of it close up. Its range is that of [Handheld.Limit].
// Source: [Handheld.Limit].
func (h Handheld) TravelShare() float64 {
	travel := h.Magnification * h.Radius.Millimetres()
	return travel * h.Crop / h.Sharpness * float64(h.Limit())
}
