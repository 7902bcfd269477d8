package shoot

import (
	"math"
	"time"
)

const (
	// A time-lapse has at least intervalFrames at an interval of
	// intervalCadence or more.
	intervalFrames  = 30
	intervalCadence = 2.0 // s
	// A beat is even where few gaps are off it by intervalScatter of it.
	intervalScatter = 0.03
	// Timers count in halves of a second.
	timerStep = 0.5 // s
	// A timer keeps its interval: it drifts by no more than timerDrift a frame.
	// Cameras that step their focus pause for as long as each frame needs, which
	// is a timer's interval by chance only, in 1 of 16 runs.
	timerDrift = 0.015 // s
	// A timer fires within timerScatter of its beat, besides the clock's step; a
	// sequence that a camera makes as fast as it can, or a flash allows, scatters by
	// a few hundredths of its cadence.
	timerScatter = 0.04 // s
)

// even reports whether the frames keep to the beat of their run. On a coarse clock
// nearly all gaps must read the same, as those of a whole number of seconds do.
func (r *Run) even() bool {
	off, n := 0, 0
	c := r.Cadence.Or(0).Seconds()
	for _, st := range r.Steps {
		t, ok := st.Ticks.Get()
		if !ok {
			continue
		}
		n++
		if st.Slack > intervalScatter {
			t *= c / math.Round(c)
		}
		if math.Abs(t-math.Round(t)) > intervalScatter {
			off++
		}
	}
	return few(off, n)
}

// few reports whether a number of n gaps are exceptions, at most one in ten.
func few(off, n int) bool { return n > 0 && off*10 <= n }

// Regular reports whether a timer of 2 s or more may have made the frames: they
// keep to the beat, with few exceptions.
func (r *Run) Regular() bool {
	c, ok := r.Cadence.Get()
	return ok && c >= time.Duration(intervalCadence*float64(time.Second)) && r.even()
}

// byTimer reports whether the times alone show that a timer made the frames: they
// are many, their interval is one that timers count, to within the clock, and they
// scatter around it less than what a camera makes at its own pace.
func (r *Run) byTimer() bool {
	if len(r.Frames) < intervalFrames || !r.Regular() {
		return false
	}
	interval := math.Round(r.Cadence.Or(0).Seconds()/timerStep) * timerStep
	off, n := 0, 0
	drift, lowest, highest := 0.0, 0.0, 0.0 // behind the timer's beat, s
	for _, st := range r.Steps {
		elapsed, ok := st.Elapsed.Get()
		if !ok {
			continue
		}
		n++
		late := elapsed.Seconds() - interval*max(1, math.Round(elapsed.Seconds()/interval))
		if math.Abs(late) > timerScatter+max(st.From.Resolution, st.To.Resolution).Seconds() {
			off++
			continue
		}
		drift += late
		lowest, highest = min(lowest, drift), max(highest, drift)
	}
	return few(off, n) && highest-lowest <= timerDrift*float64(n)
}
