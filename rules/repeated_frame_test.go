package rules

import "testing"

func TestRepeatedFrame(t *testing.T) {
	says(t, repeatedFrame, "fault",
		"3 frames are there twice, 0010 to 0012: the first in DCIM/100BXCAM and DCIM/copy: leave one copy out; look whether every card was copied")
}
