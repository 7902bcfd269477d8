package rules

import "testing"

func TestShortSequence(t *testing.T) {
	says(t, shortSequence, "fault",
		"21 frames, where 3 other sequences like it have 30: check whether it shows all that it should; if not, shoot the sequence again") // nothing shows that focus moves
	says(t, shortSequence, "limit",
		"49 frames of 50 planned: shoot the sequence again to its end")
	measured(t, shortSequence, "fault", 21, 30, 0, "frames")
	look := ": check which exposure is missing; if you need it, shoot the bracket again"
	says(t, shortSequence, "bracket-ends",
		"4 exposures in an automatic bracket, where cameras make 3, 5, 7 or 9"+look,
		"4 exposures in an automatic bracket, where cameras make 3, 5, 7 or 9"+look)
	says(t, shortSequence, "bracket-of-three",
		"2 exposures, where another automatic bracket of this camera has 3 in the same steps"+look,
		"2 exposures, where another automatic bracket of this camera has 3 in the same steps"+look)
	says(t, shortSequence, "bracket-whole")
}
