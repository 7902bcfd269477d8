package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var isoDrift = &audit.Rule{
	ID:       "iso-drift",
	Title:    "ISO changes within a run",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence or time-lapse whose ISO differs from that of the
rest of their run.

Such frames are noisier and, at the same exposure time and f-number, brighter or
darker than their neighbours: merged pictures get patches, clips flicker.

Turn automatic ISO off and shoot this sequence again.

It is wrong where the change is meant. Values are compared within one kind of
sensitivity only, because bodies do not record them alike.`,
	Source: "CIPA DC-008 (Exif), PhotographicSensitivity and SensitivityType; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{evidence.Tolerance, evidence.SetUpPause},
	Check:  checkISODrift,
}

func checkISODrift(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() {
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
	v.Found(audit.Finding{
		Message:  d.Say(s, "ISO", q.Frames),
		Action:   "turn automatic ISO off and shoot this sequence again",
		Frames:   d.About(),
		Measured: exifread.Of(d.Most), Limit: exifread.Of(v.Param("tolerance")), Unit: "EV",
	})
	return nil
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
