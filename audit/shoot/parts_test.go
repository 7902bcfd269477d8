package shoot_test

import (
	"fmt"
	"strings"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

const (
	// stackFrames are those of a stack that begins the shoot, behindFrames those that come a
	// while later.
	stackFrames  = "DCIM/100BXCAM/BX1_%04d..%04d.NEF every 1.3s jitter 1%% time=2026-03-04T09:12:40.12+01:00" + stackSettings
	behindFrames = "\nDCIM/100BXCAM/BX1_%04d..%04d.NEF after %.1fs every 1.3s jitter 1%%" + stackSettings

	stackSettings = " t=0.8 f=5.6 iso=100 mm=90 program=manual mode=manual"
)

// stacksOf returns the files of stacks of so many frames with pauses between, in seconds.
func stacksOf(t *testing.T, counts []int, pauses []float64) []*shoot.File {
	t.Helper()
	lines := fmt.Sprintf(stackFrames, 1, counts[0])
	at := counts[0]
	for i, n := range counts[1:] {
		lines += fmt.Sprintf(behindFrames, at+1, at+n, pauses[i])
		at += n
	}
	text, err := audittest.Read(strings.NewReader(lines))
	if err != nil {
		t.Fatal(err)
	}
	return text.Files
}

// What the pictures show behind a pause decides which frames are one sequence; where they show
// nothing, times and counts do.
func TestParts(t *testing.T) {
	for _, c := range []struct {
		first, second int
		pause         shoot.Pause
	}{{14, 17, shoot.PauseUnknown}, {19, 24, shoot.PauseInside}, {20, 20, shoot.PauseBetween}} {
		runs := shoot.Runs(stacksOf(t, []int{c.first, c.second}, []float64{7.8}), 0)
		if len(runs) != 2 || runs[1].MayContinue != runs[0] {
			t.Fatalf("%d and %d frames: %d runs", c.first, c.second, len(runs))
		}
		runs[1].Pause = c.pause // of these times and counts all cases are asked for
		apart := fmt.Sprint([]int{c.first, c.second})
		whole := fmt.Sprint([]int{c.first + c.second})
		unseen := apart
		if c.pause == shoot.PauseInside {
			unseen = whole
		}
		for part, want := range map[shoot.Part]string{shoot.PartUnknown: unseen, shoot.PartGoesOn: whole, shoot.PartApart: apart} {
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
			if fmt.Sprint(counts) != want || asks != (part == shoot.PartUnknown && c.pause == shoot.PauseUnknown) {
				t.Errorf("%v, pause %v: %v, asks %v; want %v", part, c.pause, counts, asks, want)
			}
		}
		if runs[1].MayContinue != runs[0] || len(runs[0].Frames) != c.first {
			t.Error("the runs given were changed")
		}
	}
}

// The pictures are asked about a pause wherever a stack may have been interrupted, and counts
// say only what it is where they do not show it; about pauses that come back as a motor makes
// them, and about longer ones, they are not asked.
func TestPausesThatPicturesAreAskedAbout(t *testing.T) {
	for _, c := range []struct {
		name    string
		counts  []int
		pauses  []float64
		planned int
		want    []shoot.Pause // behind each pause; below 0 where nobody asks
	}{
		{"two halves", []int{25, 25}, []float64{7.8}, 0, []shoot.Pause{shoot.PauseBetween}},
		{"two stacks as planned", []int{25, 25}, []float64{7.8}, 25, []shoot.Pause{shoot.PauseBetween}},
		{"two halves of the plan", []int{25, 25}, []float64{7.8}, 50, []shoot.Pause{shoot.PauseInside}},
		{"two halves beside two whole", []int{50, 25, 25, 50}, []float64{40, 7.8, 40}, 0, []shoot.Pause{-1, shoot.PauseInside, -1}},
		{"three stacks turned by hand", []int{20, 20, 20}, []float64{9.1, 6.5}, 0, []shoot.Pause{shoot.PauseBetween, shoot.PauseBetween}},
		{"unlike parts", []int{14, 17}, []float64{7.8}, 0, []shoot.Pause{shoot.PauseUnknown}},
		{"a column", []int{20, 20, 20, 20}, []float64{5.2, 5.3, 5.2}, 0, []shoot.Pause{-1, -1, -1}},
		{"two halves, long apart", []int{25, 25}, []float64{15}, 0, []shoot.Pause{-1}},
	} {
		runs := shoot.Runs(stacksOf(t, c.counts, c.pauses), c.planned)
		if len(runs) != len(c.counts) {
			t.Errorf("%s: %d runs", c.name, len(runs))
			continue
		}
		for i, want := range c.want {
			switch r := runs[i+1]; {
			case want < 0 && r.MayContinue != nil:
				t.Errorf("%s: run %d may go on", c.name, i+2)
			case want >= 0 && (r.MayContinue != runs[i] || r.Pause != want):
				t.Errorf("%s: run %d: pause %v, asked %v; want %v", c.name, i+2, r.Pause, r.MayContinue != nil, want)
			}
		}
		// Without pictures, counts decide: what they decide is not asked again.
		for _, q := range shoot.Sessions(runs, nil, &shoot.Options{})[0].Sequences {
			if q.MayContinue != nil && q.Pause != shoot.PauseUnknown {
				t.Errorf("%s: %s is asked about", c.name, q.ID)
			}
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
		{"t=1/640", shoot.Seen{Camera: shoot.CameraStands}, shoot.SupportAuto, "series tripod: pictures that do not move"},
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

// A motor that a timer drives makes a focus sequence at the interval of a time-lapse. Where focus
// walks, but in steps too fine to scale the picture, it is no time-lapse that is good unasked.
func TestTimeLapseWhoseFocusWalks(t *testing.T) {
	text, err := audittest.Read(strings.NewReader("DCIM/100BXCAM/BX1_0001..0150.NEF every 2.5s time=2026-03-04T09:12:40.12+01:00 t=0.8 f=5.6 iso=100"))
	if err != nil {
		t.Fatal(err)
	}
	for seen, want := range map[shoot.Motion]shoot.Kind{
		shoot.MotionUnknown: shoot.TimeLapse, shoot.FocusStands: shoot.TimeLapse,
		shoot.FocusWalks: shoot.Series, shoot.FocusSurelyWalks: shoot.Focus,
	} {
		runs := shoot.Runs(text.Files, 0)
		if q := shoot.Sessions(runs, []shoot.Seen{{Focus: seen}}, &shoot.Options{})[0].Sequences[0]; q.Kind != want {
			t.Errorf("motion %d: %v, want %v", seen, q.Kind, want)
		}
	}
}
