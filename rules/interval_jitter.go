package rules

import (
	"fmt"
	"math"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var intervalJitter = &audit.Rule{
	ID:       "interval-jitter",
	Title:    "Uneven interval",
	Severity: audit.Note,
	Shows:    audit.ShowNothing,
	Doc: `Finds frames of a time-lapse that come early or late by more than a tenth of the
interval, though none is left out.

Even movement stutters a little there in the clip. The camera was busy: writing,
measuring or focusing.

Set exposure and focus by hand, and leave the camera more of the interval, before
the next clip. Nothing needs to be shot again.

Where a frame is left out, interval-gap reports it. With a clock that shows whole seconds
only what the clock can show is judged, and nothing at short intervals.`,
	Source: "a tenth of the interval: common practice",
	Params: []audit.Param{jitterParam},
	Check:  checkIntervalJitter,
}

// jitterParam is shared with interval-overrun and read under the name of interval-jitter.
var jitterParam = audit.Param{
	Name: "jitter", Unit: "cadences", Doc: "a frame that comes early or late by more is uneven",
	Default: optics.JitterFraction, Min: 0.01, Max: 0.5,
}

// coarsest is the coarsest clock, as a share of the interval, that single
// intervals can be judged on: whole seconds at 5 s.
const coarsest = 0.2

func checkIntervalJitter(v *audit.Review) error {
	q := v.Sequence
	if q.Kind != shoot.TimeLapse {
		return nil
	}
	gap := v.ParamOf("interval-gap", evidence.LeftOut)
	var frames []*shoot.Frame
	most, count := 0.0, 0
	var worst time.Duration
	for _, s := range q.Steps {
		ticks, ok := s.Ticks.Get()
		if !ok {
			continue
		}
		if s.Slack > coarsest {
			v.Unjudged("the clock is too coarse for this cadence")
			return nil
		}
		if n, ok := s.Count.Get(); ok && n != 1 || ticks >= gap || evidence.CopiedOver(s.From, s.To) {
			continue // missing-frame, number-jump or interval-gap reports it
		}
		off := math.Abs(ticks - 1)
		if off <= max(v.Param("jitter"), s.Slack)+1e-9 {
			continue
		}
		count++
		if n := len(frames); n == 0 || frames[n-1] != s.From {
			frames = append(frames, s.From)
		}
		frames = append(frames, s.To)
		if off > most {
			most = off
			worst, _ = s.Elapsed.Get()
		}
	}
	if count == 0 {
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s too short or too long, by up to %.0f %%: %s passed, where a frame comes %s",
			words.Count(count, "interval is", "intervals are"), 100*most, shoot.FormatDuration(worst), cadence(q)),
		Action:   "leave the camera more of the interval before the next clip; nothing needs to be shot again",
		Frames:   frames,
		Measured: exifread.Of(most), Limit: exifread.Of(v.Param("jitter")), Unit: "cadences",
	})
	return nil
}
