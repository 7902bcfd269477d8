package rules

import "testing"

func TestFocusGap(t *testing.T) {
	says(t, focusGap, "fault",
		"focus steps of 0.47 mm or more, where the depth of field at f/8 and 1:1 is 0.56 mm: little overlap is left: make the steps of the next sequence 0.39 mm or less",
		"focus steps of 0.7 mm or more, where the depth of field at f/8 and 1:1 is 0.56 mm: bands between the frames may be soft: look at the bands between the frames at 100 %; if they are soft, shoot this sequence again in steps of 0.39 mm or less",
		"focus steps of 1.4 mm or more, where the depth of field at f/8 and 1:1 is 0.56 mm: bands between the frames are soft: shoot this sequence again in steps of 0.39 mm or less",
		"focus steps of 2.7 mm or more in frames 0315 to 0316, where the depth of field at f/8 and 1:1 is 0.56 mm: bands between the frames are soft: shoot this sequence again in steps of 0.39 mm or less")
	measured(t, focusGap, "fault", 1.40625, 0.912, 0.0005, "mm")
}
