package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

var cadenceBreak = &audit.Rule{
	ID:       "cadence-break",
	Title:    "a pause inside a run",
	Severity: audit.Check,
	Doc: `Finds a pause inside a run that goes on with the same settings afterwards, while
the file numbers run on.

Whoever stopped the run may have touched the camera, the set or the focus: the
frames before and after the pause may not fit each other.

Compare the frame before the pause with the one after it. If anything moved, shoot
the sequence again.

It is wrong where the camera merely waited: for a flash to recycle, or for a full
buffer. Short pauses, and runs with many of them, are therefore left alone; but for
those over which focus went on all the while, by the pictures or the recorded
distances. Such a pause asks to shoot again where the blur half-way is too large.`,
	Source: "common practice",
	Params: []audit.Param{
		pause, shortestPause,
		{
			Name: "share", Doc: "runs with more pauses than this share of their frames, and more than two, are uneven by nature",
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
	all := gaps(v)
	for _, g := range all {
		if g.reading == unclear && g.count <= 1 {
			v.Unjudged(g.why)
		}
	}
	if list := slices.DeleteFunc(slices.Clone(all), func(g gap) bool { return !g.skipped() }); len(list) > 0 {
		v.Found(skippedFinding(v, list))
	}
	list := slices.DeleteFunc(readAs(all, paused), func(g gap) bool { return g.skipped() || !sameLook(g.from, g.to) })
	if len(list) == 0 {
		return nil
	}
	const few = 2
	if len(list) > few && float64(len(list)) > v.Param("share")*float64(len(q.Frames)) {
		v.Unjudged("the cadence is uneven: the camera seems to wait for its buffer or a flash")
		return nil
	}
	worst := longest(list)
	numbers := "the numbers run on"
	for _, g := range list {
		if g.count == 0 {
			numbers = "without file numbers nobody can tell whether frames are missing"
		}
	}
	found := audit.Finding{
		Message: fmt.Sprintf("the run pauses for %s between %s and %s, where a frame comes %s; %s",
			shoot.FormatDuration(worst.elapsed), worst.from.Label(), worst.to.Label(), cadence(q), numbers),
		Action:   "compare the frames before and after the pause; if anything moved, shoot this sequence again",
		Frames:   ends(list),
		Measured: exifread.Of(worst.ticks), Limit: exifread.Of(v.Param("pause")), Unit: "cadences",
	}
	if n := len(list); n > 1 {
		found.Message = fmt.Sprintf("the run pauses %d times, longest for %s between %s and %s, where a frame comes %s; %s",
			n, shoot.FormatDuration(worst.elapsed), worst.from.Label(), worst.to.Label(), cadence(q), numbers)
	}
	v.Found(found)
	return nil
}

// skippedFinding makes the finding on gaps over which focus went on and no frame
// came. It is two signs, time and pictures; what is lost shows where the blur
// half-way is too large.
func skippedFinding(v *audit.Review, list []gap) audit.Finding {
	q := v.Sequence
	worst := list[0]
	for _, g := range list {
		if g.jump > worst.jump {
			worst = g
		}
	}
	found := audit.Finding{
		Message: fmt.Sprintf("from %s to %s took %s, where a frame comes %s, and focus moved about %s times as far: frames were left out",
			worst.from.Label(), worst.to.Label(), shoot.FormatDuration(worst.elapsed), cadence(q), twoFigures(worst.jump)),
		Action:   "look at the band between the two at 100 %; if it is soft, shoot this sequence again",
		Frames:   ends(list),
		Measured: exifread.Of(worst.ticks), Limit: exifread.Of(leftOut.Default), Unit: "cadences",
	}
	if n := len(list); n > 1 {
		found.Message += fmt.Sprintf(", and in %s", many(n-1, "other place", "other places"))
	}
	if j, _ := seen(v); j != nil && j.Step.Answer != pixels.CannotTell && j.Step.Blur*worst.jump > paramOf(v, "focus-gap", growth) {
		found.Severity = audit.Reshoot
		found.Action = "shoot this sequence again"
	}
	return found
}

// sameLook reports whether two frames were exposed alike and stand alike, so
// that the second can go on where the first left off.
func sameLook(a, b *shoot.Frame) bool {
	return exposedAlike(a.Meta(), b.Meta(), tolerance.Default) && a.Meta().Orientation == b.Meta().Orientation
}
