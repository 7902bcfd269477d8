package rules

import "testing"

func TestFocusTurn(t *testing.T) {
	says(t, focusTurn, "fault",
		"focus goes back at frame 0021, from 0.319 m to 0.301 m: check whether the frames from there on cover the subject; if not, shoot the sequence again",
		"focus goes back at frame 0121, from 0.319 m to 0.311 m: check whether the frames from there on cover the subject; if not, shoot the sequence again")
	habit := func(first string) string {
		return "focus goes from frame " + first + " outwards, to nearer and to farther; this is the order of the camera: nothing to do; sort the frames by focus if the program that merges them does not"
	}
	says(t, focusTurn, "outwards", habit("0001"), habit("0101"), habit("0201"))
	measured(t, focusTurn, "fault", 18, 2, 1e-6, "focus steps")
}
