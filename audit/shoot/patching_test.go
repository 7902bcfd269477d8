package shoot_test

import (
	"slices"
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// TestMayPatch: one to three frames soon behind a run whose pictures are inspected, by the
// same body at the same settings, may have been made to close a hole in it; others were not.
func TestMayPatch(t *testing.T) {
	const (
		run    = "DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s jitter 1% time=2026-03-04T09:12:40.12+01:00" + stackSettings + "\n"
		single = "DCIM/100BXCAM/BX1_0001.NEF time=2026-03-04T09:02:40.12+01:00" + stackSettings + "\n"
	)
	for _, c := range []struct {
		what, text string
		want       []int // how many frames each of them has
	}{
		{"one frame", run + "DCIM/100BXCAM/BX1_0021.NEF after 180s" + stackSettings, []int{1}},
		{"three, and two more after a while", run + "DCIM/100BXCAM/BX1_0021..0023.NEF after 180s every 1.3s" + stackSettings +
			"\nDCIM/100BXCAM/BX1_0024..0025.NEF after 600s every 1.3s" + stackSettings, []int{3, 2}},
		{"too late", run + "DCIM/100BXCAM/BX1_0021.NEF after 4000s" + stackSettings, nil},
		{"another exposure", run + "DCIM/100BXCAM/BX1_0021.NEF after 180s t=0.4 f=5.6 iso=100 mm=90 program=manual mode=manual", nil},
		{"another focal length", run + "DCIM/100BXCAM/BX1_0021.NEF after 180s t=0.8 f=5.6 iso=100 mm=60 program=manual mode=manual", nil},
		{"a run of its own", run + "DCIM/100BXCAM/BX1_0021..0030.NEF after 180s every 1.3s" + stackSettings, nil},
		{"before the run", single + strings.NewReplacer("0001..0020", "0002..0021").Replace(run), nil},
		{"no run", single + "DCIM/100BXCAM/BX1_0002.NEF after 180s" + stackSettings, nil},
	} {
		text, err := audittest.Read(strings.NewReader(c.text))
		if err != nil {
			t.Fatal(err)
		}
		runs := shoot.Runs(text.Files, 0)
		few := shoot.MayPatch(runs, (*shoot.Run).AsksForPictures)
		var got []int
		for _, r := range runs {
			if few[r] {
				got = append(got, len(r.Frames))
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: runs of %v frames, want %v", c.what, got, c.want)
		}
	}
}
