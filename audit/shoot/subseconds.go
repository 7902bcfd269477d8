package shoot

import (
	"math"
	"slices"
	"time"
)

// Sub-seconds are decimals of a second (CIPA DC-008, SubSecTimeOriginal): "0984" is
// 0.0984 s. Some bodies mean milliseconds and pad them to four digits, which is 0.984 s.
// What one file means cannot be decided, so it keeps the standard's reading; what a body
// means can, where four digits begin with a zero in every frame: the right reading makes its
// runs the steadier ones.

const (
	paddedResolution = 100 * time.Microsecond // four digits
	paddedTimes      = 10                     // milliseconds read as tenths of milliseconds
	// By chance five frames begin with a zero in 1 of 100,000.
	paddedFrames = 5
	// Frames further apart are no neighbours in a run.
	paddedPause = 10 * time.Second
	// The other reading must be steadier by this factor.
	paddedSteadier = 2.0
)

// unpad reads padded milliseconds as such, in the frames of a body in order.
func unpad(frames []*Frame) {
	timed := 0
	for _, f := range frames {
		if !f.Timed() {
			continue
		}
		timed++
		if f.Resolution != paddedResolution || time.Duration(f.Time.Nanosecond()) >= time.Second/paddedTimes {
			return
		}
	}
	if timed < paddedFrames {
		return
	}
	asPadded := func(t time.Time) time.Time {
		return t.Add(time.Duration(t.Nanosecond()) * (paddedTimes - 1))
	}
	asWritten := func(t time.Time) time.Time { return t }
	if written := unevenness(frames, asWritten); !(unevenness(frames, asPadded)*paddedSteadier < written) {
		return
	}
	for _, f := range frames {
		if f.Timed() {
			f.Time, f.Resolution = asPadded(f.Time), time.Millisecond
		}
	}
}

// unevenness returns the median difference between neighbouring gaps, in seconds, as the
// times are read; NaN where no frames follow each other.
func unevenness(frames []*Frame, read func(time.Time) time.Time) float64 {
	var differences []float64
	for i := 2; i < len(frames); i++ {
		a, b, c := frames[i-2].Time, frames[i-1].Time, frames[i].Time
		if c.Sub(b) > paddedPause || b.Sub(a) > paddedPause {
			continue
		}
		first, second := read(b).Sub(read(a)), read(c).Sub(read(b))
		differences = append(differences, math.Abs((second - first).Seconds()))
	}
	if len(differences) == 0 {
		return math.NaN()
	}
	slices.Sort(differences)
	return differences[len(differences)/2]
}
