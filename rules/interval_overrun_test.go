package rules

import "testing"

func TestIntervalOverrun(t *testing.T) {
	says(t, intervalOverrun, "fault",
		"2 frames come late, after exposures of up to 30 s, which fill 91 % of the interval of 33 s: inspect the clip for jumps; a longer interval or a shorter exposure time avoids them",
		"a frame comes every 2 s up to 0109, and every 2.6 s from there on; the camera does not keep the interval (exposures of 1.6 s leave it 0.4 s): make the interval longer or the exposure time shorter, and shoot the clip again where its speed matters")
	measured(t, intervalOverrun, "fault", 30.0/33, 0.9, 1e-9, "of the interval")
}
