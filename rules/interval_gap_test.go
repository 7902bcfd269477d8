package rules

import "testing"

func TestIntervalGap(t *testing.T) {
	says(t, intervalGap, "fault",
		"3 frames were not taken, in 2 places; the longest pause is 30 s from 0030 to 0031, where a frame comes every 10 s: inspect the clip for a visible jump; a longer interval or a shorter exposure time avoids it")
	measured(t, intervalGap, "fault", 3, 1.5, 0.001, "cadences")
}
