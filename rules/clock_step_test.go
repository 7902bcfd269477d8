package rules

import "testing"

func TestClockStep(t *testing.T) {
	says(t, clockStep, "fault",
		"the clock showed 1 January 2000 at frames 0061 to 0090: set the camera's clock",
		"the clock went back by 58 min 38 s between frames 0030 and 0031: set the camera's clock; check the sequences around these frames yourself")
}
