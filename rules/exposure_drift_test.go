package rules

import "testing"

func TestExposureDrift(t *testing.T) {
	says(t, exposureDrift, "fault",
		"frames 0012 and 0013 are at 1 s, the rest at 0.8 s: set the exposure by hand and shoot the sequence again",
		"frames 0111 to 0120 and 0131 to 0140 are at 1/200 s and 1/160 s, the rest at 1/250 s; the camera was on aperture priority: even out the brightness of the frames, or set the exposure by hand and shoot the clip again")
	measured(t, exposureDrift, "limit", 0.176, 0.1667, 0.001, "EV")
}
