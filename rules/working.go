package rules

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/rules/evidence"
)

// WorkingFNumbers answers the f-numbers that the sensor sees in the frames of the
// review's sequence. A frame is left out where its
// magnification is not known, or where the f-number that it records may be the one
// that is set as well as the working one, and the two differ.
func WorkingFNumbers(v *audit.Review) map[*shoot.Frame]float64 {
	list, _ := evidence.Openings(v)
	found := make(map[*shoot.Frame]float64, len(list))
	for _, o := range list {
		if o.Kind == audit.FNumbersEffective || evidence.Known(o.M.M) && !o.TwoReadings() {
			found[o.Frame] = o.Working
		}
	}
	return found
}

// FocusFNumber answers which f-number the middle frame of a focus sequence records, and
// which kind it is: as declared, as the frames of the session show, or the working one where
// it moves as that does while focus walks. It is 0 where the frames record none.
func FocusFNumber(v *audit.Review) (n float64, kind audit.FNumbers) {
	list, _ := evidence.Openings(v)
	if len(list) == 0 {
		return 0, audit.FNumbersUnknown
	}
	o := list[len(list)/2]
	if o.Kind == audit.FNumbersUnknown && evidence.FNumberWalk(v, v.Sequence) >= evidence.WalkLikely {
		o.Kind = audit.FNumbersEffective
	}
	return o.Marked, o.Kind
}
