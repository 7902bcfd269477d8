package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/rules/evidence"
)

var autoExposure = &audit.Rule{
	ID:       "auto-exposure",
	Title:    "Automatic exposure",
	Severity: audit.Note,
	Shows:    audit.ShowNothing,
	Doc: `Finds focus sequences and time-lapses whose exposure the camera chose, although it
chose the same for every frame.

It went well this time. The next sequence may drift as a hand, a reflection or a
cloud changes what the camera measures.

Set the exposure by hand before the next sequence. Nothing needs to be shot again.

Where the exposure did change, exposure-drift, aperture-drift or iso-drift reports it, and
this rule does not. The finding is wrong where automatic exposure is meant.`,
	Source: "CIPA DC-008 (Exif), ExposureProgram; everything by hand in a sequence: common practice",
	Check:  checkAutoExposure,
}

func checkAutoExposure(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() || exposureMoves(v) {
		return nil
	}
	var automatic, unknown []*shoot.Frame
	word := ""
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		switch p, ok := evidence.Program(f.Meta()); {
		case !ok:
			unknown = append(unknown, f)
		case p != "":
			automatic = append(automatic, f)
			word = p
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no exposure program recorded", unknown...)
	}
	if len(automatic) == 0 {
		return nil
	}
	which := "the camera was"
	if len(automatic)+len(unknown) < len(q.Frames) {
		which = shoot.FrameRanges(q.Frames, automatic) + ": the camera was"
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s on %s; the exposure stayed the same this time", which, word),
		Action:  "set the exposure by hand before the next sequence",
		Frames:  automatic,
	})
	return nil
}

// exposureMoves reports whether one of the drift rules finds a change.
func exposureMoves(v *audit.Review) bool {
	frames := v.Sequence.Frames
	same, _ := oneSensitivityType(frames)
	return len(evidence.ExposureTime(v.ParamOf("exposure-drift", evidence.Tolerance)).Of(frames).Odd) > 0 ||
		len(evidence.FNumber(v.ParamOf("aperture-drift", evidence.Tolerance)).Of(frames).Odd) > 0 ||
		len(evidence.Sensitivity(v.ParamOf("iso-drift", evidence.Tolerance)).Of(same).Odd) > 0
}
