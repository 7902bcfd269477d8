package rules

import "testing"

func TestIsoDrift(t *testing.T) {
	says(t, isoDrift, "fault",
		"frames 0021 to 0030 are at ISO 800, the rest at ISO 100: turn automatic ISO off and shoot this sequence again",
		"ISO walks from ISO 100 to ISO 160 in frames 0101 to 0130: turn automatic ISO off and shoot this sequence again")
	measured(t, isoDrift, "fault", 3, 0.1667, 0.001, "EV")
}
