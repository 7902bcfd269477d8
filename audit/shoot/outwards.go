package shoot

import (
	"math"
	"slices"
)

const (
	// outwardFrames is the number of frames without which no order is called outwards:
	// one in 2,000 chance orders of nine is (182 of 9!).
	outwardFrames = 9
	// outwardMoves is how many moves on either side of the start it takes: a lens that
	// first gives way the wrong way makes one or two.
	outwardMoves = 3
	// outwardJoin is how many usual steps beside the start are one step at most: where
	// the sides do not join, focus did not come back to where it began.
	outwardJoin = 2.0
)

// Outwards finds runs that some cameras make from a middle focus outwards: nearer and
// farther in turn (0, −, +), or first all of one side and then all of the other. Each
// frame lies beyond all before it, on one side or the other, so that none goes over
// what was covered; at one reading of a coarse scale it may stand. The distances, in
// any unit and infinite at infinity, are those of the frames in the order they were
// made. It returns their places from the nearest to the farthest.
//
// Source: common practice (the orders of focus and exposure brackets).
func Outwards(distances []float64) (order []int, ok bool) {
	n := len(distances)
	if n < outwardFrames {
		return nil, false
	}
	nearest, farthest := distances[0], distances[0]
	var near, far []int
	nearer, farther := 0, 0
	for i, d := range distances[1:] {
		switch {
		case d > farthest:
			farther++
			farthest = d
			far = append(far, i+1)
		case d < nearest:
			nearer++
			nearest = d
			near = append(near, i+1)
		case d == farthest:
			far = append(far, i+1)
		case d == nearest:
			near = append(near, i+1)
		default:
			return nil, false
		}
	}
	if min(nearer, farther) < outwardMoves {
		return nil, false
	}
	slices.Reverse(near)
	order = slices.Concat(near, []int{0}, far)
	return order, joins(distances, order)
}

// joins reports whether the two sides of an outward order begin beside its start: not
// farther from it than two usual steps, by what the scale can show.
func joins(distances []float64, order []int) bool {
	var moves []float64
	before, behind := math.Inf(1), math.Inf(1) // from the start to the next distances
	start := distances[0]
	for k := 1; k < len(order); k++ {
		from, to := distances[order[k-1]], distances[order[k]]
		if math.IsInf(to, 1) {
			break
		}
		if to > from {
			moves = append(moves, to-from)
		}
		if from < start {
			before = min(before, start-from)
		}
		if to > start {
			behind = min(behind, to-start)
		}
	}
	if len(moves) == 0 {
		return false
	}
	slices.Sort(moves)
	most := outwardJoin*moves[len(moves)/2] + moves[0]
	return before < most && behind < most
}

// outwards reports whether the recorded distances of frames go outwards from the first.
func outwards(frames []*Frame) bool {
	var known []float64
	for _, f := range frames {
		if d := f.focusDistance(); !math.IsNaN(d) {
			known = append(known, d)
		}
	}
	_, ok := Outwards(known)
	return ok
}

// FocusOrder returns the frames of a run in the order of focus, from the nearest to the
// farthest, where it was made from the middle outwards and all distances are recorded;
// else in the order they were made, which is that of focus in all other runs.
func (r *Run) FocusOrder() []*Frame {
	distances := make([]float64, len(r.Frames))
	for i, f := range r.Frames {
		if distances[i] = f.focusDistance(); math.IsNaN(distances[i]) {
			return r.Frames
		}
	}
	order, ok := Outwards(distances)
	if !ok {
		return r.Frames
	}
	out := make([]*Frame, len(order))
	for i, at := range order {
		out[i] = r.Frames[at]
	}
	return out
}
