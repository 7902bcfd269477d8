package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var subjectMoved = &audit.Rule{
	ID:       "subject-moved",
	Title:    "Part of the subject moves",
	Severity: audit.Check,
	Shows:    audit.ShowPair,
	Doc: `Inspects the pictures of a focus sequence. Finds a part of the subject that moves from one
frame to the next: a leaf, a drop, a specimen that sags. The rest does not move.

Where that part is sharp in frames before and after, it shows double in the merged
picture.

Inspect the two frames at 100 %. If the part moved, fasten it, wait until it rests, and shoot
the sequence again.

Only what is sharp in both frames is inspected, and no clipped highlights. A part must be
about an eighth of the picture wide; of those that move, a little more than half are
found. Slow motion, as of a plant that turns, is not. On a rail, near things move farther
than far ones from frame to frame: that is expected, as it goes on.

In a series that may as well be a time-lapse the finding is a note, as things may move
there. A move of less than a pixel of the file is a note, too. So is that of a very small
part, as noise or an edge between near and far may show the same.`,
	Source: "Baker and Matthews, Lucas-Kanade 20 years on, IJCV 56(3), 2004 (registration of parts); limits chosen on rendered sequences",
	Params: []audit.Param{{
		Name: "shift", Unit: "px", Doc: "the smallest shift of a part, in pixels of a picture with a long side of 1,600",
		Default: 1.5, Min: 1.5, Max: 100,
	}},
	Check: checkSubjectMoved,
}

func checkSubjectMoved(v *audit.Review) error {
	q := v.Sequence
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return nil // a clip may show what moves, and a bracket's pictures are not compared part by part
	}
	if q.Support == shoot.Handheld {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Subject.Verdict) {
		return nil
	}
	all := slices.DeleteFunc(slices.Clone(j.Subject.Events), func(e pixels.PartMove) bool {
		return evidence.InLong(j, e.Pixels()) < v.Param("shift")
	})
	if len(all) == 0 {
		return nil
	}
	sure := func(e pixels.PartMove) bool { // a pixel of the file is the least that shows
		return e.Sure && q.Kind == shoot.Focus && evidence.FullSize(q, j, e.Pixels()) >= 1
	}
	worst := all[0]
	var frames []*shoot.Frame
	links := map[int]bool{}
	for _, e := range all {
		frames = append(frames, q.Frames[e.From], q.Frames[e.To])
		links[e.From] = true
		if sure(e) && !sure(worst) || sure(e) == sure(worst) && e.Pixels() > moreMoved*worst.Pixels() {
			worst = e
		}
	}
	from, to := q.Frames[worst.From], q.Frames[worst.To]
	severity := audit.Note
	if sure(worst) {
		severity = audit.Check
	}
	found := audit.Finding{
		Severity: severity,
		Message: fmt.Sprintf("a part of the picture (%s) moves between %s and %s by %s, and the rest does not",
			partOf(from, worst.Box), from.Label(), to.Label(), writePixels(evidence.FullSize(q, j, worst.Pixels()))),
		Look:     "frames " + from.Label() + " and " + to.Label(),
		Action:   "inspect the two frames at 100 %; if that part of the subject moved, fasten it and shoot the sequence again",
		Frames:   evidence.InOrder(q, frames),
		Closest:  []*shoot.Frame{from, to},
		Region:   audit.Region(worst.Box),
		Measured: exifread.Of(evidence.InLong(j, worst.Pixels())), Limit: exifread.Of(v.Param("shift")), Unit: "px of a picture 1,600 wide",
	}
	switch n := len(links); {
	case n == 2 && !worst.Lasting:
		found.Message += "; it comes back soon after"
	case n > 1:
		found.Message += fmt.Sprintf("; and in %s", words.Count(n-1, "other place", "other places"))
	}
	v.Found(found)
	return nil
}
