package rules

import "testing"

func TestDiffraction(t *testing.T) {
	says(t, diffraction, "fault",
		"f/22 at 1:1 works as f/44: about 4 of 45 MP remain: f/6.3 with a focus sequence keeps them",
		"f/5 at 1:1 works as f/10: diffraction shows at 100 %: f/4 avoids it",
		"f/8 at 1:1 works as f/16: about 30 of 45 MP remain: f/6.3 with a focus sequence keeps them",
		"f/8 at 1:1 works as f/16: about 30 of 45 MP remain: f/6.3 with finer focus steps keeps them")
	measured(t, diffraction, "fault", 44, 12.997, 0.001, "f-number")
}
