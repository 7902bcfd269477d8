package optics

import (
	"fmt"
	"math"
)

// An IntervalTask is a time-lapse to plan. Exactly two of Span, Interval and
// Clip are given, the third is 0.
type IntervalTask struct {
	Span     Seconds // real time from the first frame to the last, 1 s to 100 days
	Interval Seconds // from one frame's start to the next, 0.1 s to a day
	Clip     Seconds // length of the clip, 0.1 s to an hour
	Rate     float64 // frames a second of the clip, 1 to 240
	Exposure Seconds // exact exposure time, up to a day; 0 where not known
	// FrameSize is the size of one frame's files and Card the free space on
	// the card, both in bytes; 0 where not known.
	FrameSize, Card float64
}

// An IntervalPlan is what an [IntervalTask] comes to. Where a value follows
// from something not given it is NaN.
type IntervalPlan struct {
	Frames   int
	Span     Seconds
	Interval Seconds
	Clip     Seconds
	SpeedUp  float64 // times faster than life
	Angle    float64 // shutter angle, degrees
	// LongestExposure is what the interval leaves room for, [FullestInterval]
	// of it.
	LongestExposure Seconds
	Overruns        bool    // the exposure is longer than that
	Staccato        bool    // motion will appear jerky
	Space           float64 // of all frames, bytes
	// CardFrames is how many frames the card holds, -1 where that is not known.
	CardFrames int
	CardFull   bool // the card is full before the last frame
}

const day = 24 * 3600

// Plan works out the task. The error is a [*RangeError] unless the sequence
// takes more than [MaxFrames].
// Source: [IntervalFrames], [ClipLength], [SpeedUp], [ShutterAngle].
func (t IntervalTask) Plan() (*IntervalPlan, error) {
	if err := t.validate(); err != nil {
		return nil, err
	}
	p := &IntervalPlan{Span: t.Span, Interval: t.Interval, Space: nan, CardFrames: -1, Angle: nan}
	switch {
	case t.Clip == 0:
		frames, err := IntervalFrames(t.Span, t.Interval)
		if err != nil {
			return nil, err
		}
		p.Frames = frames
	default:
		p.Frames = max(2, int(math.Ceil(ClipFrames(t.Clip, t.Rate)*(1-1e-9))))
		steps := Seconds(p.Frames - 1)
		if t.Interval == 0 {
			p.Interval = t.Span / steps
			if err := within("interval that results,", p.Interval, 0.1, day, "s"); err != nil {
				return nil, err
			}
		}
	}
	p.Span = TimeCovered(p.Frames-1, p.Interval)
	p.Clip = ClipLength(p.Frames, t.Rate)
	p.SpeedUp = SpeedUp(p.Interval, t.Rate)
	p.LongestExposure = FullestInterval * p.Interval
	if t.Exposure > 0 {
		p.Angle = ShutterAngle(t.Exposure, p.Interval)
		p.Overruns = Overruns(t.Exposure, p.Interval)
		p.Staccato = p.Angle < StaccatoAngle
	}
	if t.FrameSize > 0 {
		p.Space = float64(p.Frames) * t.FrameSize
		if t.Card > 0 {
			p.CardFrames = int(min(t.Card/t.FrameSize, math.MaxInt32))
			p.CardFull = p.CardFrames < p.Frames
		}
	}
	return p, nil
}

func (t IntervalTask) validate() error {
	given := 0
	for _, x := range []struct {
		name   string
		value  Seconds
		lo, hi Seconds
	}{
		{"time span", t.Span, 1, 100 * day},
		{"interval", t.Interval, 0.1, day},
		{"clip length", t.Clip, 0.1, 3600},
	} {
		if x.value == 0 {
			continue
		}
		given++
		if err := within(x.name, x.value, x.lo, x.hi, "s"); err != nil {
			return err
		}
	}
	if given != 2 {
		return &RangeError{"time span, interval and clip length", fmt.Sprintf("(%d given)", given), "two of the three"}
	}
	return firstError(
		within("frame rate", t.Rate, 1, 240, "frames a second"),
		within("exposure time", t.Exposure, 0, day, "s"),
		within("size of a frame", t.FrameSize/1e6, 0, 10_000, "MB"),
		within("card", t.Card/1e9, 0, 100_000, "GB"),
	)
}
