package rules

import "testing"

func TestFocalLengthDrift(t *testing.T) {
	says(t, focalLengthDrift, "fault",
		"frames 0021 to 0030 are at 88 mm and 86 mm, the rest at 90 mm: fasten the zoom ring and shoot the sequence again")
	measured(t, focalLengthDrift, "limit", 1.111, 1, 0.001, "%")
}
