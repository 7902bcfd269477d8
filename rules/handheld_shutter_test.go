package rules

import "testing"

func TestHandheldShutter(t *testing.T) {
	says(t, handheldShutter, "fault",
		"1/15 s is long for the hand at 90 mm, where 1/90 s is the rule of thumb: look for shake at 100 %; 1/100 s, a support or flash avoids it",
		"1/30 s is long for the hand at 90 mm, where 1/90 s is the rule of thumb: look for shake at 100 %; 1/100 s, a support or flash avoids it")
	measured(t, handheldShutter, "fault", 1.0/30, 1.0/90, 1e-9, "s")
}
