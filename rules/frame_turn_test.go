package rules

import "testing"

func TestFrameTurn(t *testing.T) {
	says(t, frameTurn, "fault",
		"frames 0021 to 0030 have another orientation than the rest: if the camera did not move, turn these frames back before merging; if it moved, shoot the sequence again")
}
