package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var syncSpeed = &audit.Rule{
	ID:       "sync-speed",
	Title:    "the exposure time is too short for flash",
	Severity: audit.Check,
	Doc: `Finds frames with flash whose exposure time is shorter than shutters open fully for.

Past the sync speed a curtain of the shutter covers part of the sensor while the
flash burns: that part stays dark.

Look for a dark band along one side. If there is one, shoot again at the sync speed
or longer.

It is wrong with high-speed sync, which files do not record in a standard way. Small
cameras, known by their sensors, have shutters that sync at any time, and are left
alone.`,
	Source: "common practice: focal-plane shutters sync up to 1/180 to 1/250 s",
	Params: []audit.Param{
		{
			Name: "sync-speed", Unit: "s", Doc: "the shortest exposure time that flash lights whole",
			Default: 1.0 / 250, Min: 1.0 / 8000, Max: 1.0 / 30,
		},
		smallestSensor, evidence.Tolerance,
	},
	Check: checkSyncSpeed,
}

func checkSyncSpeed(v *audit.Review) error {
	q := v.Sequence
	var short, unknown []*shoot.Frame
	shortest := 0.0
	for _, f := range q.Frames {
		if !evidence.Fired(f.Meta()) {
			continue
		}
		t := exifread.Positive(f.Meta().ExposureTime)
		switch {
		case t == 0:
			unknown = append(unknown, f)
		case evidence.Longer(v.Param("sync-speed"), t, v.Param("tolerance")):
			short = append(short, f)
			if shortest == 0 || t < shortest {
				shortest = t
			}
		}
	}
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	if len(short) == 0 || noCurtains(v, q.Body) {
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%sthe flash fired at %s, where shutters sync up to %s: part of the frame may be dark",
			which(q, short), times(short), writeTime(v.Param("sync-speed"))),
		Action:   "look for a dark band; if there is one, shoot again at the sync speed or longer",
		Frames:   short,
		Measured: exifread.Of(shortest), Limit: exifread.Of(v.Param("sync-speed")), Unit: "s",
	})
	return nil
}
