package optics

import (
	"fmt"
	"math"
)

// Practice figures for time-lapse.
const (
	// FullestInterval is the largest fraction of the interval to expose for;
	// beyond it ticks are skipped. Common practice.
	FullestInterval = 0.9
	// StaccatoAngle is the shutter angle, in degrees, under which motion in
	// the clip appears jerky. Common practice.
	StaccatoAngle = 20.0
	// JitterFraction is how far, as a fraction of the interval, a gap may be
	// off before the interval is uneven.
	JitterFraction = 0.1
)

// IntervalFrames returns how many frames an interval makes in a span of time,
// one at its start and one at every tick up to its end.
//
//	⌊span/interval⌋ + 1
//
// A quotient within a billionth of a whole number counts as whole. span must be
// 0 or more, interval above 0 and the count at most [MaxFrames], else an error
// reports which is not.
// Source: counting.
func IntervalFrames(span, interval Seconds) (int, error) {
	if !notNegative(span) {
		return 0, fmt.Errorf("time span %v: must be 0 s or more", span)
	}
	if !positive(interval) {
		return 0, fmt.Errorf("interval %v: must be above 0 s", interval)
	}
	ticks := math.Floor(float64(span/interval) * (1 + 1e-9))
	if ticks >= MaxFrames {
		return 0, fmt.Errorf("a span of %v at an interval of %v makes more than %d frames", span, interval, MaxFrames)
	}
	return int(ticks) + 1, nil
}

// ClipFrames returns how many frames a clip shows: time times frame rate, which
// may be a fraction. Both must be above 0, else NaN.
// Source: counting.
func ClipFrames(clip Seconds, rate float64) float64 {
	if !positive(clip) || !positive(rate) {
		return nan
	}
	return float64(clip) * rate
}

// ClipLength returns how long frames last at a frame rate. frames must be 0 or
// more and rate above 0, else NaN.
// Source: counting.
func ClipLength(frames int, rate float64) Seconds {
	if frames < 0 || !positive(rate) {
		return Seconds(nan)
	}
	return Seconds(float64(frames) / rate)
}

// TimeCovered returns the time that frames cover in a clip, an interval
// each. frames must be 0 or more and interval above 0, else NaN.
// Source: counting.
func TimeCovered(frames int, interval Seconds) Seconds {
	if frames < 0 || !positive(interval) {
		return Seconds(nan)
	}
	return Seconds(frames) * interval
}

// SpeedUp returns how many times faster than life a clip runs: frame rate times
// interval. Both must be above 0, else NaN.
// Source: counting.
func SpeedUp(interval Seconds, rate float64) float64 { return ClipFrames(interval, rate) }

// ShutterAngle returns the part of the interval that is exposed, in degrees of
// a full turn; a film camera's interval is 1 over its frame rate.
//
//	360 t/interval
//
// Both must be above 0, else NaN. Over 360 the exposure overruns its interval.
// Source: Wikipedia, Shutter speed, cinematographic shutter formula.
func ShutterAngle(t, interval Seconds) float64 {
	if !positive(t, interval) {
		return nan
	}
	return 360 * float64(t/interval)
}

// TimeForAngle returns the exposure time of a shutter angle in degrees.
//
//	angle/360 · interval
//
// Both must be above 0, else NaN.
// Source: [ShutterAngle] solved for t.
func TimeForAngle(angle float64, interval Seconds) Seconds {
	if !positive(angle) || !positive(interval) {
		return Seconds(nan)
	}
	return Seconds(angle/360) * interval
}

// Overruns reports whether an exposure fills its interval so far that ticks are
// skipped: more than [FullestInterval] of it. False where either is not a
// number above 0.
// Source: common practice.
func Overruns(t, interval Seconds) bool {
	return positive(t, interval) && t > FullestInterval*interval
}
