package rules

import "testing"

func TestTornFile(t *testing.T) {
	says(t, tornFile, "fault",
		"BX1_0029.NEF and BX1_0030.NEF are not complete: the image data lies beyond the end of the file: copy what is damaged from the card again; if that does not help, shoot this sequence again")
	measured(t, tornFile, "limit", 0.45, 0.5, 0.001, "")
}
