package rules

import "testing"

func TestApertureDrift(t *testing.T) {
	says(t, apertureDrift, "limit",
		"frames 0121 to 0130 are at f/9.5, the rest at f/9: set the f-number by hand and shoot the sequence again")
	measured(t, apertureDrift, "fault", 0.34, 0.1667, 0.001, "EV")
}
