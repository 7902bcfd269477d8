package rules

import "testing"

func TestMissingFrame(t *testing.T) {
	says(t, missingFrame, "fault",
		"0012 and 0013 are not there; 0011 to 0014 took 4 s, where a frame comes every 1.3 s: copy what is missing from the card; if it is not there, shoot the sequence again")
	says(t, missingFrame, "rollover",
		"0001 is not there; 9999 to 0002 took 2.6 s, where a frame comes every 1.3 s: copy what is missing from the card; if it is not there, shoot the sequence again")
	measured(t, missingFrame, "limit", 2.29, 1, 0.01, "cadences")
}
