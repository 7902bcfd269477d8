package shoot

import (
	"math"

	"prestrike/exifread"
)

// Exposures returns by how many EV the settings of each frame make it brighter,
// on a scale of its own: NaN where one lacks that most record, nil where most lack
// one. A lens without contacts has no f-number in any frame, which then stays.
func (s *Sequence) Exposures() []float64 {
	n := len(s.Frames)
	out := make([]float64, n)
	fNumbers, unknown := 0, 0
	for _, f := range s.Frames {
		if exifread.Positive(f.Meta().FNumber) > 0 {
			fNumbers++
		}
	}
	for i, f := range s.Frames {
		m := f.Meta()
		t, fNumber, iso := exifread.Positive(m.ExposureTime), exifread.Positive(m.FNumber), float64(m.Sensitivity.Or(0))
		if fNumbers == 0 {
			fNumber = 1
		}
		if t == 0 || iso == 0 || fNumber == 0 {
			out[i] = math.NaN()
			unknown++
			continue
		}
		out[i] = math.Log2(t*iso) - 2*math.Log2(fNumber)
	}
	if 2*unknown > n {
		return nil
	}
	return out
}
