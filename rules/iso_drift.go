package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var isoDrift = &audit.Rule{
	ID:       "iso-drift",
	Title:    "ISO changes",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence or time-lapse whose ISO differs from that of the
other frames.

Such frames are noisier. At the same exposure time and f-number they are also brighter or
darker than their neighbours: merged pictures get patches, and clips flicker.

Turn automatic ISO off and shoot the sequence again.

In a time-lapse whose exposure goes one way in small steps, as into the evening, the finding
is a note. It is also a note in handheld frames whose ISO changes by less than 1 EV: noise
hardly differs there, and each frame is exposed correctly.

The finding is wrong where the change is meant. Values are only compared within one kind of
sensitivity, because cameras do not record them alike.`,
	Source: "CIPA DC-008 (Exif), PhotographicSensitivity and SensitivityType; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{
		evidence.Tolerance, evidence.SetUpPause,
		{
			Name: "by-hand", Unit: "EV", Doc: "the smallest change in handheld frames that is a check",
			Default: 1, Min: 0, Max: 10,
		},
	},
	Check: checkISODrift,
}

func checkISODrift(v *audit.Review) error {
	q := v.Sequence
	byHand := q.Kind == shoot.Burst || q.Kind.Steady() && q.Support == shoot.Handheld
	if !q.Kind.Steady() && !byHand {
		return nil
	}
	s := evidence.Sensitivity(v.Param("tolerance"))
	frames, others := oneSensitivityType(q.Frames)
	if len(others) > 0 {
		v.Unjudged("another kind of sensitivity is recorded than in most frames", others...)
	}
	d := s.Of(frames)
	d.Unjudged(v, "no ISO recorded")
	if len(d.Odd) == 0 {
		return nil
	}
	if evidence.AtPause(v, d.Odd) {
		v.Unjudged(evidence.NewSetUp, d.Odd...)
		return nil
	}
	found := audit.Finding{
		Message:  d.SentenceIn(q, s, "ISO"),
		Action:   "turn automatic ISO off and shoot the sequence again",
		Frames:   d.About(),
		Measured: exifread.Of(d.Most), Limit: exifread.Of(v.Param("tolerance")), Unit: "EV",
	}
	switch course := evidence.CourseOf(q, v.Param("tolerance")); {
	case course == evidence.Climbs:
		asRamp(&found, d.RampSentence(s, "ISO"), d.Frames)
	case q.Kind == shoot.Burst, byHand && d.Most < v.Param("by-hand"):
		found.Severity = audit.Note
		found.Action = "turn automatic ISO off before the frames are to be merged"
	default:
		found.Provisional = course == evidence.MayClimb
	}
	v.Found(found)
	return nil
}

// asRamp makes a finding the note on a setting that follows the light.
func asRamp(f *audit.Finding, message string, frames []*shoot.Frame) {
	f.Severity, f.Message, f.Frames = audit.Note, message, frames
	f.Action = "even out the brightness of the frames where a step shows; nothing needs to be shot again"
}

// oneSensitivityType splits off the frames that record another
// SensitivityType than most.
func oneSensitivityType(frames []*shoot.Frame) (same, others []*shoot.Frame) {
	counts := map[exifread.Value[exifread.SensitivityType]]int{}
	var usual exifread.Value[exifread.SensitivityType]
	for _, f := range frames {
		if !f.Meta().Sensitivity.Known() {
			continue
		}
		kind := f.Meta().SensitivityType
		counts[kind]++
		if counts[kind] > counts[usual] {
			usual = kind
		}
	}
	for _, f := range frames {
		if f.Meta().Sensitivity.Known() && f.Meta().SensitivityType != usual {
			others = append(others, f)
			continue
		}
		same = append(same, f)
	}
	return same, others
}
