package rules

import "prestrike/audit"

var farEdge = &audit.Rule{
	ID:       "far-edge",
	Title:    "Back may not be sharp",
	Severity: audit.Check,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures of a focus sequence. Finds a textured part that is sharpest in the
frame focused farthest, and would have become sharper still.

What is farther away than that is sharp in no frame.

Inspect that part of the frame at 100 %. If the part belongs to the subject and is not
sharp, make the number of frames named. Begin at the last frame and go farther, with the
same steps and settings. They close the finding if their pictures cover the end. If the
camera moved, shoot the sequence again and go on for that many frames.

The rule cannot know what the subject is. A background just behind it is found, too. So a
small area along the border of the frame is a note, which the last line of the report still
names. The finding is a check in three cases. The area is large. Or it lies in the middle of
the frame, where the subject is. Or three other sequences of the same camera, lens and
settings covered that end, and none left it out. A part far outside the sequence is blurred
in every frame and cannot be found. Smooth and noisy subjects cannot be judged. Where no
focus distance is recorded, the last frame counts as the farthest.`,
	Source: nearEdge.Source,
	Params: edgeParams,
	Check:  func(v *audit.Review) error { return checkEdge(v, false) },
}
