package proof

import (
	"cmp"
	"slices"

	"prestrike/audit/pixels"
)

// A Ranked is a frame with its sharpness.
type Ranked struct {
	Frame int
	// Sharpness is that of its sharpest tiles, as a share of the sharpest frame's: 0 to
	// 1. It compares frames of one burst, and means nothing across bursts.
	Sharpness float64
}

// Best orders the frames of a burst by the sharpness of their sharpest tiles, the sharpest
// first; of two alike the earlier. Pictures too small to measure are left out. Tiles are
// not followed: the subject may move through the picture.
func Best(pictures Pictures) []Ranked {
	var out []Ranked
	most := 0.0
	for i, img := range pictures {
		m, err := pixels.Measure(img)
		if err != nil {
			continue
		}
		s := m.Crest()
		most = max(most, s)
		out = append(out, Ranked{i, s})
	}
	for i := range out {
		out[i].Sharpness /= max(most, 1e-9)
	}
	slices.SortStableFunc(out, func(a, b Ranked) int { return cmp.Compare(b.Sharpness, a.Sharpness) })
	return out
}
