package rules

import "testing"

func TestDiffraction(t *testing.T) {
	says(t, diffraction, "fault",
		"f/22 at 1:1 works as f/44; about 4 of 45 MP remain: use f/6.3 with a focus sequence to keep the detail",
		"f/5 at 1:1 works as f/10; diffraction shows at 100 %: use f/4 to avoid it",
		"f/8 at 1:1 works as f/16; about 30 of 45 MP remain until sharpening brings contrast back: use f/6.3 to keep the detail",
		"f/9 at 1:1 works as f/18; about 24 of 45 MP remain: use f/6.3 to keep the detail",
		"f/9 at 1:1 works as f/18; about 24 of 45 MP remain: use f/6.3 with a focus sequence to keep the detail")
	measured(t, diffraction, "fault", 44, 15.856, 0.001, "f-number")
}

// Where nothing settles what a body records, both readings are named.
func TestDiffractionByTwoReadings(t *testing.T) {
	says(t, diffraction, "readings",
		"f/11 at 1:1 works as f/22, or as f/11 where the camera records the working f-number; about 16 to 45 of 45 MP remain: use f/6.3 to keep the detail",
		"f/32 at 1:1 works as f/64, or as f/32 where the camera records the working f-number; about 1.9 to 7.5 of 45 MP remain: use f/6.3 to keep the detail")
	says(t, diffraction, "settled-working", "f/16; about 30 of 45 MP remain until sharpening brings contrast back: use f/13 to keep the detail")
	says(t, diffraction, "settled-marked", "f/11 at 1:1 works as f/22; about 16 of 45 MP remain: use f/6.3 to keep the detail")
}

// No f-number is named that the lens does not have, and no focus step where
// nothing shows a focus sequence.
func TestDiffractionAdvice(t *testing.T) {
	says(t, diffraction, "packshots", "f/18; about 24 of 45 MP remain, fewer close up: use f/13 to keep the detail")
	says(t, diffraction, "wide-open", "f/8 at 3:1 works as f/32; about 7.5 of 45 MP remain: use f/4, as far as the lens opens, to keep more")
}
