package rules

import "testing"

func TestMissingFrame(t *testing.T) {
	says(t, missingFrame, "fault",
		"frames 0012 to 0013 are missing: 0011 to 0014 took 4 s, where a frame comes every 1.3 s: copy what is missing from the card; if it is not there, shoot this sequence again")
	says(t, missingFrame, "rollover",
		"frame 0001 is missing: 9999 to 0002 took 2.6 s, where a frame comes every 1.3 s: copy what is missing from the card; if it is not there, shoot this sequence again")
	measured(t, missingFrame, "limit", 2.29, 1, 0.01, "cadences")
}
