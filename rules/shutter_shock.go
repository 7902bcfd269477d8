package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var shutterShock = &audit.Rule{
	ID:       "shutter-shock",
	Title:    "Shutter may shake the camera",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Finds frames on a tripod, without flash, whose exposure time lies between 1/125 and 1/2 s.
That is long enough for the shock of mirror and shutter to show, and too short for it to die
away. It is reported once for a session.

On a light tripod, close up, such frames can be a little soft all over.

Inspect one frame at 100 %. An electronic first curtain, a delay after the mirror, or
a longer exposure time avoids it.

Time-lapses are not judged: a clip hardly shows it. Phones and small cameras, known by their
sensors, are not judged either, and electronic shutters are not. Sequences of 20 frames a
second and more show these, or exposure times of the body that no mechanical shutter makes.

The finding is wrong where the shutter was electronic and nothing shows it, or where a delay
was set. Files do not record that in a standard way.`,
	Source: "common practice: practitioners name bands from 1/125 to 1/4 s and from 1/100 to 1/2 s, and call times over 1 s safe; mechanical shutters end at some 15 frames a second and 1/8000 s",
	Params: []audit.Param{
		{
			Name: "shortest", Unit: "s", Doc: "no shake shows at this exposure time or a shorter one",
			Default: 1.0 / 125, Min: 1.0 / 8000, Max: 1,
		},
		{
			Name: "longest", Unit: "s", Doc: "no shake shows at this exposure time or a longer one",
			Default: 0.5, Min: 1.0 / 8000, Max: 30,
		},
		{
			Name: "rate", Unit: "frames a second", Doc: "sequences as fast as this are made by an electronic shutter",
			Default: 20, Min: 5, Max: 1000,
		},
		{
			Name: "mechanical", Unit: "s", Doc: "a body that makes shorter exposures uses an electronic shutter",
			Default: 1.0 / 8000, Min: 1.0 / 100000, Max: 1.0 / 1000,
		},
		smallestSensor, evidence.Tolerance,
	},
	CheckSession: checkShutterShock,
}

// smallestSensor is where the sensors of cameras with shutters of curtains begin.
var smallestSensor = audit.Param{
	Name: "smallest-sensor", Unit: "mm", Doc: "sensors less wide are those of phones and small cameras, without curtains before them",
	Default: 15, Min: 0, Max: 100,
}

func checkShutterShock(v *audit.Review) error {
	var shaken, unknown []*shoot.Frame
	var runs []*shoot.Sequence // with shaken frames
	longest := 0.0
	quiet := map[*shoot.Body]bool{}
	for _, b := range v.Session.Bodies {
		quiet[b] = noCurtains(v, b) || electronic(v, b)
	}
	for _, q := range v.Session.Sequences {
		if quiet[q.Body] || fast(v, q) || q.Support != shoot.Tripod || q.Kind == shoot.TimeLapse || v.Options.Light == audit.FlashLight {
			continue
		}
		timed, untimed := evidence.Exposed(q)
		unknown = append(unknown, untimed...)
		before := len(shaken)
		for _, f := range timed {
			t := exifread.Positive(f.Meta().ExposureTime)
			if evidence.Fired(f.Meta()) || !evidence.Longer(t, v.Param("shortest"), v.Param("tolerance")) || !evidence.Longer(v.Param("longest"), t, v.Param("tolerance")) {
				continue
			}
			shaken = append(shaken, f)
			longest = max(longest, t)
		}
		if len(shaken) > before {
			runs = append(runs, q)
		}
	}
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	if len(shaken) == 0 {
		return nil
	}
	where := shoot.FrameRanges(runs[0].Frames, slices.DeleteFunc(slices.Clone(shaken), func(f *shoot.Frame) bool { return !slices.Contains(runs[0].Frames, f) }))
	if n := len(runs); n > 1 {
		where += fmt.Sprintf(" and in %s", words.Count(n-1, "other sequence", "other sequences"))
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s is between %s and %s, where mirror and shutter shake the camera most: %s",
			times(shaken), writeTime(v.Param("shortest")), writeTime(v.Param("longest")), where),
		Action:   "inspect one frame at 100 %; an electronic first curtain or a delay avoids it",
		Frames:   shaken,
		Measured: exifread.Of(longest), Limit: exifread.Of(v.Param("shortest")), Unit: "s",
	})
	return nil
}

// noCurtains reports whether a body is known to have no shutter of curtains, by the
// width of its sensor.
func noCurtains(v *audit.Review, b *shoot.Body) bool {
	return evidence.SensorOfBody(v, b).Width < optics.Length(v.Param("smallest-sensor"))*optics.Millimetre
}

// fast reports whether the pace of a sequence shows an electronic shutter. The step of
// the clock may make it a little slower than it is.
func fast(v *audit.Review, q *shoot.Sequence) bool {
	const coarse = 1.05
	c, ok := q.Cadence.Get()
	return ok && c.Seconds()*v.Param("rate") <= coarse
}

// electronic reports whether an exposure time of the body in this session shows an
// electronic shutter.
func electronic(v *audit.Review, b *shoot.Body) bool {
	for _, f := range evidence.FramesOf(v.Session, b) {
		t := exifread.Positive(f.Meta().ExposureTime)
		if t > 0 && evidence.Longer(v.Param("mechanical"), t, v.Param("tolerance")) {
			return true
		}
	}
	return false
}
