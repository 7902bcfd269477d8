package rules

import "testing"

func TestIsoDrift(t *testing.T) {
	says(t, isoDrift, "fault",
		"frames 0021 to 0030 are at ISO 800, the rest at 100: turn automatic ISO off and shoot the sequence again",
		"ISO goes from 100 to 160 in frames 0101 to 0130: turn automatic ISO off and shoot the sequence again")
	measured(t, isoDrift, "fault", 3, 0.1667, 0.001, "EV")
}
