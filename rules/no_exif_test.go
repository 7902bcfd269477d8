package rules

import "testing"

func TestNoExif(t *testing.T) {
	says(t, noExif, "fault",
		"frames 0012 and 0020 have no capture data: check whether these are the camera's own files; if not, copy the originals from the card")
}
