package optics

import "math"

// Mains frequencies, in Hz.
const (
	Mains50 = 50.0
	Mains60 = 60.0
)

// Ripple left in a frame, as a fraction of the lamp's own, from which frames of
// one run may differ. Our own choice: the shutter times that makers advise stay
// below the first, the worst common ones above the second.
const (
	RippleNotice  = 0.05
	RippleWarning = 0.2
)

// FlickerFrequency returns how often a lamp on the mains brightens each second,
// twice the mains frequency. mains must be above 0, else NaN.
// Source: photo-spectrum.info/pages/illumination/PWM-banding-readout.html.
func FlickerFrequency(mains float64) float64 {
	if !positive(mains) {
		return nan
	}
	return 2 * mains
}

// Ripple returns how much of a lamp's flicker an exposure leaves, as a
// fraction: frames made at any phase differ by up to twice that of the lamp's
// depth of flicker.
//
//	|sin(πFt)/(πFt)|
//
// flicker, in Hz, and t must be above 0, else NaN. It is 0 where the exposure
// holds whole periods, for lamps of any waveform. Reckon with the exact time: a
// marked 1/60 s is 1/64 s.
// Source: mean of a sine over t.
func Ripple(flicker float64, t Seconds) float64 {
	if !positive(flicker) || !positive(t) {
		return nan
	}
	periods := flicker * float64(t)
	// |sin| repeats every period; reduced first, whole periods give exactly 0.
	return math.Abs(math.Sin(math.Pi*math.Remainder(periods, 1)) / (math.Pi * periods))
}
