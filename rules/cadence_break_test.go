package rules

import "testing"

func TestCadenceBreak(t *testing.T) {
	says(t, cadenceBreak, "fault",
		"frames 0126 to 0140 came 10 s after frames 0101 to 0125, at the same cadence and settings; they may go on, start over or show another view: compare frames 0125 and 0126; if the second part goes on and anything moved, shoot the sequence again",
		"4.6 s passed between 0020 and 0021, where a frame comes every 1.3 s; the file numbers run on: compare the frames before and after the pause; if anything moved, shoot the sequence again")
	measured(t, cadenceBreak, "fault", 3.54, 3, 0.01, "cadences")
}
