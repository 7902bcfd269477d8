package rules

import "testing"

func TestCadenceBreak(t *testing.T) {
	says(t, cadenceBreak, "fault",
		"the run pauses for 4.6 s between 0020 and 0021, where a frame comes every 1.3 s; the numbers run on: compare the frames before and after the pause; if anything moved, shoot this sequence again")
	measured(t, cadenceBreak, "fault", 3.54, 3, 0.01, "cadences")
}
