package rules

import "testing"

func TestHandheldShutter(t *testing.T) {
	says(t, handheldShutter, "fault",
		"1/15 s at 90 mm, where the rule of thumb allows 1/90 s without stabilisation: inspect it at 100 % for shake; if lens or body is stabilised, declare its stops in prestrike.toml",
		"1/4 s at 90 mm, where the rule of thumb allows 1/90 s: inspect it at 100 % for shake; 1/100 s, a support or flash avoids it")
	measured(t, handheldShutter, "fault", 1.0/4, 1.0/90, 1e-9, "s")
	// 1:1 adds the hand's travel: 1/(2·90 + 200) s.
	measured(t, handheldShutter, "close", 1.0/250, 1.0/380, 1e-9, "s")
}
