package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var exposureDrift = &audit.Rule{
	ID:       "exposure-drift",
	Title:    "Exposure time changes",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence or time-lapse whose exposure time differs by 1/6
EV or more from that of the other frames.

A change of a third of a stop is always visible: merged pictures get patches, and clips
flicker.

Set the exposure by hand and shoot the sequence again. In a clip the brightness can also
be evened out afterwards, frame by frame.

In a time-lapse whose exposure goes one way in small steps, as into the evening, the finding
is a note.

The finding is wrong where the exposure was changed on purpose. Nominal times of one step,
such as 1/60 s and 1/64 s, count as equal.`,
	Source: "JEITA CP-3451 (Exif 2.2) Annex C, p. 122: nominal values; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{evidence.Tolerance, evidence.SetUpPause},
	Check:  checkExposureDrift,
}

func checkExposureDrift(v *audit.Review) error {
	q := v.Sequence
	// Where each focus position has several exposures they are the same ones, or it
	// would be no such sequence.
	if !q.Kind.Steady() || q.PositionExposures > 0 {
		return nil
	}
	s := evidence.ExposureTime(v.Param("tolerance"))
	d := s.Of(q.Frames)
	d.Unjudged(v, "no exposure time recorded")
	if len(d.Odd) == 0 {
		return nil
	}
	if evidence.AtPause(v, d.Odd) {
		v.Unjudged(evidence.NewSetUp, d.Odd...)
		return nil
	}
	found := audit.Finding{
		Message:  d.SentenceIn(q, s, "the exposure time"),
		Action:   "set the exposure by hand and shoot the sequence again",
		Frames:   d.About(),
		Measured: exifread.Of(d.Most), Limit: exifread.Of(v.Param("tolerance")), Unit: "EV",
	}
	if p := evidence.AutomaticProgram(d.Frames); p != "" {
		found.Message += "; the camera was on " + p
	}
	if q.Kind == shoot.TimeLapse {
		found.Action = "even out the brightness of the frames, or set the exposure by hand and shoot the clip again"
	}
	switch evidence.CourseOf(q, v.Param("tolerance")) {
	case evidence.Climbs:
		asRamp(&found, d.RampSentence(s, "the exposure time"), d.Frames)
	case evidence.MayClimb:
		found.Provisional = true
	}
	v.Found(found)
	return nil
}
