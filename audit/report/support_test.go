package report

import (
	"testing"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// TestSupportOfNothing: where no frame records how it was made, nothing is assumed of
// how the camera was held; what is declared is reported still.
func TestSupportOfNothing(t *testing.T) {
	frame := &shoot.Frame{Files: []*shoot.File{{Path: "tile.jpg", Meta: &exifread.Metadata{}}}}
	q := &shoot.Sequence{ID: "1.1", Run: &shoot.Run{Frames: []*shoot.Frame{frame}}, Support: shoot.Handheld, SupportBy: "single frames"}
	s := &audit.Session{Session: &shoot.Session{ID: "1"}, Sequences: []*audit.Reviewed{{Sequence: q}}}
	if got := support(s, shoot.SupportAuto); got != "" {
		t.Errorf("%q, want nothing", got)
	}
	if got, want := support(s, shoot.Tripod), "Support: tripod, as declared."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
