package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

var autoExposure = &audit.Rule{
	ID:       "auto-exposure",
	Title:    "exposure is not set by hand in a run",
	Severity: audit.Note,
	Doc: `Finds focus sequences and time-lapses whose exposure the camera chose, although it
chose the same for every frame.

It went well this time. The next sequence may drift as a hand, a reflection or a
cloud changes what the camera measures.

Set the exposure by hand before the next sequence. Nothing needs to be shot again.

Where the exposure did change, exposure-drift, aperture-drift and iso-drift say so
and this rule is silent. It is wrong where automatic exposure is meant.`,
	Source: "CIPA DC-008 (Exif), ExposureProgram; everything by hand in a sequence: common practice",
	Check:  checkAutoExposure,
}

func checkAutoExposure(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() || exposureMoves(v) {
		return nil
	}
	var automatic, unknown []*shoot.Frame
	word := ""
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		switch p, ok := program(f.Meta()); {
		case !ok:
			unknown = append(unknown, f)
		case p != "":
			automatic = append(automatic, f)
			word = p
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no exposure program recorded", unknown...)
	}
	if len(automatic) == 0 {
		return nil
	}
	which := "the camera was"
	if len(automatic)+len(unknown) < len(q.Frames) {
		which = shoot.FrameRanges(q.Frames, automatic) + ": the camera was"
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s on %s; the exposure held this time", which, word),
		Action:  "set the exposure by hand before the next sequence",
		Frames:  automatic,
	})
	return nil
}

// exposureMoves reports whether one of the drift rules tells already.
func exposureMoves(v *audit.Review) bool {
	frames := v.Sequence.Frames
	same, _ := oneSensitivityType(frames)
	return len(exposureTime(paramOf(v, "exposure-drift", tolerance)).of(frames).odd) > 0 ||
		len(fNumber(paramOf(v, "aperture-drift", tolerance)).of(frames).odd) > 0 ||
		len(sensitivity(paramOf(v, "iso-drift", tolerance)).of(same).odd) > 0
}

const aperturePriority = "aperture priority"

// program names the automatic exposure of a frame, empty where the exposure
// was set by hand; false where the frame does not tell.
func program(m *exifread.Metadata) (string, bool) {
	p, _ := m.ExposureProgram.Get()
	switch {
	case p == exifread.ProgramManual:
		return "", true
	case p == exifread.ProgramAperturePriority:
		return aperturePriority, true
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

// automaticProgram names the automatic exposure of the first frame that tells.
func automaticProgram(frames []*shoot.Frame) string {
	for _, f := range frames {
		if p, ok := program(f.Meta()); ok {
			return p
		}
	}
	return ""
}
