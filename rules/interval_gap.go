package rules

import (
	"fmt"
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var intervalGap = &audit.Rule{
	ID:       "interval-gap",
	Title:    "Time-lapse frames left out",
	Severity: audit.Check,
	Doc: `Finds intervals of a time-lapse that are too long by one interval or more, while no file
number is missing. The camera took no picture there, or took it too late.

The clip jumps there. Often the interval is too short for the exposure time and for the
time that the camera needs to write.

Inspect the clip for a visible jump. Before you shoot it again, make the interval longer
or the exposure time shorter.

The finding is wrong where the pause was meant. With a clock that shows whole seconds, only
what is certain is reported.`,
	Source: "gap of 1.5 times the median interval: common practice",
	Params: []audit.Param{evidence.LeftOut},
	Check:  checkIntervalGap,
}

func checkIntervalGap(v *audit.Review) error {
	q := v.Sequence
	if q.Kind != shoot.TimeLapse {
		return nil
	}
	all := evidence.Gaps.Of(v)
	for _, g := range all {
		if g.Reading == evidence.Unclear && g.Count <= 1 {
			v.Unjudged(g.Why)
		}
	}
	list := evidence.ReadAs(all, evidence.Paused)
	if len(list) == 0 {
		return nil
	}
	ticks := 0
	for _, g := range list {
		ticks += max(1, int(math.Round(g.Ticks))-1)
	}
	worst := evidence.Longest(list)
	found := audit.Finding{
		Message: fmt.Sprintf("%s not taken between %s and %s: %s passed, where a frame comes %s",
			words.Count(ticks, "frame was", "frames were"), worst.From.Label(), worst.To.Label(), shoot.FormatDuration(worst.Elapsed), cadence(q)),
		Action:   "inspect the clip for a visible jump; a longer interval or a shorter exposure time avoids it",
		Frames:   evidence.Ends(list),
		Measured: exifread.Of(worst.Ticks), Limit: exifread.Of(v.Param("gap")), Unit: "cadences",
	}
	if n := len(list); n > 1 {
		found.Message = fmt.Sprintf("%s not taken, in %d places; the longest pause is %s from %s to %s, where a frame comes %s",
			words.Count(ticks, "frame was", "frames were"), n, shoot.FormatDuration(worst.Elapsed), worst.From.Label(), worst.To.Label(), cadence(q))
	}
	v.Found(found)
	return nil
}
