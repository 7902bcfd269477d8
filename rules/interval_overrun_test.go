package rules

import "testing"

func TestIntervalOverrun(t *testing.T) {
	says(t, intervalOverrun, "fault",
		"2 frames come late, behind exposures of up to 30 s, which fill 91 % of the interval of 33 s: look for jumps in the clip; a longer interval or a shorter exposure time avoids them",
		"a frame comes every 2 s to 0109, and every 2.6 s from there on: the camera does not keep the interval (exposures of 1.6 s leave it 0.4 s): lengthen the interval or shorten the exposure time, and shoot the clip again where its speed matters")
	measured(t, intervalOverrun, "fault", 30.0/33, 0.9, 1e-9, "of the interval")
}
