package evidence

import (
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// Longer reports whether time t is longer than a limit that is a marked value,
// or is compared with marked values: by more than the rounding of these.
func Longer(t, limit, tolerance float64) bool { return optics.Stops(limit, t) >= tolerance-1e-9 }

// Fired reports whether the flash fired, as far as the frame records it.
func Fired(m *exifread.Metadata) bool {
	f, ok := m.Flash.Get()
	return ok && f.Fired()
}

// Exposed splits off the frames that record no exposure time; frames without
// capture data are left to other rules.
func Exposed(q *shoot.Sequence) (timed, unknown []*shoot.Frame) {
	for _, f := range q.Frames {
		switch {
		case !f.Meta().HasExif:
		case exifread.Positive(f.Meta().ExposureTime) == 0:
			unknown = append(unknown, f)
		default:
			timed = append(timed, f)
		}
	}
	return timed, unknown
}
