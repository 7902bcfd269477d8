package evidence

import (
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// NearFirst reports which end of a focus sequence is the near one, by the
// recorded distances. Where these do not show it, it is taken to be the first, as
// most sequences are made. Of a run made from the middle outwards, the first end is
// that on the side of the second frame.
func NearFirst(q *shoot.Sequence) bool {
	var first, second, last float64
	var known []float64
	for _, f := range q.Frames {
		if d, ok := f.Meta().SubjectDistance.Get(); ok && d.State == exifread.DistanceMetres {
			switch {
			case first == 0:
				first = d.Metres
			case second == 0 && d.Metres != first:
				second = d.Metres
			}
			last = d.Metres
			known = append(known, last)
		}
	}
	if _, ok := shoot.Outwards(known); ok {
		return second < first
	}
	return first <= last
}

// A Turn is a way back of a walk: from the frame where focus was farthest along
// to the one where it goes on.
type Turn struct{ From, To int }

// Back returns how many steps a turn goes back.
func (w Walk) Back(t Turn) float64 { return w.away * (w.At[t.From] - w.At[t.To]) / w.Step }

// Turns returns the turns that go back by more than a number of steps, without
// those at the first and last few frames.
func (w Walk) Turns(back float64, edge int) []Turn {
	var list []Turn
	now := Turn{} // its end is the frame farthest back since its start
	returning := false
	for i := range w.At {
		switch {
		case returning && w.Back(Turn{now.To, i}) >= 0:
			now.To = i
		case returning && w.Back(Turn{i, now.To}) > back: // goes on
			list = append(list, now)
			returning, now = false, Turn{i, i}
		case returning:
		case w.Back(Turn{now.From, i}) <= 0:
			now.From = i
		case w.Back(Turn{now.From, i}) > back:
			if now.From+1 < edge { // a test frame
				now.From = i
				continue
			}
			returning, now.To = true, i
		}
	}
	if returning {
		list = append(list, now)
	}
	return slices.DeleteFunc(list, func(t Turn) bool { return len(w.At)-1-t.From < edge })
}

// A Walk is the recorded focus distances of a sequence. Frames at infinity, the far
// end, and frames without a distance are left out. The frames are in the order they
// were made, and those of a run made outwards in the order of focus.
type Walk struct {
	Frames []*shoot.Frame
	At     []float64 // mm from the sensor
	// Holes counts, for each frame, those without a distance before it: their focus
	// lies somewhere between that of others.
	Holes []int
	// Scale is the smallest move between neighbours: the steps of the scale
	// are no wider, and each reading is off by half of one at most. step is
	// the median move. Frames that do not move are left out of both.
	Scale, Step float64
	// away is 1 where focus walks away from the camera, -1 where it comes nearer.
	away float64
	// Outwards is true where the run was made from a middle to both sides, by habit of
	// the camera: see [shoot.Outwards].
	Outwards bool
	// Pairs is true where every distance was recorded for two frames in a row, and no
	// other way: two frames at each position, or a scale that moves with every second
	// step.
	Pairs bool
}

// WalkOf returns the walk of the review's sequence. Where its distances cannot be
// used, it returns why; empty for kinds of sequence whose focus is not meant to walk.
func WalkOf(v *audit.Review) (w Walk, why string, ok bool) {
	d := distances.Of(v)
	return d.walk, d.why, d.ok
}

// distances are what the recorded focus distances of the sequence are worth.
var distances = audit.SequenceFact(func(v *audit.Review) (d struct {
	walk Walk
	why  string
	ok   bool
},
) {
	d.walk, d.why, d.ok = readWalk(v.Sequence)
	return d
})

func readWalk(q *shoot.Sequence) (w Walk, why string, ok bool) {
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return Walk{}, "", false
	}
	holes, far := 0, 0
	for _, f := range q.Frames {
		d, recorded := f.Meta().SubjectDistance.Get()
		switch {
		case !f.Meta().HasExif:
			continue
		case !recorded || d.State == exifread.DistanceUnknown:
			holes++
			continue
		case d.State == exifread.DistanceInfinity:
			far++
			continue
		}
		at := optics.Length(d.Metres) * optics.Metre
		if !plausible(at, optics.Length(exifread.Positive(f.Meta().FocalLength))*optics.Millimetre) {
			return Walk{}, "the recorded focus distance cannot be in metres", false
		}
		w.Frames = append(w.Frames, f)
		w.At = append(w.At, at.Millimetres())
		w.Holes = append(w.Holes, holes)
	}
	switch {
	case holes > len(w.At):
		return Walk{}, "no focus distance recorded", false
	case far > len(w.At):
		return Walk{}, "the recorded focus distance goes to infinity", false
	}
	if q.Kind != shoot.Focus {
		return Walk{}, "the recorded focus distance does not show the focus steps", false
	}
	if order, outwards := shoot.Outwards(w.At); outwards {
		if holes > 0 {
			// Where these lie among the others, that is not known.
			return Walk{}, "the recorded focus distance does not show the focus steps", false
		}
		w.sort(order)
	}
	w.Pairs = paired(w.At)
	var moves []float64
	forth := 0
	for i := 1; i < len(w.At); i++ {
		switch move := w.At[i] - w.At[i-1]; {
		case move > 0:
			forth++
			moves = append(moves, move)
		case move < 0:
			forth--
			moves = append(moves, -move)
		}
	}
	if len(moves) == 0 {
		return Walk{}, "the recorded focus distance does not show the focus steps", false
	}
	slices.Sort(moves)
	w.Scale, w.Step = moves[0], moves[len(moves)/2]
	w.away = math.Copysign(1, float64(forth))
	return w, "", true
}

// sort puts the frames of a run made outwards in the order of focus.
func (w *Walk) sort(order []int) {
	made := *w
	w.Outwards = true
	w.Frames, w.At = nil, nil
	for _, i := range order {
		w.Frames, w.At = append(w.Frames, made.Frames[i]), append(w.At, made.At[i])
	}
}

// paired reports whether distances come in pairs through a run, which begins or ends
// within one at most.
func paired(at []float64) bool {
	const fewest = 8 // pairs: a coarse scale makes two and two for a while
	for first := range 2 {
		pairs := 0
		ok := true
		for i := 1; i < len(at) && ok; i++ {
			within := i%2 != first
			ok = within == (at[i] == at[i-1])
			if within {
				pairs++
			}
		}
		if ok && pairs >= fewest {
			return true
		}
	}
	return false
}

// GoesOn reports whether focus went on from one frame to the next as it did around
// them: forward, and hardly farther than over the widest of the neighbours.
func (w Walk) GoesOn(from, to *shoot.Frame) bool {
	const (
		around = 6    // neighbours on either side
		wider  = 1.25 // than any of them, for uneven motors
	)
	at := slices.Index(w.Frames, from)
	if w.Outwards {
		return at >= 0 && slices.Contains(w.Frames, to) // as it did in all of the run
	}
	if at < 0 || at+1 >= len(w.Frames) || w.Frames[at+1] != to {
		return false
	}
	move := func(i int) float64 { return w.away * (w.At[i+1] - w.At[i]) }
	most := 0.0
	for i := max(0, at-around); i < min(len(w.At)-1, at+around+1); i++ {
		if move(i) < 0 {
			return false
		}
		if i != at {
			most = max(most, move(i))
		}
	}
	return move(at) > 0 && move(at) <= wider*most
}

// A Leap is one step of a walk that is far wider than its neighbours.
type Leap struct {
	From, To int     // frames
	Move     float64 // mm
	Ratio    float64 // of the move to the wider neighbours, those before it or those behind it
}

// Leaps returns the steps that are a number of times as wide as their neighbours, by
// what they are at least on the scale of the distances. Where focus goes back, or
// too few neighbours are on one side, a step is not judged.
func (w Walk) Leaps(times float64) []Leap {
	const (
		fewest = 3 // moves on each side: fewer frames may be test frames
		around = 6 // farther moves are wider or narrower by the lens's own law
	)
	moves := make([]float64, max(0, len(w.At)-1))
	for i := range moves {
		// Frames without a distance took their part of the way.
		moves[i] = w.away * (w.At[i+1] - w.At[i]) / float64(1+w.Holes[i+1]-w.Holes[i])
	}
	var list []Leap
	for i := fewest; i < len(moves)-fewest; i++ {
		before, behind := moves[max(0, i-around):i], moves[i+1:min(len(moves), i+1+around)]
		unit, ok := scaleOf(slices.Concat(before, behind))
		if !ok {
			continue
		}
		usual, most := 0.0, 0.0 // of a neighbour, as read and at most
		for _, side := range [][]float64{before, behind} {
			sum, n := 0.0, float64(len(side))
			for _, m := range side {
				sum += m
			}
			usual, most = max(usual, sum/n), max(most, (sum+unit)/n)
		}
		if moves[i]-unit >= times*most {
			list = append(list, Leap{i, i + 1, moves[i], moves[i] / usual})
		}
	}
	return list
}

// scaleOf returns a step of the scale on which moves were read: the smallest of
// them, or where focus moves with every frame their least difference, if that is
// smaller. It is not known where focus never moves, or goes back.
func scaleOf(moves []float64) (unit float64, ok bool) {
	const same = 1e-6 // mm, rounding
	sorted := slices.Sorted(slices.Values(moves))
	if sorted[0] < -same || sorted[len(sorted)-1] <= same {
		return 0, false
	}
	unit = math.Inf(1)
	for i, m := range sorted {
		if m > same {
			unit = min(unit, m)
		}
		if i > 0 && m-sorted[i-1] > same && sorted[0] > same {
			unit = min(unit, m-sorted[i-1])
		}
	}
	return unit, true
}

// fine reports whether each step of the walk can be distinguished from two: the distances
// move with every frame, all but alike, and on a scale much finer than the steps,
// whose moves differ by little things.
func (w Walk) fine() bool {
	const (
		uneven = 0.25
		most   = 0.8 // of the steps
		finer  = 0.1 // of a step
	)
	var moves, off []float64
	for i := 1; i < len(w.At); i++ {
		moves = append(moves, math.Abs(w.At[i]-w.At[i-1])/w.Step)
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
