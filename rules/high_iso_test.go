package rules

import "testing"

func TestHighISO(t *testing.T) {
	says(t, highISO, "fault",
		"ISO 1600 on a tripod, 4 stops above the lowest of this body in the session, ISO 100: set ISO 100 and a longer exposure, or more flash, before the next sequence")
	measured(t, highISO, "fault", 1600, 200, 0, "ISO")
}
