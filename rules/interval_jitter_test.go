package rules

import "testing"

func TestIntervalJitter(t *testing.T) {
	says(t, intervalJitter, "fault",
		"2 intervals are too short or too long, by up to 15 %: 8.5 s passed, where a frame comes every 10 s: leave the camera more of the interval before the next clip; nothing needs to be shot again")
	measured(t, intervalJitter, "fault", 0.15, 0.1, 1e-9, "cadences")
}
