package rules

import "testing"

func TestFocusTurn(t *testing.T) {
	says(t, focusTurn, "fault",
		"focus goes back at frame 0021, from 0.319 m to 0.301 m: look whether the frames from there on cover the subject; if not, shoot this sequence again",
		"focus goes back at frame 0121, from 0.319 m to 0.311 m: look whether the frames from there on cover the subject; if not, shoot this sequence again")
	measured(t, focusTurn, "fault", 18, 2, 1e-6, "focus steps")
}
