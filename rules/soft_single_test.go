package rules

import (
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// stone is a flat subject: single frames show all of it sharply.
var stone = pixelstest.Scene{
	Seed: 41, Width: 576, Height: 384, Shape: pixelstest.Ammonite, Depth: 6, Contrast: 1, PSF: 0.6, Breathing: 0.006, Electrons: 20000, Quality: 85,
}

// TestSoftSingle holds the rule to rendered single frames, one a minute.
func TestSoftSingle(t *testing.T) {
	pixelstest.Long(t)
	flat := stone.Build()
	turned := flat.Yawed(10)
	// As diffraction blurs at a working f-number of 90 a picture that is 24 mm wide on the sensor.
	stopped := stone
	stopped.PSF = 1.4
	diffracted := stopped.Build()
	sharp := pixelstest.Shot{Focus: 0.4}
	shaken, hardly, missed, brighter := sharp, sharp, sharp, sharp
	shaken.Shake, shaken.Angle = 4, 0.6
	shakenBrighter := shaken
	shakenBrighter.EV = 1
	missed.Focus = 1.8
	hardly.Shake = 1.5
	brighter.EV = 1
	type frame struct {
		of *pixelstest.Built
		pixelstest.Shot
	}
	fault := []string{"note soft-single: frame 0002 is softer than frame 0001, which shows the same view: inspect both at 100 %; if the frame is blurred, shoot it again"}
	for _, c := range []struct {
		name   string
		frames []frame
		change func(i int, m *exifread.Metadata)
		want   []string
	}{
		{"clean: twice", []frame{{flat, sharp}, {flat, sharp}}, nil, nil},
		{"clean: one stop brighter", []frame{{flat, sharp}, {flat, brighter}}, nil, nil},
		{"clean: one alone", []frame{{flat, shaken}}, nil, nil},
		{"fault: shaken", []frame{{flat, sharp}, {flat, shaken}}, nil, fault},
		{"fault: focus missed", []frame{{flat, sharp}, {flat, missed}}, nil, fault},
		{"fault: another view between", []frame{{flat, sharp}, {turned, sharp}, {flat, shaken}}, nil, []string{strings.ReplaceAll(fault[0], "0002", "0003")}},
		{"fault: at another exposure time", []frame{{flat, sharp}, {flat, shaken}}, func(i int, m *exifread.Metadata) {
			m.ExposureTime = exifread.Of(exifread.Rational{Num: 1, Den: 10 * int64(i+1)})
		}, fault},
		{"limit: hardly shaken", []frame{{flat, sharp}, {flat, hardly}}, nil, nil},
		{"limit: a sharper one follows", []frame{{flat, shaken}, {flat, sharp}}, nil, nil},
		{"limit: shot again", []frame{{flat, sharp}, {flat, shaken}, {flat, sharp}}, nil, nil},
		{"missing: the subject was turned", []frame{{flat, sharp}, {turned, shaken}}, nil, nil},
		{"missing: framed anew", []frame{{flat, sharp}, {flat, pixelstest.Shot{Focus: 0.4, ShiftX: 60, Shake: 4}}}, nil, nil},
		{"missing: another f-number", []frame{{flat, sharp}, {flat, shaken}}, func(i int, m *exifread.Metadata) {
			m.FNumber = exifread.Of(exifread.Rational{Num: 8 * int64(i+1), Den: 1})
		}, nil},
		{"fault: no f-number is recorded", []frame{{flat, sharp}, {flat, shaken}}, func(_ int, m *exifread.Metadata) {
			m.FNumber = exifread.Value[exifread.Rational]{}
		}, fault},
		{"missing: no f-number, and two stops more of time give no more light", []frame{{flat, sharp}, {diffracted, sharp}}, func(i int, m *exifread.Metadata) {
			m.FNumber = exifread.Value[exifread.Rational]{}
			m.ExposureTime = exifread.Of(exifread.Rational{Num: int64(1 + 3*i), Den: 10})
		}, nil},
		{"fault: shaken, no f-number, and one stop more of time gives one more EV", []frame{{flat, sharp}, {flat, shakenBrighter}}, func(i int, m *exifread.Metadata) {
			m.FNumber = exifread.Value[exifread.Rational]{}
			m.ExposureTime = exifread.Of(exifread.Rational{Num: int64(1 + i), Den: 10})
		}, fault},
		{"missing: no f-number, and the exposure time is not recorded", []frame{{flat, sharp}, {flat, shaken}}, func(_ int, m *exifread.Metadata) {
			m.FNumber, m.ExposureTime = exifread.Value[exifread.Rational]{}, exifread.Value[exifread.Rational]{}
		}, nil},
		{"missing: two stops of ISO apart", []frame{{flat, sharp}, {flat, shaken}}, func(i int, m *exifread.Metadata) {
			m.Sensitivity = exifread.Of(100 * uint32(1+3*i))
		}, nil},
	} {
		camera := picturestest.Camera{Every: time.Minute, Change: c.change}
		result := lookAt(t, &pictures.Measurer{}, camera.Write(t, len(c.frames), func(i int) []byte {
			f := c.frames[i]
			f.Noise = uint64(i + 1)
			return f.of.JPEG(f.Shot)
		}))
		got := slices.DeleteFunc(audittest.Told(result), func(s string) bool { return !strings.Contains(s, softSingle.ID) })
		if !slices.Equal(got, c.want) || result.Verdict != audit.VerdictGood {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestSoftSingleBesideASequence holds the rule to frames beside a focus sequence of the view at
// the same settings: a soft one before it is a test, and one behind it is compared with
// it; and to two frames one soon after the other.
func TestSoftSingleBesideASequence(t *testing.T) {
	pixelstest.Long(t)
	run := pixelstest.Run(3, 16, -0.12, 1.12, 0.04)
	sharp := pixelstest.Shot{Focus: 0.45, Noise: 91}
	shaken := pixelstest.Shot{Focus: 0.45, Noise: 92, Shake: 5, Angle: 0.6}
	missed := pixelstest.Shot{Focus: 1.2, Noise: 93}
	hardly := pixelstest.Shot{Focus: 0.45, Noise: 94, Shake: 1.2}
	stopped := func(i int, m *exifread.Metadata) {
		if i == 16 {
			m.FNumber = exifread.Of(exifread.Rational{Num: 16, Den: 1})
		}
	}
	for _, c := range []struct {
		name  string
		shots []pixelstest.Shot
		pause int // the frame before which there is one
		want  string
		// change is what the frames record otherwise; nil for nothing.
		change func(i int, m *exifread.Metadata)
	}{
		{"clean: in focus behind it", append(slices.Clone(run), sharp), 16, "", nil},
		{"fault: shaken behind it", append(slices.Clone(run), shaken), 16, "note soft-single: frame 0017 is softer than sequence 1.1, which shows the same view: inspect it at 100 %", nil},
		{"fault: focus missed behind it", append(slices.Clone(run), missed), 16, "note soft-single: frame 0017 is softer than sequence 1.1", nil},
		{"limit: hardly shaken behind it", append(slices.Clone(run), hardly), 16, "", nil},
		{"limit: shot again", append(slices.Clone(run), shaken, sharp), 16, "", nil},
		{"missing: shaken at another f-number", append(slices.Clone(run), shaken), 16, "", stopped},
		{"two behind it", append(slices.Clone(run), sharp, shaken), 16, "note soft-single: frame 0018 is softer than frame 0017, which shows the same view", nil},
		{"a test before it", slices.Concat([]pixelstest.Shot{sharp, shaken}, run), 2, "", nil},
		{"two frames", []pixelstest.Shot{sharp, shaken}, 9, "note soft-single: frame 0002 is softer than frame 0001, which shows the same view", nil},
	} {
		camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Change: c.change, Skip: func(i int) int {
			if i == c.pause {
				return 80
			}
			return 0
		}}
		result := lookAt(t, &pictures.Measurer{}, camera.Shoot(t, c.shots))
		got := ""
		for _, line := range audittest.Told(result) {
			if strings.Contains(line, softSingle.ID) {
				got += line
			}
		}
		if !strings.HasPrefix(got, c.want) || (got == "") != (c.want == "") {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// TestSoftSingleLive holds that a folder that fills comes to the same as one inspection at
// its end, and that a finding goes once the frame is shot again.
func TestSoftSingleLive(t *testing.T) {
	pixelstest.Long(t)
	flat := stone.Build()
	shots := []pixelstest.Shot{{Focus: 0.4, Noise: 1}, {Focus: 0.4, Noise: 2, Shake: 5, Angle: 1}, {Focus: 0.4, Noise: 3}}
	folder := picturestest.Camera{Every: time.Minute}.Write(t, len(shots), func(i int) []byte { return flat.JPEG(shots[i]) })
	comesToTheSame(t, folder, 1, []string{"1.1single 1", "1.2single 1", "1.3single 1"})
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	live := audit.NewLive(&audit.Options{Rules: All(), Measure: (&pictures.Measurer{Memo: &memo}).Measure})
	for i, f := range c.Files {
		live.Put(f.Path, f, time.Now())
		if _, err := live.Look(t.Context(), time.Now(), false, false); err != nil {
			t.Fatal(err)
		}
		found := slices.ContainsFunc(audittest.Told(live.Result()), func(s string) bool { return strings.Contains(s, softSingle.ID) })
		if found != (i == 1) {
			t.Errorf("after %d frames: found %v", i+1, found)
		}
	}
}
