package rules

import (
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/rules/evidence"
)

// leastPatch is how many frames a patch is asked to have at least: both ends of the hole and
// two between. As many as are missing close it too, where each lies right between; these
// need not be aimed as well.
const leastPatch = 4

// patchFor returns the hole between two frames of the review's focus sequence, over which
// focus moves this number of usual steps, and the instruction to close it. It is not ok
// where the pictures could not prove that a patch does.
func patchFor(v *audit.Review, from, to *shoot.Frame, usualSteps float64) (h audit.Hole, action string, ok bool) {
	q := v.Sequence
	j, _ := evidence.Seen(v)
	if q.Kind != shoot.Focus || j == nil || !j.Patchable(slices.Index(q.Frames, from), slices.Index(q.Frames, to)) {
		return h, "", false
	}
	n := max(leastPatch, int(math.Ceil(usualSteps))+1) // with both ends, steps shorter than usual
	return audit.Hole{Before: from, Behind: to}, fmt.Sprintf("make %s from the focus of %s to that of %s, at the same settings, without moving the camera",
		words.Count(n, "frame", "frames"), from.Label(), to.Label()), true
}

// patchForEnd returns the hole beyond an end frame of the review's focus sequence, and the
// instruction to close it with this many frames at least, nearer or farther. It is not ok
// where the pictures could not prove that they do.
func patchForEnd(v *audit.Review, last, near bool, frames float64) (h audit.Hole, action string, ok bool) {
	q := v.Sequence
	j, _ := evidence.Seen(v)
	if q.Kind != shoot.Focus || j == nil || !j.Extendable(last) {
		return h, "", false
	}
	end, way := q.Frames[0], "away from the camera"
	h.Behind = end
	if last {
		end = q.Frames[len(q.Frames)-1]
		h = audit.Hole{Before: end}
	}
	if near {
		way = "towards the camera"
	}
	n := max(leastPatch, int(math.Ceil(frames))+1) // with the end itself
	return h, fmt.Sprintf("make at least %s from the focus of %s on, %s, with the same steps and settings, without moving the camera",
		words.Count(n, "frame", "frames"), end.Label(), way), true
}
