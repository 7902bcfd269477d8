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
	Title:    "Focal length changes",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence, time-lapse or exposure bracket with another focal
length than the other frames.

The subject changes its size from frame to frame, and the edges are lost in merging.
A zoom ring creeps when the camera points down.

Fasten the zoom ring with tape and shoot the sequence again.

Some lenses record their true focal length, which changes as they focus. Nothing is
reported for a lens of one focal length (LensSpecification): it has no ring that could
creep. Nothing is reported either where the focal length follows a straight line over the
inverse of the recorded distance, within the rounding of both. Where it only moves one way
with the distance, it is a note: the lens may do that, or the ring may creep.

The finding is wrong where the zoom was meant.`,
	Source: "CIPA DC-008 (Exif), FocalLength and LensSpecification; common practice",
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
	follows := evidence.FocalLengthFollows(d.Frames)
	if allPrime(d.Frames) || follows == evidence.FollowsStraight {
		return nil
	}
	found := audit.Finding{
		Message:  d.Sentence(s, "the focal length", q.Frames),
		Action:   "fasten the zoom ring and shoot the sequence again",
		Frames:   d.About(),
		Measured: exifread.Of(percent * math.Expm1(d.Most/percent)), Limit: exifread.Of(v.Param("change")), Unit: "%",
	}
	if follows == evidence.FollowsOneWay {
		found.Severity = audit.Note
		found.Message += ", and follows the focus distance"
		found.Action = "check whether the subject changes its size in the pictures; if it does, fasten the zoom ring"
	}
	v.Found(found)
	return nil
}

// allPrime reports whether each frame records a lens of one focal length, and all
// record the same one.
func allPrime(frames []*shoot.Frame) bool {
	first := frames[0].Meta().LensSpecification
	for _, f := range frames {
		s, ok := f.Meta().LensSpecification.Get()
		if !ok || f.Meta().LensSpecification != first || !s.MinFocal.Known() || s.MinFocal != s.MaxFocal {
			return false
		}
	}
	return true
}
