package rules

import (
	"cmp"
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var focusTurn = &audit.Rule{
	ID:       "focus-turn",
	Title:    "Focus goes back",
	Severity: audit.Check,
	Doc: `Finds focus sequences whose focus goes back by more than a step or two, as the recorded
distances or the pictures show. The lens reached its end and began again, autofocus took
over, or two sequences became one.

The sequence may cover less of the subject than its number of frames suggests.

Check whether the frames after the turn begin where the subject begins and reach its end.
If not, shoot the sequence again.

The finding is wrong where two takes were made without a pause. The first and last few
frames are not judged. A single step back and forth of the distance is not reported: it
comes from the scale of the lens, or from a repeated frame. In pictures, focusing shows as a
change of size or a drift. Where it does, the pictures count and not the distance. Two
neighbours that only changed places are a note. The order of a camera that begins in the
middle is a note, too: nearer and farther in turn (0, -, +), or one side after the other.
Its steps are judged in the order of focus. Where the pictures only suggest such an order,
focus is not judged.`,
	Source: "common practice; Baker and Matthews, Lucas-Kanade 20 years on, IJCV 56(3), 2004 (registration)",
	Params: []audit.Param{
		{
			Name: "back", Unit: "focus steps", Doc: "going back by more than this is a turn",
			Default: 2, Min: 0.5, Max: 100,
		},
		{
			Name: "edge", Unit: "frames", Doc: "this many frames at each end are not judged: test frames, and the lens on its way back",
			Default: 3, Min: 0, Max: 100,
		},
	},
	Check: checkFocusTurn,
}

func checkFocusTurn(v *audit.Review) error {
	found, turns, why := turnByDistance(v)
	j, notSeen := evidence.Seen(v)
	focuses := v.Sequence.Kind == shoot.Focus || v.Sequence.Kind == shoot.Series
	if w, _, ok := evidence.WalkOf(v); ok && w.Outwards || focuses && j != nil && j.Habit.Outwards != nil {
		v.Found(outwardsFinding(v.Sequence))
		return nil
	}
	switch {
	case j != nil && j.Order.Answer == pixels.Found:
		inPictures, ok := turnInPictures(v, j)
		if turns && (!ok || inPictures.Severity < found.Severity) {
			v.Found(found)
		} else if ok {
			v.Found(inPictures)
		}
	case j != nil && j.Order.Answer == pixels.Fine:
	case turns:
		v.Found(found)
	case why != "":
		v.Unjudged(evidence.UnknownTo(why, j, notSeen, func(j *pixels.Judgement) pixels.Verdict { return j.Order.Verdict }))
	}
	return nil
}

// outwardsFinding notes a habit of the camera, which is no way back.
func outwardsFinding(q *shoot.Sequence) audit.Finding {
	return audit.Finding{
		Severity: audit.Note, Title: "Focus goes from the middle outwards",
		Message: fmt.Sprintf("focus goes from frame %s outwards, to nearer and to farther; this is the order of the camera", q.Frames[0].Label()),
		Action:  "nothing to do; sort the frames by focus if the program that merges them does not",
		Frames:  q.Frames,
	}
}

// turnByDistance judges the recorded distances; why is the reason where they do not answer.
func turnByDistance(v *audit.Review) (found audit.Finding, turned bool, why string) {
	w, why, ok := evidence.WalkOf(v)
	if !ok {
		return found, false, why
	}
	turns := w.Turns(v.Param("back"), int(v.Param("edge")))
	const wanders = 3 // more turns are no mishap of a sequence
	switch {
	case len(turns) == 0:
		return found, false, ""
	case len(turns) > wanders:
		return found, false, "the recorded focus distance goes back and forth"
	}
	longest := slices.MaxFunc(turns, func(a, b evidence.Turn) int { return cmp.Compare(w.Back(a), w.Back(b)) })
	at := w.Frames[longest.From+1]
	found = audit.Finding{
		Severity: audit.Check,
		Message: fmt.Sprintf("focus goes back at %s, from %s to %s",
			shoot.FrameRange([]*shoot.Frame{at}), writeMetres(w.At[longest.From]), writeMetres(w.At[longest.To])),
		Action:   "check whether the frames from there on cover the subject; if not, shoot the sequence again",
		Measured: exifread.Of(w.Back(longest)), Limit: exifread.Of(v.Param("back")), Unit: "focus steps",
	}
	if n := len(turns); n > 1 {
		found.Message += fmt.Sprintf(", and in %s", words.Count(n-1, "other place", "other places"))
	}
	for _, t := range turns {
		for _, f := range w.Frames[t.From : t.From+2] {
			if n := len(found.Frames); n == 0 || found.Frames[n-1] != f {
				found.Frames = append(found.Frames, f)
			}
		}
	}
	return found, true, ""
}

// turnInPictures makes the finding on the longest way back seen in the pictures.
func turnInPictures(v *audit.Review, j *pixels.Judgement) (audit.Finding, bool) {
	q := v.Sequence
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return audit.Finding{}, false
	}
	edge := int(v.Param("edge"))
	events := slices.DeleteFunc(slices.Clone(j.Order.Events), func(e pixels.Reversal) bool {
		return e.From+1 < edge || len(q.Frames)-1-e.From < edge
	})
	if len(events) == 0 {
		return audit.Finding{}, false
	}
	longest := slices.MaxFunc(events, func(a, b pixels.Reversal) int {
		return cmp.Or(cmp.Compare(turnSeverity(a), turnSeverity(b)), cmp.Compare(a.Back, b.Back))
	})
	from, to := q.Frames[longest.From], q.Frames[longest.To]
	if longest.Kind != pixels.Swapped && longest.Back <= v.Param("back") {
		return audit.Finding{}, false
	}
	found := audit.Finding{
		Severity: turnSeverity(longest),
		Action:   "check whether the frames from there on cover the subject; if not, shoot the sequence again",
		Measured: exifread.Of(longest.Back), Limit: exifread.Of(v.Param("back")), Unit: "focus steps",
	}
	switch longest.Kind {
	case pixels.Swapped:
		found.Message = fmt.Sprintf("%s and %s changed places: focus goes the wrong way between them", from.Label(), to.Label())
		found.Title, found.Action = "Two frames changed places", "nothing to do"
	case pixels.Restarted:
		found.Message = fmt.Sprintf("%s back by about %.0f steps between %s and %s", focusOrCamera(j, "jumps"), longest.Back, from.Label(), to.Label())
	case pixels.Turned:
		found.Message = fmt.Sprintf("%s back by about %.0f steps from %s to %s", focusOrCamera(j, "goes"), longest.Back, from.Label(), to.Label())
	default:
		found.Message = fmt.Sprintf("focus comes back: %s is sharp where %s was", to.Label(), from.Label())
	}
	if n := len(events); n > 1 {
		found.Message += fmt.Sprintf(", and it goes back in %s", words.Count(n-1, "other place", "other places"))
	}
	for _, e := range events {
		found.Frames = append(found.Frames, q.Frames[e.From], q.Frames[e.To])
	}
	found.Frames = evidence.InOrder(q, found.Frames)
	return found, true
}

func turnSeverity(r pixels.Reversal) audit.Severity {
	if r.Kind == pixels.Swapped {
		return audit.Note
	}
	return audit.Check
}
