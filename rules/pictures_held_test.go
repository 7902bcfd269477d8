package rules

import (
	"testing"
	"time"

	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// TestPicturesOfHand holds that pictures show what held the camera, that quick frames from a
// hand are a burst, or a focus sequence where focus walks, and that a walk around the subject,
// or a subject on a turntable, is no focus sequence.
func TestPicturesOfHand(t *testing.T) {
	pixelstest.Long(t)
	scene := picturestest.Scene()
	px := float64(scene.Width) / 1600
	clean := picturestest.Covering()
	standing := pixelstest.Run(4, 10, 0.4, 0.4, 0)
	const moves, stands = "pictures that shift and roll", "pictures that do not move"
	around := map[float64]*pixelstest.Built{} // both walks around the subject see the same
	quick, slow := 140*time.Millisecond, 2100*time.Millisecond
	for _, c := range []struct {
		name    string
		every   time.Duration
		hand    float64 // px of a picture 1,600 wide
		degrees float64 // from frame to frame, around the subject
		shots   []pixelstest.Shot
		kind    shoot.Kind
		support shoot.Support
		by      string
	}{
		{"burst by hand", quick, 3, 0, standing, shoot.Burst, shoot.Handheld, moves},
		{"burst on a stand", quick, 0, 0, standing, shoot.Series, shoot.Tripod, stands},
		{"focus sequence by hand", quick, 3, 0, clean, shoot.Focus, shoot.Handheld, moves},
		{"focus sequence on a stand", slow, 0, 0, clean, shoot.Focus, shoot.Tripod, stands},
		{"around by hand", slow, 10, 5, standing[:7], shoot.Series, shoot.Tripod, "steady pace"},
		{"turntable", slow, 0, 5, standing[:7], shoot.Series, shoot.Tripod, "steady pace"},
	} {
		t.Run(c.name, func(t *testing.T) {
			shots := scene.Hand(c.shots, 7, c.hand*px)
			camera := picturestest.Camera{Every: c.every, Change: func(_ int, m *exifread.Metadata) {
				m.ExposureTime = exifread.Of(exifread.Rational{Num: 1, Den: 200})
			}}
			folder := camera.Write(t, len(shots), func(i int) []byte {
				if c.degrees == 0 {
					return scene.JPEG(shots[i])
				}
				degrees := c.degrees * float64(i-len(shots)/2)
				if around[degrees] == nil {
					around[degrees] = scene.Around(degrees)
				}
				return around[degrees].JPEG(shots[i])
			})
			q := lookAt(t, &pictures.Measurer{}, folder).Sessions[0].Sequences[0]
			if q.Kind != c.kind || q.Support != c.support || q.SupportBy != c.by {
				t.Errorf("%v, %v by %s; want %v, %v by %s", q.Kind, q.Support, q.SupportBy, c.kind, c.support, c.by)
			}
		})
	}
}
