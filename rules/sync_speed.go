package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var syncSpeed = &audit.Rule{
	ID:       "sync-speed",
	Title:    "Exposure time too short for flash",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames with flash in which a curtain of the shutter covered a part of the picture
while the flash fired.

A dark band along a long edge is a check at any exposure time where the frame before or
after does not have it. A radio flash may fire too late. An exposure time shorter than
shutters open fully for is a note as long as no such band is found. A leaf shutter or
high-speed sync may be in use, which files do not record in a standard way.

Inspect the frame for a dark band along one side. If there is one, shoot again at the sync
speed or longer.

A band that all frames share cannot be found. Small cameras, known by their sensors, have
shutters that sync at any time: their exposure times are not judged.`,
	Source: "common practice: focal-plane shutters sync up to 1/180 to 1/250 s",
	Params: []audit.Param{
		{
			Name: "sync-speed", Unit: "s", Doc: "the shortest exposure time at which the flash lights the whole picture",
			Default: 1.0 / 250, Min: 1.0 / 8000, Max: 1.0 / 30,
		},
		smallestSensor, evidence.Tolerance,
	},
	Check: checkSyncSpeed,
}

func checkSyncSpeed(v *audit.Review) error {
	q := v.Sequence
	if coveredByCurtain(v) {
		return nil
	}
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
		Severity: audit.Note,
		Message: fmt.Sprintf("%sthe flash fired at %s, where shutters sync up to %s: part of the frame may be dark",
			which(q, short), times(short), writeTime(v.Param("sync-speed"))),
		Action:   "inspect the frames for a dark band; if there is one, shoot again at the sync speed or longer",
		Frames:   short,
		Measured: exifread.Of(shortest), Limit: exifread.Of(v.Param("sync-speed")), Unit: "s",
	})
	return nil
}

// coveredByCurtain finds the frames with flash that have a dark band along a long edge,
// by their pictures. Where these have no answer they leave the exposure time to be judged.
func coveredByCurtain(v *audit.Review) bool {
	q := v.Sequence
	edges, _ := edgeBands(v, true)
	if len(edges) == 0 {
		return false
	}
	found := edgeBandFinding(q, edges, "the shutter covered it while the flash fired", "shoot again with a longer exposure time")
	// A frame is compared with those on both sides of it.
	found.Provisional = !slices.ContainsFunc(edges, func(e pixels.EdgeBand) bool { return e.Frame > 0 && e.Frame+2 < len(q.Frames) })
	v.Found(found)
	return true
}

// edgeBands returns the dark bands along a long edge in frames of which the flash fired,
// or did not, and why nothing is known of any.
func edgeBands(v *audit.Review, fired bool) ([]pixels.EdgeBand, string) {
	j, why := evidence.Seen(v)
	if j == nil {
		return nil, why
	}
	var list []pixels.EdgeBand
	for _, e := range j.Bands.Edges {
		lit := evidence.Fired(v.Sequence.Frames[e.Frame].Meta()) || v.Options.Light == audit.FlashLight
		if lit == fired {
			list = append(list, e)
		}
	}
	return list, j.Bands.Reason
}
