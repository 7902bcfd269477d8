package rules

import (
	"math"
	"slices"

	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// What the three rules on focus (focus-gap, focus-turn and focus-stall) read
// from the recorded focus distances of a run. Distances come on a scale of the
// lens with steps of its own, often wider than those of the sequence, so that
// no rule takes a single reading at its word.

// A walk is the recorded focus distances of a sequence.
type walk struct {
	frames []*shoot.Frame
	at     []float64 // mm from the sensor
	// scale is the smallest move between neighbours: the steps of the scale
	// are no wider, and each reading is off by half of one at most. step is
	// the median move. Frames that do not move are left out of both.
	scale, step float64
	// away is 1 where focus walks away from the camera, -1 where it comes nearer.
	away float64
}

// walkOf reads the focus distances of a sequence. Where they cannot be used, it
// returns why; empty for kinds of sequence whose focus is not meant to walk.
func walkOf(q *shoot.Sequence) (w walk, why string, ok bool) {
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return walk{}, "", false
	}
	for _, f := range q.Frames {
		d, recorded := f.Meta().SubjectDistance.Get()
		switch {
		case !f.Meta().HasExif:
			continue
		case !recorded || d.State == exifread.DistanceUnknown:
			return walk{}, "no focus distance recorded", false
		case d.State == exifread.DistanceInfinity:
			return walk{}, "the recorded focus distance goes to infinity", false
		}
		at := optics.Length(d.Metres) * optics.Metre
		if !plausible(at, optics.Length(exifread.Positive(f.Meta().FocalLength))*optics.Millimetre) {
			return walk{}, "the recorded focus distance cannot be in metres", false
		}
		w.frames = append(w.frames, f)
		w.at = append(w.at, at.Millimetres())
	}
	if q.Kind != shoot.Focus {
		return walk{}, "the recorded focus distance does not show the focus steps", false
	}
	var moves []float64
	forth := 0
	for i := 1; i < len(w.at); i++ {
		switch move := w.at[i] - w.at[i-1]; {
		case move > 0:
			forth++
			moves = append(moves, move)
		case move < 0:
			forth--
			moves = append(moves, -move)
		}
	}
	if len(moves) == 0 {
		return walk{}, "the recorded focus distance does not show the focus steps", false
	}
	slices.Sort(moves)
	w.scale, w.step = moves[0], moves[len(moves)/2]
	w.away = math.Copysign(1, float64(forth))
	return w, "", true
}

// fine reports whether each step of the walk can be told from two: the distances
// move with every frame, all but alike, and on a scale much finer than the steps,
// whose moves differ by little things.
func (w walk) fine() bool {
	const (
		uneven = 0.25
		most   = 0.8 // of the steps
		finer  = 0.1 // of a step
	)
	var moves, off []float64
	for i := 1; i < len(w.at); i++ {
		moves = append(moves, math.Abs(w.at[i]-w.at[i-1])/w.step)
		off = append(off, math.Abs(moves[i-1]-1))
	}
	slices.Sort(moves)
	slices.Sort(off)
	least := math.Inf(1) // difference of two moves
	for i := 1; i < len(moves); i++ {
		const same = 1e-6 // rounding
		if d := moves[i] - moves[i-1]; d > same {
			least = min(least, d)
		}
	}
	return len(off) >= 4 && off[int(most*float64(len(off)-1))] <= uneven && least <= finer
}
