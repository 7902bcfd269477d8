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

// TestWhiteBalancePictures: automatic white balance is silent where the colour of the
// pictures stays within 1.15 in a* and b*, and only there. The distances beside the
// cases were computed from the definition of L*a*b* apart from this program.
func TestWhiteBalancePictures(t *testing.T) {
	pixelstest.Long(t)
	shots := pixelstest.Run(3, 12, -0.12, 1.12, 0.04)
	constant := func(blue float64) func(int) float64 { return func(int) float64 { return blue } }
	from := func(at int, blue float64) func(int) float64 {
		return func(i int) float64 {
			if i >= at {
				return blue
			}
			return 1
		}
	}
	const found = "check white-balance: the camera chose the white balance of every frame: compare the colours"
	for _, c := range []struct {
		name string
		blue func(frame int) float64 // nil for grey pictures
		want string
	}{
		{"the same for all", constant(1), ""},
		{"a shift of 0.6", from(6, 0.98), ""},
		{"a shift of 1.04", from(6, 0.965), ""},
		{"a shift of 1.34", from(6, 0.955), found},
		{"a shift of 2", from(6, 0.9335), found},
		{"one frame shifted by 2", func(i int) float64 {
			if i == 4 {
				return 0.9335
			}
			return 1
		}, found},
		{"bit by bit, 2 from end to end", func(i int) float64 { return 1 - 0.0665*float64(i)/11 }, found},
		{"in grey", nil, found},
	} {
		camera := picturestest.Camera{Every: 1300 * time.Millisecond, Change: func(_ int, m *exifread.Metadata) {
			m.WhiteBalance = exifread.Of(exifread.WhiteBalanceAuto)
		}}
		folder := camera.Write(t, len(shots), func(i int) []byte {
			if c.blue == nil {
				return picturestest.Scene().JPEG(shots[i])
			}
			file, err := pixelstest.Encode(pixelstest.Tone(picturestest.Scene().Shoot(shots[i]), c.blue(i)), 90)
			if err != nil {
				t.Fatal(err)
			}
			return file
		})
		got := audittest.Told(lookAt(t, &pictures.Measurer{}, folder))
		got = slices.DeleteFunc(got, func(s string) bool { return !strings.Contains(s, "white-balance") })
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || !strings.HasPrefix(got[0], c.want)) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
