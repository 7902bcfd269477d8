package optics

import (
	"fmt"
	"math"
)

// Practice figures for time-lapse.
const (
	// ShotOverhead is the time a body needs between two exposures, mirror,
	// shutter and writing. Common practice.
	ShotOverhead Seconds = 1
	// FullestInterval is the largest fraction of the interval to expose for;
	// beyond it ticks are skipped. Common practice.
	FullestInterval = 0.9
	// StaccatoAngle is the shutter angle, in degrees, under which motion in
	// the clip looks jerky. Common practice.
	StaccatoAngle = 20.0
	// MissingFrom is how many intervals a gap must be for a tick to be missing.
	MissingFrom = 1.5
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
// says which is not.
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

// TimeCovered returns the time that frames stand for in a clip, an interval
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

// ShortestInterval returns the shortest interval that an exposure leaves room
// for: the true exposure time (30 s marked is 32 s) and the overhead of a shot.
// t must be above 0 and overhead 0 or more, else NaN.
// Source: counting; dpreview.com/forums/post/31437081 measured 33 s for 30 s.
func ShortestInterval(t, overhead Seconds) Seconds {
	if !positive(t) || !notNegative(overhead) {
		return Seconds(nan)
	}
	return t + overhead
}

// Overruns reports whether an exposure fills its interval so far that ticks are
// skipped: more than [FullestInterval] of it. False where either is not a
// number above 0.
// Source: common practice.
func Overruns(t, interval Seconds) bool {
	return positive(t, interval) && t > FullestInterval*interval
}

// MissingTicks returns how many frames are missing in a gap between two frames
// of a run with the given interval (the median gap): none below [MissingFrom]
// intervals, else the gap in whole intervals, less one.
//
//	round(gap/interval) - 1
//
// gap must be 0 or more, interval above 0 and the count at most [MaxFrames],
// else an error says which is not.
// Source: counting.
func MissingTicks(gap, interval Seconds) (int, error) {
	if !notNegative(gap) {
		return 0, fmt.Errorf("gap %v: must be 0 s or more", gap)
	}
	if !positive(interval) {
		return 0, fmt.Errorf("interval %v: must be above 0 s", interval)
	}
	ticks := float64(gap / interval)
	switch {
	case ticks < MissingFrom:
		return 0, nil
	case ticks > MaxFrames:
		return 0, fmt.Errorf("a gap of %v at an interval of %v leaves out more than %d frames", gap, interval, MaxFrames)
	}
	return int(math.Round(ticks)) - 1, nil
}

// Uneven reports whether a gap between two frames is off the interval by more
// than [JitterFraction] of it and more than the clock can tell: quantum is the
// step of the recorded times, 1 s without sub-seconds. False where gap or
// quantum is not 0 or more, or interval not above 0.
// Source: common practice.
func Uneven(gap, interval, quantum Seconds) bool {
	if !notNegative(gap, quantum) || !positive(interval) {
		return false
	}
	return math.Abs(float64(gap-interval)) > float64(max(JitterFraction*interval, quantum))
}
