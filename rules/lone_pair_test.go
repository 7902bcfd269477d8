package rules

import "testing"

func TestLonePair(t *testing.T) {
	says(t, lonePair, "fault",
		"frame 0012 has no raw file; 28 of 30 frames have both: search the card for the missing files, and copy them before it is formatted",
		"frame 0030 has no JPEG or HEIF; 28 of 30 frames have both: search the card for the missing files, and copy them before it is formatted")
	measured(t, lonePair, "limit", 0.8, 0.8, 0, "")
}
