package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/exifread"
)

var focusStall = &audit.Rule{
	ID:       "focus-stall",
	Title:    "focus stops moving before the end of a focus sequence",
	Severity: audit.Check,
	Doc: `Finds focus sequences whose recorded focus distance stays as it is over the last
frames: the lens reached its end, or the drive stopped.

The frames from there on show the same, and the subject may not be covered to its
end.

Look whether the last frame is sharp at the end of the subject. If not, move the
camera or begin elsewhere, and shoot this sequence again.

Scales of lenses are coarse: a distance that moves every few frames only is no stall,
and neither are last frames in proportion to that. It is wrong where the scale of the
lens ends before the lens does.`,
	Source: "common practice",
	Params: []audit.Param{
		{
			Name: "frames", Unit: "frames", Doc: "the shortest stall",
			Default: 5, Min: 2, Max: 1000,
		},
		{
			Name: "times", Doc: "a stall is so many times as long as the longest time the distance stayed before",
			Default: 3, Min: 1, Max: 100,
		},
	},
	Check: checkFocusStall,
}

func checkFocusStall(v *audit.Review) error {
	w, why, ok := walkOf(v.Sequence)
	if !ok {
		if why != "" {
			v.Unjudged(why)
		}
		return nil
	}
	longest, length := 0, 0 // of the times at one distance before the last, and of the last
	for i := range w.at {
		if i > 0 && w.at[i] != w.at[i-1] {
			longest, length = max(longest, length), 0
		}
		length++
	}
	limit := max(v.Param("frames"), v.Param("times")*float64(longest))
	if float64(length) < limit {
		return nil
	}
	still := w.frames[len(w.frames)-length:]
	v.Found(audit.Finding{
		Message: fmt.Sprintf("focus stops: the recorded distance stays at %s through %s, where it moved %s before",
			writeMetres(w.at[len(w.at)-1]), audit.FrameRange(still[0], still[len(still)-1]), everyFew(longest)),
		Action:   "look whether the last frame is sharp at the end of the subject; if not, shoot this sequence again",
		Frames:   still,
		Measured: exifread.Of(float64(length)), Limit: exifread.Of(limit), Unit: "frames",
	})
	return nil
}

// everyFew writes how often a distance moves.
func everyFew(frames int) string {
	if frames <= 1 {
		return "with every frame"
	}
	return fmt.Sprintf("every %d frames at least", frames)
}
