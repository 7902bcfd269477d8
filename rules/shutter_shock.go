package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var shutterShock = &audit.Rule{
	ID:       "shutter-shock",
	Title:    "the exposure time lies where the shutter shakes the camera",
	Severity: audit.Note,
	Doc: `Finds frames on a tripod, without flash, whose exposure time lies between 1/125 and
1/2 s: long enough for the blow of mirror and shutter to show, too short for it to
die away.

On a light tripod, close up, such frames can be a little soft all over.

Look at one frame at 100 %. An electronic first curtain, a delay after the mirror, or
a longer exposure time avoids it.

Time-lapses are left alone: a clip hardly shows it. It is wrong where the shutter was
electronic or a delay was set, which files do not record in a standard way.`,
	Source: "common practice: practitioners name bands from 1/125 to 1/4 s and from 1/100 to 1/2 s, and call times over 1 s safe",
	Params: []audit.Param{
		{
			Name: "shortest", Unit: "s", Doc: "no shake shows at this exposure time or a shorter one",
			Default: 1.0 / 125, Min: 1.0 / 8000, Max: 1,
		},
		{
			Name: "longest", Unit: "s", Doc: "no shake shows at this exposure time or a longer one",
			Default: 0.5, Min: 1.0 / 8000, Max: 30,
		},
		evidence.Tolerance,
	},
	Check: checkShutterShock,
}

func checkShutterShock(v *audit.Review) error {
	q := v.Sequence
	if q.Support != shoot.Tripod || q.Kind == shoot.TimeLapse || v.Options.Light == audit.FlashLight {
		return nil
	}
	timed, unknown := evidence.Exposed(q)
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	var shaken []*shoot.Frame
	longest := 0.0
	for _, f := range timed {
		t := exifread.Positive(f.Meta().ExposureTime)
		if evidence.Fired(f.Meta()) || !evidence.Longer(t, v.Param("shortest"), v.Param("tolerance")) || !evidence.Longer(v.Param("longest"), t, v.Param("tolerance")) {
			continue
		}
		shaken = append(shaken, f)
		longest = max(longest, t)
	}
	if len(shaken) == 0 {
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s%s lies between %s and %s, where mirror and shutter shake the camera most",
			which(q, shaken), times(shaken), writeTime(v.Param("shortest")), writeTime(v.Param("longest"))),
		Action:   "look at one frame at 100 %; an electronic first curtain or a delay avoids it",
		Frames:   shaken,
		Measured: exifread.Of(longest), Limit: exifread.Of(v.Param("shortest")), Unit: "s",
	})
	return nil
}
