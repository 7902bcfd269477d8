package rules

import "testing"

func TestWhiteBalance(t *testing.T) {
	says(t, whiteBalance, "fault",
		"the camera chose the white balance of every frame: compare the colours of the first and last frames; set white balance by hand before you shoot again",
		"the camera chose the white balance of frames 0121 to 0130; it is fixed in the rest: compare the colours of the first and last frames; set white balance by hand before you shoot again")
	says(t, whiteBalance, "limit",
		"the camera chose the white balance of every frame: give all frames one white balance when you develop the raw files")
}
