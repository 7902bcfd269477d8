package rules

import "testing"

func TestFocusStall(t *testing.T) {
	says(t, focusStall, "fault",
		"the recorded distance stays at 0.32 m in frames 0021 to 0040, where it changed with every frame before: check whether the last frame is sharp at the end of the subject; if not, shoot the sequence again")
	says(t, focusStall, "pairs",
		"every focus distance is recorded twice; two frames were taken at every position, or the scale of the lens is coarse: nothing to do")
	measured(t, focusStall, "fault", 20, 5, 0, "frames")
}
