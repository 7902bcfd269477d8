package rules

import "testing"

func TestRepeatedFrame(t *testing.T) {
	says(t, repeatedFrame, "fault",
		"3 frames are there twice, 0010 to 0012: the first is DCIM/100BXCAM/BX1_0010.NEF and DCIM/copy/BX1_0010.NEF: the copies are left out; see whether every card was copied")
}
