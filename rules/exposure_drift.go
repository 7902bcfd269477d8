package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

var exposureDrift = &audit.Rule{
	ID:       "exposure-drift",
	Title:    "exposure time changes within a run",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence or time-lapse whose exposure time differs by 1/6
EV or more from that of the rest of their run.

A change of a third of a stop is always seen: merged pictures get patches, clips
flicker.

Set the exposure by hand and shoot this sequence again. In a clip the brightness
can also be evened out afterwards, frame by frame.

It is wrong where the exposure was led on purpose, as into the night. Nominal times
that stand for the same step, such as 1/60 s and 1/64 s, are no change.`,
	Source: "JEITA CP-3451 (Exif 2.2) Annex C, p. 122: nominal values; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{tolerance},
	Check:  checkExposureDrift,
}

func checkExposureDrift(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() {
		return nil
	}
	s := exposureTime(v.Param("tolerance"))
	d := s.of(q.Frames)
	d.unjudged(v, "no exposure time recorded")
	if len(d.odd) == 0 {
		return nil
	}
	if atPause(q, d.odd) {
		v.Unjudged(newSetUp, d.odd...)
		return nil
	}
	found := audit.Finding{
		Message:  d.say(s, "the exposure time", q.Frames),
		Action:   "set the exposure by hand and shoot this sequence again",
		Frames:   d.about(),
		Measured: exifread.Of(d.most), Limit: exifread.Of(v.Param("tolerance")), Unit: "EV",
	}
	if p := automaticProgram(d.frames); p != "" {
		found.Message += "; the camera was on " + p
	}
	if q.Kind == shoot.TimeLapse {
		found.Action = "even out the brightness of the frames, or set the exposure by hand and shoot the clip again"
	}
	v.Found(found)
	return nil
}
