package rules

import "testing"

func TestWhiteBalance(t *testing.T) {
	says(t, whiteBalance, "fault",
		"white balance was automatic: compare the colours of the first and last frames; set white balance by hand before you shoot again",
		"white balance was automatic in frames 0121 to 0130, fixed in the rest: compare the colours of the first and last frames; set white balance by hand before you shoot again")
	says(t, whiteBalance, "limit",
		"white balance was automatic: give all frames one white balance when you develop the raw files")
}
