package rules

import "testing"

func TestHighISO(t *testing.T) {
	says(t, highISO, "fault",
		"ISO 1600 on a tripod, 4 stops above the ISO 100 that this body was at in the session: set ISO 100 and a longer exposure, or more flash, before the next sequence")
	measured(t, highISO, "fault", 1600, 200, 0, "ISO")
}
