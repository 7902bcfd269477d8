package rules

import (
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/exifread"
)

func TestFlashMissedSays(t *testing.T) {
	says(t, flashMissed, "fault",
		"no flash in frames 0012 and 0019: inspect the picture; if it is darker than the rest, shoot the sequence again and leave more time between frames")
	measured(t, flashMissed, "fault", 2, 0, 0, "frames")
}

// A frame without flash is a reshoot where its picture is dark as well, and a check
// where it is as bright as the others.
func TestFlashMissedInPictures(t *testing.T) {
	shots := picturestest.Covering()
	camera := picturestest.Camera{Every: 3200 * time.Millisecond, Change: func(i int, m *exifread.Metadata) {
		m.Flash = exifread.Of(exifread.Flash(1))
		if i == 13 {
			m.Flash = exifread.Of(exifread.Flash(16))
		}
	}}
	for _, c := range []struct {
		ev   float64
		want string
	}{
		{-2, "reshoot flash-missed: no flash in frame 0014, and its picture is dark: shoot the sequence again"},
		{0, "check flash-missed: no flash in frame 0014: inspect the picture"},
	} {
		got := audittest.Told(lookAt(t, &pictures.Measurer{}, camera.Shoot(t, pixelstest.Brighten(shots, 13, 1, c.ev))))
		if !slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, c.want) }) {
			t.Errorf("%g EV: found %q, want %q", c.ev, got, c.want)
		}
	}
}
