package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var softFrame = &audit.Rule{
	ID:       "soft-frame",
	Title:    "Soft frames",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures: finds single frames that are less sharp than the frames before and
after suggest.

The frame was shaken. In a focus sequence, what should be sharp in it stays soft.

Inspect it at 100 %. If it is blurred, shoot the sequence again.

The finding is a note. The rule finds about nine in ten shakes of 2.5 pixels and more of a
picture 1,600 wide, and half of those of 1.5 to 2.5. A small loss counts where it has one
direction, as a shake has and defocus has not. Without a direction, a frame must be softer
than both neighbours: uneven steps of focus do not cause that. Two frames that changed
places may give the same sign. First and last frames are never found.`,
	Source: "Pertuz, Puig and Garcia, Pattern Recognition 46(5), 2013 (focus measures under noise); Bigün and Granlund, ICCV 1987 (structure tensor); limits chosen on rendered sequences",
	Params: []audit.Param{
		{
			Name: "loss", Doc: "the smallest loss of sharpness, as a share of what the neighbours have",
			Default: 0.11, Min: 0.11, Max: 1,
		},
	},
	Check: checkSoftFrame,
}

func checkSoftFrame(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil || !evidence.Tells(v, j.Soft.Verdict) {
		return nil
	}
	var frames []*shoot.Frame
	worst := 0.0
	for _, e := range j.Soft.Events {
		if e.Loss >= v.Param("loss") {
			frames = append(frames, q.Frames[e.Frame])
			worst = max(worst, e.Loss)
		}
	}
	if len(frames) == 0 {
		return nil
	}
	is := "is"
	if len(frames) > 1 {
		is = "are"
	}
	v.Found(audit.Finding{
		Message:  fmt.Sprintf("%s %s softer than the frames before and after", shoot.FrameRanges(q.Frames, frames), is),
		Action:   "inspect the picture at 100 %; if it is blurred, shoot the sequence again",
		Frames:   frames,
		Measured: exifread.Of(worst), Limit: exifread.Of(v.Param("loss")),
	})
	return nil
}
