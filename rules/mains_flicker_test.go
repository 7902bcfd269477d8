package rules

import "testing"

func TestMainsFlicker(t *testing.T) {
	says(t, mainsFlicker, "fault",
		"at 1/125 s up to 23 % of the flicker of lamps on 50 Hz is left in a frame: compare the brightness of the frames and inspect them for bands; 1/100, 1/50 or 1/25 s avoids it",
		"at 1/200 s up to 64 % of the flicker of lamps on 50 Hz is left in a frame: compare the brightness of the frames and inspect them for bands; 1/100, 1/50 or 1/25 s avoids it",
		"at 1/60 s up to 17 % of the flicker of lamps on 50 Hz is left in a frame: compare the brightness of the frames and inspect them for bands; 1/100, 1/50 or 1/25 s avoids it")
	measured(t, mainsFlicker, "fault", 0.6366, 0.2, 0.0001, "of the flicker")
}
