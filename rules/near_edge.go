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

var nearEdge = &audit.Rule{
	ID:       "near-edge",
	Title:    "a focus sequence begins behind the nearest point",
	Severity: audit.Note,
	Doc: `Looks at the pictures: finds focus sequences in which part of the textured area is
sharpest in the frame focused nearest, and would have become sharper still.

What lies nearer than that is sharp in no frame.

Look at that part of the frame at 100 %. If it is subject and not sharp, shoot the
sequence again and begin so many frames earlier.

It tells what was getting sharper, not what is subject: a table or leaf in front of it
that nobody needs is found too, so it is a note. Where only the subject has texture, as
in a light tent, make it a check in the configuration. Subject that lies far outside
the sequence stays blurred in every frame and is not seen. Smooth and noisy subjects
cannot be judged. Where no focus distance is recorded, the first frame is taken for
the nearest.`,
	Source: "Nayar and Nakagawa, Shape from focus, IEEE TPAMI 16(8), 1994 (focus measure and its peak); share and patch chosen on rendered sequences",
	Params: edgeParams,
	Check:  func(v *audit.Review) error { return checkEdge(v, true) },
}

var edgeParams = []audit.Param{
	{
		Name: "share", Doc: "the smallest share of the textured area that was still getting sharper",
		Default: 0.03, Min: 0.03, Max: 1,
	},
}

// checkEdge looks at the near or the far end of a focus sequence.
func checkEdge(v *audit.Review, near bool) error {
	q := v.Sequence
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil {
		return nil
	}
	first := evidence.NearFirst(q) == near
	e, end, action := j.First, "first", "begin the sequence at least %s earlier and shoot it again"
	if !first {
		e, end, action = j.Last, "last", "shoot it again and go on for at least %s more"
	}
	if !evidence.Tells(v, e.Verdict) || e.Share < v.Param("share") {
		return nil
	}
	f := q.Frames[e.Frame]
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s of the textured area, %s, was still getting sharper in the %s frame, %s",
			percent(e.Share), partOf(f, e.Box), end, f.Label()),
		Action:   "look there at 100 %; if it is not sharp, " + fmt.Sprintf(action, words.Count(int(math.Ceil(max(1, e.More))), "frame", "frames")),
		Frames:   []*shoot.Frame{f},
		Measured: exifread.Of(100 * e.Share), Limit: exifread.Of(100 * v.Param("share")), Unit: "% of the textured area",
	})
	return nil
}
