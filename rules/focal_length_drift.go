package rules

import (
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var focalLengthDrift = &audit.Rule{
	ID:       "focal-length-drift",
	Title:    "focal length changes within a run",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence, time-lapse or exposure bracket with another focal
length than the rest of their run.

The subject changes its size from frame to frame, and the edges are lost in merging.
A zoom ring creeps when the camera looks down.

Fix the zoom ring with tape and shoot this sequence again.

It is wrong where the zoom was meant, or where a lens reports a focal length that
changes with focus: differences under the limit are left alone for that.`,
	Source: "CIPA DC-008 (Exif), FocalLength; common practice",
	Params: []audit.Param{
		{
			Name: "change", Unit: "%",
			Doc:     "a smaller change is the rounding of the lens",
			Default: 1, Min: 0, Max: 50,
		},
		evidence.SetUpPause,
	},
	Check: checkFocalLengthDrift,
}

func checkFocalLengthDrift(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() && q.Kind != shoot.Bracket {
		return nil
	}
	const percent = 100
	s := evidence.Setting[exifread.Rational]{
		Read:   func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return evidence.Exact(m.FocalLength) },
		Write:  shoot.FormatFocalLength,
		Scale:  func(f exifread.Rational) float64 { return percent * math.Log(f.Float()) },
		Within: percent * math.Log1p(v.Param("change")/percent),
	}
	d := s.Of(q.Frames)
	d.Unjudged(v, "no focal length recorded")
	if len(d.Odd) == 0 {
		return nil
	}
	if evidence.AtPause(v, d.Odd) {
		v.Unjudged(evidence.NewSetUp, d.Odd...)
		return nil
	}
	v.Found(audit.Finding{
		Message:  d.Say(s, "the focal length", q.Frames),
		Action:   "fix the zoom ring and shoot this sequence again",
		Frames:   d.About(),
		Measured: exifread.Of(percent * math.Expm1(d.Most/percent)), Limit: exifread.Of(v.Param("change")), Unit: "%",
	})
	return nil
}
