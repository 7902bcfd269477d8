package rules

import "prestrike/audit"

var farEdge = &audit.Rule{
	ID:       "far-edge",
	Title:    "a focus sequence ends before the farthest point",
	Severity: audit.Note,
	Doc: `Looks at the pictures: finds focus sequences in which part of the textured area is
sharpest in the frame focused farthest, and would have become sharper still.

What lies behind that is sharp in no frame.

Look at that part of the frame at 100 %. If it is subject and not sharp, shoot the
sequence again and go on for so many frames more.

It tells what was getting sharper, not what is subject: a background just behind it is
found too, so it is a note. Where only the subject has texture, as in a light tent, make
it a check in the configuration. Subject that lies far outside the sequence stays
blurred in every frame and is not seen. Smooth and noisy subjects cannot be judged.
Where no focus distance is recorded, the last frame is taken for the farthest.`,
	Source: nearEdge.Source,
	Params: edgeParams,
	Check:  func(v *audit.Review) error { return checkEdge(v, false) },
}
