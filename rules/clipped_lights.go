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

var clippedLights = &audit.Rule{
	ID:       "clipped-lights",
	Title:    "Lights clipped to white",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures: finds focus sequences in which more of the textured area is
clipped to white than in the other sequences of the same camera, lens and settings in the
session.

A lamp stands closer, a flash gives more light, or a smooth part reflects the lamp. What is
white in all frames has no texture in the merged picture.

Inspect the frame named at 100 %. If texture is missing where you need it, move or dim the
light, and shoot the sequence again.

It is a note, as previews are clipped earlier than raw files, by about 1 EV, and as
highlights on a shiny subject are ordinary: small ones do not reach the share, and large
ones may be meant. The textured area is where a frame shows detail, and what lies inside it.
A white background does not count, nor does its edge; so what is white up to the border of
the picture is not found. A sequence without clipped parts is fine without others to compare
it with.`,
	Source: "the upper end of the scale: common practice; the share: counted on rendered sequences and on real pictures; the margin of raw files: from memory",
	Params: []audit.Param{
		{
			Name: "share", Doc: "the largest share of the textured area that may be clipped, whatever others have",
			Default: 0.02, Min: 0, Max: 1,
		},
		{
			Name: "times", Doc: "more is a finding from this many times what the others have",
			Default: 3, Min: 1, Max: 100,
		},
		{
			Name: "sisters", Unit: "sequences", Doc: "this many others must have been inspected",
			Default: 2, Min: 1, Max: 2 * sisterReach,
		},
	},
	Check: checkClippedLights,
}

func checkClippedLights(v *audit.Review) error {
	q := v.Sequence
	if !stack(q) {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Lights.Verdict) || j.Lights.Share <= v.Param("share") {
		return nil
	}
	others := sisterLights(v)
	if float64(len(others)) < v.Param("sisters") {
		v.Unjudged("part of the picture is clipped to white, and too few other sequences of these settings were inspected to compare it with")
		return nil
	}
	// The lesser of the two in the middle: of two others, one may be clipped too.
	usual := others[(len(others)-1)/2]
	limit := max(v.Param("share"), v.Param("times")*usual)
	if j.Lights.Share <= limit {
		return nil
	}
	f := q.Frames[j.Lights.Frame]
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s %% of the textured area is clipped to white (largest patch: %s), where the %d other sequences with these settings usually have %s %%",
			twoFigures(100*j.Lights.Share), partOf(f, j.Lights.Box), len(others), twoFigures(100*usual)),
		Action:   fmt.Sprintf("inspect %s there at 100 %%; if texture is missing, move or dim the light and shoot the sequence again", f.Label()),
		Frames:   q.Frames,
		Closest:  []*shoot.Frame{f},
		Region:   audit.Region(j.Lights.Box),
		Measured: exifread.Of(100 * j.Lights.Share), Limit: exifread.Of(100 * limit), Unit: "%",
	})
	return nil
}

// sisterLights returns which shares of the textured area are clipped in the other sequences
// of the camera, lens and settings, up to sisterReach on either side, the least first.
func sisterLights(v *audit.Review) []float64 {
	var shares []float64
	before, behind := sisters(v.Session.Sequences, v.Sequence)
	for _, o := range append(before, behind...) {
		p, ok := v.Pictured[o].(*pixels.Seen)
		if ok && o.Kind == v.Sequence.Kind && evidence.SameSettings(o, v.Sequence) && p.Judgement.Lights.Answer != pixels.CannotTell {
			shares = append(shares, p.Judgement.Lights.Share)
		}
	}
	slices.Sort(shares)
	return shares
}
