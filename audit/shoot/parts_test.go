package shoot_test

import (
	"fmt"
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// What the pictures show behind a pause decides which frames are one sequence; where they show
// nothing, the times do.
func TestParts(t *testing.T) {
	const (
		common = " t=0.8 f=5.6 iso=100 mm=90 program=manual mode=manual"
		begin  = "DCIM/100BXCAM/BX1_0001..%04d.NEF every 1.3s jitter 1%% time=2026-03-04T09:12:40.12+01:00" + common
		behind = "\nDCIM/100BXCAM/BX1_%04d..%04d.NEF after 7.8s every 1.3s jitter 1%%" + common
	)
	for _, c := range []struct {
		first, second int
		oneByTime     bool
	}{{14, 17, false}, {19, 24, true}} {
		text, err := audittest.Read(strings.NewReader(fmt.Sprintf(begin, c.first) + fmt.Sprintf(behind, c.first+1, c.first+c.second)))
		if err != nil {
			t.Fatal(err)
		}
		runs := shoot.Runs(text.Files, 0)
		if len(runs) != 2 || runs[1].MayContinue != runs[0] {
			t.Fatalf("%d and %d frames: %d runs", c.first, c.second, len(runs))
		}
		runs[1].OneByTime = c.oneByTime // the times of the two are alike: both cases are asked for
		apart := fmt.Sprint([]int{c.first, c.second})
		whole := fmt.Sprint([]int{c.first + c.second})
		byTime := apart
		if c.oneByTime {
			byTime = whole
		}
		for part, want := range map[shoot.Part]string{shoot.PartUnknown: byTime, shoot.PartGoesOn: whole, shoot.PartApart: apart} {
			evidence := new(int)
			var counts []int
			var asks bool
			for _, q := range shoot.Sessions(runs, []shoot.Seen{{}, {Part: part, Camera: shoot.CameraMoves, Evidence: evidence}}, &shoot.Options{})[0].Sequences {
				counts = append(counts, len(q.Frames))
				asks = asks || q.MayContinue != nil
				if last := q.Frames[len(q.Frames)-1] == runs[1].Frames[c.second-1]; last != (q.Evidence == any(evidence)) {
					t.Errorf("%v: evidence %v of %d frames", part, q.Evidence, len(q.Frames))
				}
			}
			if fmt.Sprint(counts) != want || asks != (part == shoot.PartUnknown && !c.oneByTime) {
				t.Errorf("%v, one by time %v: %v, asks %v; want %v", part, c.oneByTime, counts, asks, want)
			}
		}
		if runs[1].MayContinue != runs[0] || len(runs[0].Frames) != c.first {
			t.Error("the runs given were changed")
		}
	}
}

// Pictures that move as in a hand, or stand still, show the support, unless it was declared or the
// exposure was too long for a hand.
func TestSupportByPictures(t *testing.T) {
	const frames = "DCIM/100BXCAM/BX1_0001..0012.NEF every 0.125s jitter 2% time=2026-03-04T09:12:40.12+01:00 f=8 iso=800 program=manual mode=manual "
	for _, c := range []struct {
		exposure string
		seen     shoot.Seen
		declared shoot.Support
		want     string
	}{
		{"t=1/640", shoot.Seen{Camera: shoot.CameraMoves}, shoot.SupportAuto, "burst handheld: pictures that shift and roll"},
		{"t=1/640", shoot.Seen{Camera: shoot.CameraMoves, Focus: shoot.FocusWalks}, shoot.SupportAuto, "focus handheld: pictures that shift and roll"},
		{"t=1/640", shoot.Seen{Camera: shoot.CameraStands}, shoot.SupportAuto, "series tripod: pictures that stand still"},
		{"t=1/640", shoot.Seen{}, shoot.SupportAuto, "series tripod: steady pace"},
		{"t=1/640", shoot.Seen{Camera: shoot.CameraMoves}, shoot.Tripod, "series tripod: declared"},
		{"t=0.5", shoot.Seen{Camera: shoot.CameraMoves, Focus: shoot.FocusWalks}, shoot.SupportAuto, "focus tripod: exposure time over 1/4 s"},
	} {
		text, err := audittest.Read(strings.NewReader(frames + c.exposure))
		if err != nil {
			t.Fatal(err)
		}
		runs := shoot.Runs(text.Files, 0)
		q := shoot.Sessions(runs, []shoot.Seen{c.seen}, &shoot.Options{Support: c.declared})[0].Sequences[0]
		if got := q.Kind.String() + " " + q.Support.String() + ": " + q.SupportBy; got != c.want {
			t.Errorf("%s, %+v: %q, want %q", c.exposure, c.seen, got, c.want)
		}
	}
}
