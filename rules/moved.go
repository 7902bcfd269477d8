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

var moved = &audit.Rule{
	ID:       "moved",
	Title:    "Picture jumps",
	Severity: audit.Check,
	AtOnce:   true,
	Shows:    audit.ShowPair,
	Doc: `Inspects the pictures of a sequence on a tripod. Finds two neighbouring frames between
which the whole picture jumps, beyond the slow drift of the frames around them.

Somebody touched the tripod, the subject slipped, or the tripod head sank. The frames
before and after do not fit each other: edges show double when they are merged, and a
clip jumps.

Inspect the two frames one after the other at 100 %. If the camera or the subject moved,
fasten it and shoot the sequence again.

A jump counts from one pixel of a picture 1,600 wide, because lenses shift the picture a
little as they focus. Shadows and things that move inside the picture are recognised by
its quarters, which then disagree; a jump there cannot be judged. In a time-lapse a jump
is a note, as the subject itself may move. So is a jump of less than a pixel of the file.
A lens also shifts the picture where focus starts or stops: a small jump there cannot be
judged. With rails and microscopes the picture drifts as they focus, and a jump along the
drift may be reported as a step of focus. Frames that match neither neighbour count, too,
where nearly all parts of the picture differ. The first and last few count as markers.`,
	Source: "Baker and Matthews, Lucas-Kanade 20 years on, IJCV 56(3), 2004 (registration); limits chosen on rendered sequences",
	Params: []audit.Param{
		{
			Name: "jump", Unit: "px", Doc: "the smallest jump, in pixels of a picture with a long side of 1,600",
			Default: 1, Min: 1, Max: 100,
		},
		{
			Name: "edge", Unit: "frames", Doc: "this many frames at each end that show something else count as markers",
			Default: 2, Min: 0, Max: 100,
		},
	},
	Check: checkMoved,
}

func checkMoved(v *audit.Review) error {
	q := v.Sequence
	if q.Support == shoot.Handheld || q.Kind == shoot.Single || q.Kind == shoot.Bracket { // clipped and dark pictures do not register to a pixel
		return nil
	}
	j := evidence.Shows(v)
	if j == nil {
		return nil
	}
	unjudged := func(reason string, at []int) {
		for _, k := range at {
			v.Unjudged(reason, q.Frames[k])
		}
	}
	unjudged("light, blur or something that moves would hide a small jump", unreported(j, j.Moved.Doubtful))
	unjudged("the pictures of neighbouring frames do not match", unreported(j, j.Moved.Unmatched))
	if !evidence.Tells(v, j.Moved.Verdict) {
		return nil
	}
	if all := counted(v, j); len(all) > 0 {
		found := movedFinding(v, j, all)
		found.Provisional = !slices.ContainsFunc(all, func(e pixels.Move) bool { return surelyMoved(v, j, e) })
		v.Found(found)
	}
	return nil
}

// surelyMoved reports whether no frame to come can take a jump back. In a focus sequence,
// which stays one, the jump must be twice as large as the smallest that counts, as the
// noise of frames to come may raise that; and there must be frames behind it, so that the
// drift on both sides and the end of the sequence are known.
func surelyMoved(v *audit.Review, j *pixels.Judgement, e pixels.Move) bool {
	const (
		times  = 2
		behind = 6 // frames: twice as many as the drift is taken from
	)
	q := v.Sequence
	if q.Kind != shoot.Focus || e.To+max(behind, int(v.Param("edge"))) >= len(q.Frames) {
		return false
	}
	return e.Lost || evidence.InLong(j, e.Pixels) >= times*v.Param("jump") && evidence.FullSize(q, j, e.Pixels) >= times
}

// counted returns the jumps that are not too small and none of a marker.
func counted(v *audit.Review, j *pixels.Judgement) []pixels.Move {
	edge := int(v.Param("edge"))
	marker := func(e pixels.Move) bool {
		return e.Lost && (e.From < edge || e.To >= len(v.Sequence.Frames)-edge)
	}
	small := func(e pixels.Move) bool {
		return !e.Lost && evidence.InLong(j, e.Pixels) < v.Param("jump")
	}
	// The band keeps the pictures from matching: sync-speed or banding reports it.
	banded := func(e pixels.Move) bool {
		return e.Lost && slices.ContainsFunc(j.Bands.Edges, func(b pixels.EdgeBand) bool { return b.Frame == e.From || b.Frame == e.To })
	}
	return slices.DeleteFunc(slices.Clone(j.Moved.Events), func(e pixels.Move) bool { return marker(e) || small(e) || banded(e) })
}

// moreMoved is by how much one jump must exceed another to be the larger of the two.
const moreMoved = 1.5

// worstMove returns the largest jump, and of two alike the first: there the
// picture left. Pictures that match nothing come before any jump.
func worstMove(all []pixels.Move) pixels.Move {
	worst := all[0]
	for _, e := range all[1:] {
		if e.Lost && !worst.Lost || e.Lost == worst.Lost && e.Pixels > moreMoved*worst.Pixels {
			worst = e
		}
	}
	return worst
}

func movedFinding(v *audit.Review, j *pixels.Judgement, all []pixels.Move) audit.Finding {
	q := v.Sequence
	worst := worstMove(all)
	lasting := false
	var frames []*shoot.Frame
	for _, e := range all {
		lasting = lasting || e.Lasting
		frames = append(frames, q.Frames[e.From], q.Frames[e.To])
	}
	from, to := q.Frames[worst.From], q.Frames[worst.To]
	severity := audit.Check
	if !worst.Lost && (q.Kind == shoot.TimeLapse || evidence.FullSize(q, j, worst.Pixels) < 1) {
		severity = audit.Note // a pixel of the file is the least that shows
	}
	found := audit.Finding{
		Severity: severity,
		Action:   "inspect the two frames at 100 %; if the camera or the subject moved, fasten it and shoot the sequence again",
		Frames:   evidence.InOrder(q, frames),
		Closest:  []*shoot.Frame{from, to},
	}
	switch {
	case worst.Lost && worst.Lasting:
		found.Message = fmt.Sprintf("the pictures up to %s do not match those from %s on", from.Label(), to.Label())
	case worst.Lost:
		found.Message = fmt.Sprintf("frame %s does not match the frames before and after", to.Label())
		found.Action = "inspect it; if something was in front of the lens, or the camera or the subject moved, shoot the sequence again"
	default:
		found.Message = fmt.Sprintf("the picture jumps between %s and %s by %s", from.Label(), to.Label(), writePixels(evidence.FullSize(q, j, worst.Pixels)))
		found.Measured, found.Limit, found.Unit = exifread.Of(evidence.InLong(j, worst.Pixels)), exifread.Of(v.Param("jump")), "px of a picture 1,600 wide"
	}
	switch n := len(all); {
	case n == 2 && !lasting && !worst.Lost:
		found.Message += ", and back soon after"
	case n > 1:
		found.Message += fmt.Sprintf(", and in %s", words.Count(n-1, "other place", "other places"))
	}
	return found
}

// unreported leaves out the frames with another finding that keeps their pictures from
// being compared: dark ones, steps of focus, and far moves.
func unreported(j *pixels.Judgement, frames []int) []int {
	reported := map[int]bool{}
	for _, e := range j.Dark.Events {
		reported[e.Frame], reported[e.Frame+1] = true, true
	}
	for _, e := range j.Bands.Edges {
		reported[e.Frame], reported[e.Frame+1] = true, true
	}
	for _, e := range j.Jumps.Events {
		reported[e.To] = true
	}
	for _, e := range j.Order.Events {
		reported[e.From], reported[e.To], reported[e.To+1] = true, true, true
	}
	for _, e := range j.Moved.Events {
		reported[e.To] = true
	}
	return slices.DeleteFunc(slices.Clone(frames), func(i int) bool { return reported[i] })
}
