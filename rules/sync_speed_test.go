package rules

import "testing"

func TestSyncSpeed(t *testing.T) {
	says(t, syncSpeed, "fault",
		"the flash fired at 1/1000 s, where shutters sync up to 1/250 s: part of the frame may be dark: inspect the frames for a dark band; if there is one, shoot again at the sync speed or longer",
		"the flash fired at 1/500 s, where shutters sync up to 1/250 s: part of the frame may be dark: inspect the frames for a dark band; if there is one, shoot again at the sync speed or longer")
	measured(t, syncSpeed, "fault", 1.0/500, 1.0/250, 1e-9, "s")
}
