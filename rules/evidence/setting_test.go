package evidence

import (
	"testing"

	"prestrike/audit/shoot"
	"prestrike/rules/optics"
)

// What groups frames and what judges them hold the same difference of settings for
// none. Neither package may import the other, so that each has its name for it.
func TestOneToleranceOfSettings(t *testing.T) {
	if shoot.SameSetting != optics.DriftTolerance {
		t.Errorf("%v EV when frames are grouped, %v when they are judged", shoot.SameSetting, optics.DriftTolerance)
	}
}
