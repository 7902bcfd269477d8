package rules

import "testing"

func TestShortSequence(t *testing.T) {
	says(t, shortSequence, "fault",
		"21 frames, where 3 other sequences like it have 30: check whether it shows all that it should; if not, shoot the sequence again") // nothing shows that focus moves
	says(t, shortSequence, "limit",
		"49 frames of 50 planned: shoot the sequence again to its end")
	measured(t, shortSequence, "fault", 21, 30, 0, "frames")
}
