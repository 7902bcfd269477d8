package evidence

import (
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

const AperturePriority = "aperture priority"

// Program names the automatic exposure of a frame, empty where the exposure
// was set by hand; false where the frame does not record it.
func Program(m *exifread.Metadata) (string, bool) {
	p, _ := m.ExposureProgram.Get()
	switch {
	case p == exifread.ProgramManual:
		return "", true
	case p == exifread.ProgramAperturePriority:
		return AperturePriority, true
	case p == exifread.ProgramShutterPriority:
		return "shutter priority", true
	case p >= exifread.ProgramNormal && p <= lastProgram:
		return "automatic exposure", true
	}
	switch mode, ok := m.ExposureMode.Get(); {
	case ok && mode == exifread.ExposureManual:
		return "", true
	case ok && mode == exifread.ExposureAuto:
		return "automatic exposure", true
	}
	return "", false
}

// lastProgram is the last automatic program that CIPA DC-008 numbers, landscape mode.
const lastProgram exifread.ExposureProgram = 8

// AutomaticProgram names the automatic exposure of the first frame that records one.
func AutomaticProgram(frames []*shoot.Frame) string {
	for _, f := range frames {
		if p, ok := Program(f.Meta()); ok {
			return p
		}
	}
	return ""
}
