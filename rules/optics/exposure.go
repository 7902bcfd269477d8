package optics

import "math"

// Sizes of a change of exposure.
const (
	// DriftTolerance, in EV, is the least change of settings that is a change:
	// half the finest common step of 1/3 EV, and above every error of nominal
	// rounding (at most 0.14 EV).
	DriftTolerance = 1.0 / 6
	// VisibleFlicker, in EV, is not seen side by side but flickers in
	// playback. Common practice: a quarter to a tenth of a stop
	// (billcampbellphotography.com/time-lapse-and-flicker).
	VisibleFlicker = 0.1
	// LuminanceDrift, in EV, is the limit for measured brightness from frame
	// to frame of a clip. Common practice.
	LuminanceDrift = 0.05
	// FlickerThreshold, in per cent of luminance, is the order of the least
	// flicker the eye sees, near 10 Hz. De Lange 1958 and Kelly 1961, from
	// memory; curve in PLOS ONE 10.1371/journal.pone.0220358, fig. 1.
	FlickerThreshold = 1.0
)

// Constants of exposure meters, Wikipedia, Exposure value.
const (
	ReflectedMeter = 12.5 // K of reflected-light meters, for luminance in cd/m²
	IncidentMeter  = 250  // C of incident-light meters with a flat receptor, for illuminance in lx
)

// An Exposure is the settings that decide how bright a frame comes out.
type Exposure struct {
	FNumber float64 // marked, or working for the light that arrives
	Time    Seconds
	ISO     float64
}

// EV returns the exposure value of f-number n and time t.
//
//	EV = log2(N²/t)
//
// Both must be above 0, else NaN.
// Source: Wikipedia, Exposure value, formal definition; JEITA CP-3451 Annex C,
// p. 122: Ev = Av + Tv.
func EV(n float64, t Seconds) float64 {
	if !positive(n) || !positive(t) {
		return nan
	}
	return 2*math.Log2(n) - math.Log2(float64(t))
}

// EV100 returns the exposure value for ISO 100 of the light the exposure is
// right for.
//
//	EV100 = log2(N²/t) - log2(S/100)
//
// All settings must be above 0, else NaN.
// Source: Wikipedia, Exposure value.
func (e Exposure) EV100() float64 {
	if !positive(e.ISO) {
		return nan
	}
	return EV(e.FNumber, e.Time) - math.Log2(e.ISO/100)
}

// Stops returns how many stops brighter a frame at e comes out than one at
// from, in the same light; negative where it comes out darker.
//
//	log2(t2 S2/(t1 S1)) - 2 log2(N2/N1)
//
// All settings must be above 0, else NaN.
// Source: difference of [Exposure.EV100].
func (e Exposure) Stops(from Exposure) float64 { return from.EV100() - e.EV100() }

// TimeForEV100 returns the exposure time for light of the given exposure value
// at f-number n and an ISO setting.
//
//	t = 100 N²/(S 2^EV100)
//
// n and iso must be above 0 and ev100 finite, else NaN.
// Source: [Exposure.EV100] solved for t.
func TimeForEV100(ev100, n, iso float64) Seconds {
	if !positive(n, iso) || !finite(ev100) {
		return Seconds(nan)
	}
	return Seconds(100 * n * n / (iso * math.Exp2(ev100)))
}

// Luminance returns the luminance, in cd/m², that a reflected-light meter of
// constant [ReflectedMeter] reads as an exposure value for ISO 100.
//
//	2^EV100 · K/100
//
// ev100 must be finite, else NaN.
// Source: Wikipedia, Exposure value, EV as a measure of luminance.
func Luminance(ev100 float64) float64 {
	if !finite(ev100) {
		return nan
	}
	return math.Exp2(ev100) * ReflectedMeter / 100
}

// Illuminance returns the illuminance, in lx, that an incident-light meter of
// constant [IncidentMeter] reads as an exposure value for ISO 100.
//
//	2^EV100 · C/100
//
// ev100 must be finite, else NaN.
// Source: Wikipedia, Exposure value, EV as a measure of illuminance.
func Illuminance(ev100 float64) float64 {
	if !finite(ev100) {
		return nan
	}
	return math.Exp2(ev100) * IncidentMeter / 100
}

// PercentBrighter returns by how many per cent a frame is brighter after a
// change of stops; negative where it is darker.
//
//	100(2^stops - 1)
//
// stops must be finite, else NaN.
// Source: definition of the stop.
func PercentBrighter(stops float64) float64 {
	if !finite(stops) {
		return nan
	}
	return 100 * math.Expm1(stops*math.Ln2)
}
