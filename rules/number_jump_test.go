package rules

import "testing"

func TestNumberJump(t *testing.T) {
	says(t, numberJump, "fault",
		"0015 is followed by 4478, although no time is missing: nothing to do, unless you know of frames in between")
	measured(t, numberJump, "limit", 1.28, 1.3, 0.001, "cadences")
}
