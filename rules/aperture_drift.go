package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var apertureDrift = &audit.Rule{
	ID:       "aperture-drift",
	Title:    "F-number changes",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence or time-lapse whose f-number differs by 1/6 EV or
more from that of the other frames.

Depth of field and brightness change with it: merged pictures get patches, and clips
flicker.

Set the f-number by hand, check whether the ring or dial was touched, and shoot the
sequence again.

Some lenses report the working f-number, which rises as focus comes nearer. That is no
change where prestrike.toml declares it for the lens or the body. The recorded distance and
the lens's largest opening may show it, too. Otherwise, in a focus sequence, an f-number
that changes in one direction in small steps is not judged.

The finding is wrong where the change is meant.`,
	Source: "JEITA CP-3451 (Exif 2.2) Annex C, p. 122: nominal values; working f-number: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{
		evidence.Tolerance,
		evidence.FocusStep,
		evidence.SetUpPause,
	},
	Check: checkApertureDrift,
}

func checkApertureDrift(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() {
		return nil
	}
	s := evidence.FNumber(v.Param("tolerance"))
	d := s.Of(q.Frames)
	d.Unjudged(v, "no f-number recorded")
	if len(d.Odd) == 0 {
		return nil
	}
	if evidence.AtPause(v, d.Odd) {
		v.Unjudged(evidence.NewSetUp, d.Odd...)
		return nil
	}
	if q.Kind != shoot.TimeLapse {
		walk := evidence.WalksWithFocus(d.Frames, s, v.Param("focus-step"))
		switch evidence.FNumbersOf(v, q.Body, d.Frames[0].Meta()) {
		case audit.FNumbersEffective:
			if walk != evidence.NoWalk {
				return nil
			}
		case audit.FNumbersUnknown:
			if walk == evidence.WalkShown {
				return nil
			}
			if walk == evidence.WalkLikely {
				v.Unjudged("the f-number changes with focus; the lens may report the working f-number", d.Frames...)
				return nil
			}
		}
	}
	found := audit.Finding{
		Message:  d.SentenceIn(q, s, "the f-number"),
		Action:   "set the f-number by hand and shoot the sequence again",
		Frames:   d.About(),
		Measured: exifread.Of(d.Most), Limit: exifread.Of(v.Param("tolerance")), Unit: "EV",
	}
	if p := evidence.AutomaticProgram(d.Frames); p != "" && p != evidence.AperturePriority {
		found.Message += "; the camera was on " + p
	}
	v.Found(found)
	return nil
}
