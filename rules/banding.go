package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var banding = &audit.Rule{
	ID:       "banding",
	Title:    "Bands across the pictures",
	Severity: audit.Check,
	Doc: `Inspects the pictures: finds bands along the long side that one frame has and its
neighbour has not.

Bright and dark bands in turn come from lamps that pulse, while an electronic shutter
reads line by line or a curtain passes. A dark band along one edge comes from a shutter
curtain that sticks. Merged pictures keep such bands, and clips flicker.

Inspect the frames named. Use lamps that do not pulse or a longer exposure time, and
shoot the sequence again.

Bands that all frames share cannot be found. Bands must be wider than about 6 % of the
height of a large preview, or 13 % of a small one. Dark bands in frames with flash are
reported by sync-speed.`,
	Source: "IEC 61966-2-1 (tone curve); limits chosen on rendered sequences",
	Params: []audit.Param{{
		Name: "depth", Unit: "EV", Doc: "the smallest difference between the darkest and the brightest line",
		Default: pixels.RippleEV, Min: pixels.RippleEV, Max: 5,
	}},
	Check: checkBanding,
}

func checkBanding(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Bracket || q.Kind == shoot.Single {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Bands.Verdict) {
		return nil
	}
	if edges, _ := edgeBands(v, false); len(edges) > 0 {
		v.Found(edgeBandFinding(q, edges, "the neighbours have none", "inspect the frames; if nothing was in the light, have the shutter inspected, and shoot the sequence again"))
	}
	var worst pixels.Ripple
	var frames []*shoot.Frame
	for _, r := range j.Bands.Ripples {
		if r.EV < v.Param("depth") {
			continue
		}
		frames = append(frames, q.Frames[r.From], q.Frames[r.To])
		if r.EV > worst.EV {
			worst = r
		}
	}
	if len(frames) == 0 {
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("from %s to %s, lines get darker and brighter in turn, by about %s",
			q.Frames[worst.From].Label(), q.Frames[worst.To].Label(), writeEV(worst.EV)),
		Action:   "use lamps that do not pulse or a longer exposure time, and shoot the sequence again",
		Frames:   evidence.InOrder(q, frames),
		Measured: exifread.Of(worst.EV), Limit: exifread.Of(v.Param("depth")), Unit: "EV",
	})
	return nil
}

// edgeBandFinding makes the finding on bands along a long edge, of one or more, with
// why they are there and what to do.
func edgeBandFinding(q *shoot.Sequence, edges []pixels.EdgeBand, why, action string) audit.Finding {
	worst := edges[0]
	var frames []*shoot.Frame
	for _, e := range edges {
		frames = append(frames, q.Frames[e.Frame])
		if e.EV > worst.EV {
			worst = e
		}
	}
	return audit.Finding{
		Title: "Dark band",
		Message: fmt.Sprintf("%s %s a dark band along a long edge, over %s of the picture and about %s darker; %s",
			shoot.FrameRanges(q.Frames, frames), words.Plural(len(frames), "has", "have"), percent(worst.Share), writeEV(worst.EV), why),
		Action:   action,
		Frames:   frames,
		Measured: exifread.Of(worst.EV), Limit: exifread.Of(pixels.BandEV), Unit: "EV",
	}
}
