package rules

import (
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var nearEdge = &audit.Rule{
	ID:       "near-edge",
	Title:    "Front may not be sharp",
	Severity: audit.Check,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures of a focus sequence. Finds a textured part that is sharpest in the
frame focused nearest, and would have become sharper still.

What is nearer than that is sharp in no frame.

Inspect that part of the frame at 100 %. If the part belongs to the subject and is not
sharp, make the number of frames named. Begin at the first frame and go nearer, with the
same steps and settings. They close the finding if their pictures cover the end. If the
camera moved, shoot the sequence again and begin that many frames earlier.

The rule cannot know what the subject is. A table or a leaf in front of it that nobody needs
is found, too. So a small area along the border of the frame is a note, which the last line
of the report still names. The finding is a check in three cases. The area is large. Or it
lies in the middle of the frame, where the subject is. Or three other sequences of the same
camera, lens and settings covered that end, and none left it out. A part far outside the
sequence is blurred in every frame and cannot be found. Smooth and noisy subjects cannot be
judged. Where no focus distance is recorded, the first frame counts as the nearest.`,
	Source: "Nayar and Nakagawa, Shape from focus, IEEE TPAMI 16(8), 1994 (focus measure and its peak); share and patch chosen on rendered sequences; what counts as large and as the border: common practice",
	Params: edgeParams,
	Check:  func(v *audit.Review) error { return checkEdge(v, true) },
}

var edgeParams = []audit.Param{
	{
		Name: "share", Doc: "the smallest share of the textured area that was still getting sharper",
		Default: 0.03, Min: 0.03, Max: 1,
	},
	{
		Name: "large", Doc: "from this share on it is a check wherever the area lies",
		Default: 0.1, Min: 0.03, Max: 1,
	},
	{
		Name: "border", Doc: "an area within this share of the frame's sides lies along its border",
		Default: 0.05, Min: 0, Max: 0.5,
	},
}

// checkEdge judges the near or the far end of a focus sequence.
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
	part := "the back"
	if near {
		part = "the front"
	}
	e, end, action := j.First, "first", "shoot the sequence again and begin at least %s earlier"
	if !first {
		e, end, action = j.Last, "last", "shoot the sequence again and go on for at least %s more"
	}
	if j.Habit.Outwards != nil {
		end, action = "outermost", "shoot it again and go on for at least %s more on that side"
	}
	at := 0
	if !first {
		at = len(q.Frames) - 1
	}
	if e.Reason == pixels.ReasonEnd && evidence.LacksPicture(v, at) {
		return nil // which is reported already
	}
	if !evidence.Tells(v, e.Verdict) || e.Share < v.Param("share") {
		return nil
	}
	f := q.Frames[e.Frame]
	severity := audit.Note
	if e.Share >= v.Param("large") || !alongBorder(e.Box, v.Param("border")) {
		severity = audit.Check
	}
	among := ""
	if n := coveredBySiblings(v, near); severity == audit.Note && n >= coveredSiblings {
		severity = audit.Check
		among = fmt.Sprintf(", which %d other sequences like it covered", n)
	}
	action = fmt.Sprintf(action, words.Count(int(math.Ceil(max(1, e.More))), "frame", "frames"))
	var holes []audit.Hole
	if h, patch, ok := patchForEnd(v, !first, near, e.More); ok {
		holes, action = []audit.Hole{h}, patch
	}
	v.Found(audit.Finding{
		Severity: severity, Look: part, Holes: holes, Region: audit.Region(e.Box),
		Message: fmt.Sprintf("%s of the textured area (%s) was still getting sharper in the %s frame, %s%s",
			percent(e.Share), partOf(f, e.Box), end, f.Label(), among),
		Action:   "inspect it at 100 %; if it is not sharp, " + action,
		Frames:   []*shoot.Frame{f},
		Measured: exifread.Of(100 * e.Share), Limit: exifread.Of(100 * v.Param("share")), Unit: "% of the textured area",
	})
	return nil
}

// coveredSiblings is how many siblings must have covered an end, and none not, before an
// area that was left out is more than a background: two may be alike by chance, three
// show that the photographer goes on to the end there.
const coveredSiblings = 3

// coveredBySiblings counts the sequences of the same camera, lens and settings, up to
// sisterReach on either side, whose pictures show that nothing was still getting sharper
// at one end; 0 where one of them ended as this one does.
func coveredBySiblings(v *audit.Review, near bool) int {
	n := 0
	before, behind := sisters(v.Session.Sequences, v.Sequence)
	for _, o := range append(slices.Clone(before), behind...) {
		p, ok := v.Pictured[o].(*pixels.Seen)
		if !ok || o.Kind != v.Sequence.Kind || !evidence.SameSettings(o, v.Sequence) {
			continue
		}
		e := p.Judgement.Last
		if evidence.NearFirst(o) == near {
			e = p.Judgement.First
		}
		switch {
		case e.Answer == pixels.Found && e.Share >= v.Param("share"):
			return 0
		case e.Answer == pixels.Fine:
			n++
		}
	}
	return n
}

// alongBorder reports whether a box reaches the border of the frame, within a share of
// its sides: a table before the subject or a background behind it does, a part of the
// subject in the middle does not.
func alongBorder(b pixels.Box, within float64) bool {
	return b.X0 <= within || b.Y0 <= within || b.X1 >= 1-within || b.Y1 >= 1-within
}
