package rules

import "prestrike/audit"

var farEdge = &audit.Rule{
	ID:       "far-edge",
	Title:    "Back may not be sharp",
	Severity: audit.Check,
	Doc: `Looks at the pictures: finds focus sequences in which part of the textured area is
sharpest in the frame focused farthest, and would have become sharper still.

What lies behind that is sharp in no frame.

Look at that part of the frame at 100 %. If it is subject and not sharp, shoot the
sequence again and go on for so many frames more.

It finds what was getting sharper, not what is subject: a background just behind it is
found too. So a small area at the border of the frame is a note, which the last line of
the report still names. It is a check where the area is large, or lies in the middle of
the frame, where the subject is, or where three others of the same camera, lens and
settings covered that end and none did not. Subject that lies far outside the sequence stays
blurred in every frame and is not seen. Smooth and noisy subjects cannot be judged.
Where no focus distance is recorded, the last frame is taken for the farthest.`,
	Source: nearEdge.Source,
	Params: edgeParams,
	Check:  func(v *audit.Review) error { return checkEdge(v, false) },
}
