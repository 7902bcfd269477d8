package shoot

import (
	"math"
	"slices"
)

const (
	// A frame belongs to the burst beside it where it comes within this many of its
	// cadences: no photographer makes a test frame that soon.
	burstReach = 1.5
	// Exposure that the camera sets changes by less from one frame of a burst to the next, EV.
	burstChange = 1.0
)

// joinEdges puts a frame that stands alone before or behind a burst back into it, where the
// camera set the exposure and changed it there: it is no test frame.
func joinEdges(frames []*Frame, spans []span) []span {
	var out []span
	for _, s := range spans {
		if n := len(out); n > 0 && edgeOfBurst(frames, out[n-1], s) {
			out[n-1].to = s.to
			continue
		}
		out = append(out, s)
	}
	return out
}

// edgeOfBurst reports whether two neighbouring spans are one burst and its first or last frame.
func edgeOfBurst(frames []*Frame, a, b span) bool {
	long, lone := b, a
	if a.to-a.from > 1 {
		long, lone = a, b
	}
	if a.bracket || b.bracket || lone.to-lone.from != 1 || long.to-long.from < 3 {
		return false
	}
	run := Run{Frames: frames[a.from:b.to]}
	if !run.automatic() {
		return false
	}
	var gaps []float64
	for i := long.from + 1; i < long.to; i++ {
		gaps = append(gaps, frames[i].Time.Sub(frames[i-1].Time).Seconds())
	}
	slices.Sort(gaps)
	pace := gaps[len(gaps)/2]
	since := frames[b.from].Time.Sub(frames[a.to-1].Time).Seconds()
	ev := run.Exposures()
	return pace > 0 && pace < burstCadence && since >= 0 && since <= burstReach*pace &&
		ev != nil && math.Abs(ev[a.to-a.from]-ev[a.to-a.from-1]) < burstChange
}
