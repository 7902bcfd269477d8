package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var focusStall = &audit.Rule{
	ID:       "focus-stall",
	Title:    "Focus stops moving",
	Severity: audit.Check,
	Shows:    audit.ShowDetail,
	Doc: `Finds focus sequences whose focus stops: the recorded distance stays the same over the
last frames, or some pictures show no movement of focus. The lens reached its end, or the
drive stopped.

The frames from there on show the same, and the subject may not be covered to its end.

Check whether the last frame is sharp at the end of the subject. If not, move the camera
or begin elsewhere, and shoot the sequence again.

Scales of lenses are coarse. A distance that changes only every few frames is no stop, and
the last frames are judged in proportion to that. In pictures, focusing shows as a change of
size or a drift. Where it does, the pictures count and not the distance, and a stop of one
or two frames inside the sequence is a note. Two frames at every position are a note of
their own. Where focusing shows as neither, the change of sharpness from frame to frame
shows a stop. There must be texture enough.`,
	Source: "common practice; Baker and Matthews, Lucas-Kanade 20 years on, IJCV 56(3), 2004 (registration)",
	Params: []audit.Param{
		{
			Name: "frames", Unit: "frames", Doc: "the shortest stop",
			Default: 5, Min: 2, Max: 1000,
		},
		{
			Name: "times", Doc: "a stop is this many times as long as the distance stayed the same before, at most",
			Default: 3, Min: 1, Max: 100,
		},
	},
	Check: checkFocusStall,
}

func checkFocusStall(v *audit.Review) error {
	found, stalls, why := stallByDistance(v)
	j, notSeen := evidence.Seen(v)
	switch {
	case j != nil && j.Habit.Pairs && (v.Sequence.Kind == shoot.Focus || v.Sequence.Kind == shoot.Series):
		v.Found(pairsFinding(v.Sequence, "two frames were taken at every focus position"))
	case j != nil && j.Stalls.Answer == pixels.Found:
		inPictures, ok := stallInPictures(v, j)
		if stalls && (!ok || inPictures.Severity < found.Severity) {
			v.Found(found)
		} else if ok {
			v.Found(inPictures)
		}
	case j != nil && j.Stalls.Answer == pixels.Fine: // the scale of the lens may end before the lens
	case stalls:
		v.Found(found)
	case pairsByDistance(v):
		v.Found(pairsFinding(v.Sequence, "every focus distance is recorded twice; two frames were taken at every position, or the scale of the lens is coarse"))
	case why != "":
		v.Unjudged(evidence.UnknownTo(why, j, notSeen, func(j *pixels.Judgement) pixels.Verdict { return j.Stalls.Verdict }))
	}
	return nil
}

// pairsFinding notes a habit of the run, which is no stop.
func pairsFinding(q *shoot.Sequence, message string) audit.Finding {
	return audit.Finding{Severity: audit.Note, Title: "Two frames at each position", Message: message, Action: "nothing to do", Frames: q.Frames}
}

// pairsByDistance reports whether all distances were recorded in pairs.
func pairsByDistance(v *audit.Review) bool {
	w, _, ok := evidence.WalkOf(v)
	return ok && w.Pairs
}

// stallByDistance judges the recorded distances; why is the reason where they do not answer.
func stallByDistance(v *audit.Review) (found audit.Finding, stalls bool, why string) {
	w, why, ok := evidence.WalkOf(v)
	if !ok {
		return found, false, why
	}
	still, longest := lastStop(w.Frames, w.At)
	at := w.At[len(w.At)-1]
	if w.Outwards { // the other side ends with the nearest distance
		frames, distances := slices.Clone(w.Frames), slices.Clone(w.At)
		slices.Reverse(frames)
		slices.Reverse(distances)
		if near, before := lastStop(frames, distances); len(near) > len(still) {
			still, longest, at = near, before, distances[len(distances)-1]
		}
	}
	limit := max(v.Param("frames"), v.Param("times")*float64(longest))
	if float64(len(still)) < limit {
		return found, false, ""
	}
	still = evidence.InOrder(v.Sequence, still)
	return audit.Finding{
		Severity: audit.Check,
		Message: fmt.Sprintf("the recorded distance stays at %s in %s, where it changed %s before",
			writeMetres(at), shoot.FrameRanges(v.Sequence.Frames, still), everyFew(longest)),
		Action:   "check whether the last frame is sharp at the end of the subject; if not, shoot the sequence again",
		Frames:   still,
		Measured: exifread.Of(float64(len(still))), Limit: exifread.Of(limit), Unit: "frames",
	}, true, ""
}

// lastStop returns the frames at the last distance of a walk, and the longest time, in
// frames, that it stayed at another.
func lastStop(frames []*shoot.Frame, at []float64) (still []*shoot.Frame, longest int) {
	length := 0
	for i := range at {
		if i > 0 && at[i] != at[i-1] {
			longest, length = max(longest, length), 0
		}
		length++
	}
	return frames[len(frames)-length:], longest
}

// stallInPictures makes the finding on the longest stop seen in the pictures.
func stallInPictures(v *audit.Review, j *pixels.Judgement) (audit.Finding, bool) {
	q := v.Sequence
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return audit.Finding{}, false
	}
	var longest pixels.Stall
	var frames []*shoot.Frame
	n, copies, atEnd := 0, true, false
	for _, e := range j.Stalls.Events {
		if e.Identical && e.To-e.From == 1 && evidence.CopiedOver(q.Frames[e.From], q.Frames[e.To]) {
			continue // repeated-frame reports it
		}
		n++
		copies = copies && e.Identical
		atEnd = atEnd || e.To == len(q.Frames)-1 && !e.Identical
		frames = append(frames, q.Frames[e.From:e.To+1]...)
		if e.To-e.From > longest.To-longest.From {
			longest = e
		}
	}
	if n == 0 {
		return audit.Finding{}, false
	}
	const harmless = 2 // frames at one focus too many
	severity := audit.Check
	if copies && longest.To-longest.From == 1 || longest.To-longest.From <= harmless && !atEnd {
		severity = audit.Note
	}
	where := shoot.FrameRange(q.Frames[longest.From : longest.To+1])
	title, message := "", "focus does not move in "+where
	action := "check whether the last frame is sharp at the end of the subject; if not, shoot the sequence again"
	if copies {
		title, message = "Same picture twice", where+" show the same picture"
		action = "check whether a frame was copied over another"
	}
	if n > 1 {
		message += fmt.Sprintf(", and in %s", words.Count(n-1, "other place", "other places"))
	}
	return audit.Finding{
		Title: title, Message: message, Action: action, Severity: severity, Frames: evidence.InOrder(q, frames),
		Measured: exifread.Of(float64(longest.To - longest.From)), Limit: exifread.Of(1.0), Unit: "focus steps not made",
	}, true
}

// everyFew writes how often a distance moves.
func everyFew(frames int) string {
	if frames <= 1 {
		return "with every frame"
	}
	return fmt.Sprintf("at least every %d frames", frames)
}
