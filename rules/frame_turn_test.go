package rules

import "testing"

func TestFrameTurn(t *testing.T) {
	says(t, frameTurn, "fault",
		"frames 0021 to 0030 are turned against the rest: if the camera stood still, turn these frames back before merging; if it moved, shoot this sequence again")
}
