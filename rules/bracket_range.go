package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var bracketRange = &audit.Rule{
	ID:       "bracket-range",
	Title:    "Bracket too short",
	Severity: audit.Note,
	Doc: `Inspects the pictures of exposure brackets. Finds those in which part of the textured area
is clipped even in the darkest frame. Also finds those in which part of it stays in the
lowest 2 % of the scale even in the brightest frame.

What no frame shows between the ends of the scale has no texture in the merged picture.

Inspect the frame named at 100 %. If texture is missing where you need it, shoot the
bracket again with one more frame at that end.

The finding is a note, as previews are clipped earlier than raw files, by about 1 EV. And a
lamp or a reflection in the picture may be meant to be white. The textured area is where a
frame shows detail, and what lies inside it. A plain white or black background that reaches
the border of the picture does not count. Smooth subjects and brackets of several views in
one sequence cannot be judged.`,
	Source: "the two ends of the scale and the share: common practice; the margin of raw files: from memory",
	Params: []audit.Param{{
		Name: "share", Doc: "the largest share of the textured area at an end of the scale",
		Default: 0.01, Min: 0, Max: 1,
	}},
	Check: checkBracketRange,
}

func checkBracketRange(v *audit.Review) error {
	q := v.Sequence
	if q.Kind != shoot.Bracket {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Range.Verdict) {
		return nil
	}
	if n := len(j.PerFrame); n > oneBracket && j.PerFrame[n-1].Chain > 0 {
		v.Unjudged("the frames do not all show one view")
		return nil
	}
	report := func(share float64, frame int, message, action string) {
		if share <= v.Param("share") {
			return
		}
		f := q.Frames[frame]
		v.Found(audit.Finding{
			Message:  fmt.Sprintf(message, f.Label(), percent(share)),
			Action:   action,
			Frames:   []*shoot.Frame{f},
			Measured: exifread.Of(100 * share), Limit: exifread.Of(100 * v.Param("share")), Unit: "%",
		})
	}
	report(j.Range.High, j.Range.Darkest, "even the darkest frame, %s, clips %s of the textured area to white",
		"inspect it at 100 %; if texture is missing, shoot the bracket again with one more darker frame")
	report(j.Range.Low, j.Range.Brightest, "even the brightest frame, %s, leaves %s of the textured area in the lowest 2 %% of the scale",
		"inspect it at 100 %; if texture is missing, shoot the bracket again with one more brighter frame")
	return nil
}

// oneBracket is more frames than one bracket of one view has: nine, 1 EV apart, span what
// any sensor records.
const oneBracket = 9
