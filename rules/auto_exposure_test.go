package rules

import "testing"

func TestAutoExposure(t *testing.T) {
	says(t, autoExposure, "fault",
		"the camera was on aperture priority; the exposure stayed the same this time: set the exposure by hand before the next sequence")
}
