package rules

import "testing"

func TestShutterShock(t *testing.T) {
	says(t, shutterShock, "fault",
		"1/30 to 1/8 s is between 1/125 s and 0.5 s, where mirror and shutter shake the camera most: frames 0001 to 0030 and in 1 other sequence: inspect one frame at 100 %; an electronic first curtain or a delay avoids it")
	measured(t, shutterShock, "fault", 1.0/8, 1.0/125, 1e-9, "s")
}
