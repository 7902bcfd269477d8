package rules

import (
	"fmt"
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var intervalOverrun = &audit.Rule{
	ID:       "interval-overrun",
	Title:    "the exposure fills the interval of a time-lapse",
	Severity: audit.Check,
	Doc: `Finds time-lapses whose exposure time is more than nine tenths of the interval.

The camera needs the rest to write and to open the shutter again. When the exposure
grows a little, or the card is slow, it skips ticks and the clip jumps.

Shorten the exposure time or lengthen the interval before the next clip; look whether
this one has jumps.

It is wrong where the exposures follow each other without a pause on purpose, as for
star trails. Runs whose interval is no whole number of seconds are left alone: a timer
counts whole seconds, so that they are long exposures one after the other.`,
	Source: "common practice; dpreview.com/forums/post/31437081 measured an interval of 33 s for exposures of 30 s",
	Params: []audit.Param{{
		Name: "share", Doc: "the largest share of the interval to expose for",
		Default: optics.FullestInterval, Min: 0.1, Max: 1,
	}},
	Check: checkIntervalOverrun,
}

func checkIntervalOverrun(v *audit.Review) error {
	q := v.Sequence
	c, ok := q.Cadence.Get()
	if q.Kind != shoot.TimeLapse || !ok || !wholeSeconds(c.Seconds()) {
		return nil
	}
	timed, unknown := evidence.Exposed(q)
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	var long []*shoot.Frame
	longest := 0.0
	for _, f := range timed {
		if t := exifread.Positive(f.Meta().ExposureTime); t > v.Param("share")*c.Seconds() {
			long = append(long, f)
			longest = max(longest, t)
		}
	}
	if len(long) == 0 {
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s%s fills %.0f %% of the interval of %s: the camera is about to skip ticks",
			which(q, long), times(long), 100*longest/c.Seconds(), shoot.FormatDuration(c)),
		Action:   "look for jumps in the clip; a longer interval or a shorter exposure time avoids them",
		Frames:   long,
		Measured: exifread.Of(longest / c.Seconds()), Limit: exifread.Of(v.Param("share")), Unit: "of the interval",
	})
	return nil
}

// wholeSeconds reports whether an interval is one that a timer counts.
func wholeSeconds(s float64) bool {
	return math.Abs(s-math.Round(s)) <= max(0.02, 0.002*s)
}
