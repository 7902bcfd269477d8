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
