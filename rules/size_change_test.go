package rules

import "testing"

func TestSizeChange(t *testing.T) {
	says(t, sizeChange, "fault",
		"frames 0021 to 0030 have no raw file; the others have one: switch raw on again and shoot the sequence again",
		"frames 0121 to 0130 are 4128 x 2752 pixels, the rest 8256 x 5504: set the picture size back and shoot the sequence again")
}
