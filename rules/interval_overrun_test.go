package rules

import "testing"

func TestIntervalOverrun(t *testing.T) {
	says(t, intervalOverrun, "fault",
		"30 s fills 91 % of the interval of 33 s: the camera is about to skip ticks: look for jumps in the clip; a longer interval or a shorter exposure time avoids them")
	measured(t, intervalOverrun, "fault", 30.0/33, 0.9, 1e-9, "of the interval")
}
