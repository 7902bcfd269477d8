package rules

import "testing"

func TestNumberJump(t *testing.T) {
	says(t, numberJump, "fault",
		"file numbers jump from 0015 to 4478, but no time is missing: nothing to do, unless you know of frames in between")
	measured(t, numberJump, "limit", 1.28, 1.3, 0.001, "cadences")
}
