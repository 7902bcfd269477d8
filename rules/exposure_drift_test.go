package rules

import "testing"

func TestExposureDrift(t *testing.T) {
	says(t, exposureDrift, "fault",
		"frames 0012 to 0013 are at 1 s, the rest at 0.8 s: set the exposure by hand and shoot this sequence again",
		"the exposure time walks from 1/250 s to 1/125 s in frames 0101 to 0140; the camera was on aperture priority: even out the brightness of the frames, or set the exposure by hand and shoot the clip again")
	measured(t, exposureDrift, "limit", 0.176, 0.1667, 0.001, "EV")
}
