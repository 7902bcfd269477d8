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

var cadenceBreak = &audit.Rule{
	ID:       "cadence-break",
	Title:    "Pause inside a sequence",
	Severity: audit.Check,
	Doc: `Finds a pause inside a sequence that goes on with the same settings afterwards, while
the file numbers run on.

Somebody may have touched the camera, the set or the focus during the pause. Then the
frames before and after it do not fit each other.

Compare the frame before the pause with the one after it. If anything moved, shoot the
sequence again.

A single pause is a note where focus goes on after it as before, as the pictures or the
recorded distances show. The flash recycled, or the camera waited for its buffer or card.

The finding is wrong where the camera only waited. That is why short pauses and sequences
with many pauses are not reported. A pause during which focus went on moving is reported in
any case, as frames are missing there. If the blur half-way is too large, the finding asks
to shoot again.

After a long pause the frames may be the second part of the sequence, another take of it, or
another view. Nothing is reported where the number of frames, the recorded distances, a
repeated pause or the pictures show another take or view. Otherwise the finding asks to
compare the frames.`,
	Source: "common practice",
	Params: []audit.Param{
		evidence.Pause, evidence.ShortestPause, evidence.PauseEdge,
		{
			Name: "share", Doc: "sequences with more pauses than this share of their frames, and more than two, are uneven by nature",
			Default: 0.05, Min: 0, Max: 1,
		},
	},
	Check: checkCadenceBreak,
}

func checkCadenceBreak(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.TimeLapse || q.Kind == shoot.Burst || q.Kind == shoot.Bracket {
		return nil
	}
	secondPart(v)
	all := evidence.Gaps.Of(v)
	for _, g := range all {
		if g.Reading == evidence.Unclear && g.Count <= 1 {
			v.Unjudged(g.Why)
		}
	}
	if list := slices.DeleteFunc(slices.Clone(all), func(g evidence.Gap) bool { return !g.Skipped() }); len(list) > 0 {
		v.Found(skippedFinding(v, list))
	}
	list := slices.DeleteFunc(evidence.ReadAs(all, evidence.Paused), func(g evidence.Gap) bool { return g.Skipped() || !sameLook(g.From, g.To) })
	if len(list) == 0 {
		return nil
	}
	const few = 2
	if len(list) > few && float64(len(list)) > v.Param("share")*float64(len(q.Frames)) {
		v.Unjudged("the cadence is uneven: the camera seems to wait for its buffer or a flash")
		return nil
	}
	worst := evidence.Longest(list)
	numbers := "the file numbers run on"
	for _, g := range list {
		if g.Count == 0 {
			numbers = "there are no file numbers that would show missing frames"
		}
	}
	found := audit.Finding{
		Message: fmt.Sprintf("%s passed between %s and %s, where a frame comes %s; %s",
			shoot.FormatDuration(worst.Elapsed), worst.From.Label(), worst.To.Label(), cadence(q), numbers),
		Action:   "compare the frames before and after the pause; if anything moved, shoot the sequence again",
		Frames:   evidence.Ends(list),
		Measured: exifread.Of(worst.Ticks), Limit: exifread.Of(v.Param("pause")), Unit: "cadences",
	}
	if n := len(list); n > 1 {
		found.Message = fmt.Sprintf("there are %d pauses, the longest of %s between %s and %s, where a frame comes %s; %s",
			n, shoot.FormatDuration(worst.Elapsed), worst.From.Label(), worst.To.Label(), cadence(q), numbers)
	}
	if len(list) == 1 && worst.Count == 1 && goesOn(v, worst) {
		found.Severity = audit.Note
		found.Message += ", and focus and exposure go on as before"
		found.Action = "compare the frames before and after the pause if somebody touched the camera"
	}
	v.Found(found)
	return nil
}

// goesOn reports whether focus goes on over a pause as it did before: by the pictures,
// in which then nothing else moved either, or else by the recorded distances.
func goesOn(v *audit.Review, g evidence.Gap) bool {
	q := v.Sequence
	if j, _ := evidence.Seen(v); j != nil {
		for _, question := range []pixels.Verdict{j.Jumps.Verdict, j.Order.Verdict, j.Moved.Verdict, j.Stalls.Verdict} {
			if question.Answer == pixels.Found {
				return false
			}
		}
		if j.Walk.Answer == pixels.Found && j.Jumps.Answer == pixels.Fine && j.Order.Answer == pixels.Fine && j.Moved.Answer == pixels.Fine {
			return !slices.Contains(j.Moved.Doubtful, slices.Index(q.Frames, g.To))
		}
	}
	w, _, ok := evidence.WalkOf(v)
	return ok && w.GoesOn(g.From, g.To)
}

// secondPart reports a run that may be the second part of the one before.
func secondPart(v *audit.Review) {
	q, first := v.Sequence, v.Sequence.MayContinue
	if first == nil {
		return
	}
	from, to := first.Frames[len(first.Frames)-1], q.Frames[0]
	pause := q.Start().Sub(first.End())
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s came %s after %s, at the same cadence and settings; they may go on, start over or show another view",
			shoot.FrameRange(q.Frames), shoot.FormatDuration(pause), shoot.FrameRange(first.Frames)),
		Action: fmt.Sprintf("compare frames %s and %s; if the second part goes on and anything moved, shoot the sequence again", from.Label(), to.Label()),
		Frames: []*shoot.Frame{from, to},
	})
}

// skippedFinding makes the finding on gaps over which focus went on and no frame
// came. It is two signs, time and pictures; what is lost shows where the blur
// half-way is too large.
func skippedFinding(v *audit.Review, list []evidence.Gap) audit.Finding {
	q := v.Sequence
	worst := list[0]
	for _, g := range list {
		if g.Jump > worst.Jump {
			worst = g
		}
	}
	found := audit.Finding{
		Title: "Frames left out",
		Message: fmt.Sprintf("%s to %s took %s, where a frame comes %s, and focus moved about %s times its usual step",
			worst.From.Label(), worst.To.Label(), shoot.FormatDuration(worst.Elapsed), cadence(q), twoFigures(worst.Jump)),
		Action:   "inspect the band between the two at 100 %; if it is soft, shoot the sequence again",
		Frames:   evidence.Ends(list),
		Measured: exifread.Of(worst.Ticks), Limit: exifread.Of(evidence.LeftOut.Default), Unit: "cadences",
	}
	if n := len(list); n > 1 {
		found.Message += fmt.Sprintf(", and in %s", words.Count(n-1, "other place", "other places"))
	}
	if j, _ := evidence.Seen(v); j != nil && j.Step.Blur*worst.Jump > v.ParamOf("focus-gap", growth) {
		found.Severity = audit.Reshoot
		found.Action = "shoot the sequence again"
	}
	return found
}

// sameLook reports whether two frames were exposed alike and have the same
// orientation, so that the second can go on where the first left off.
func sameLook(a, b *shoot.Frame) bool {
	return evidence.ExposedAlike(a.Meta(), b.Meta(), evidence.Tolerance.Default) && a.Meta().Orientation == b.Meta().Orientation
}
