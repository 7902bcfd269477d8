package rules

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// memo keeps the registrations of all tests: most inspect the same run with one fault each.
var memo pixels.Memo

// lookAt audits a folder with its pictures.
func lookAt(t testing.TB, p *pictures.Measurer, folder string) *audit.Result {
	t.Helper()
	p.Memo = &memo
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(t.Context(), c, &audit.Options{
		Rules:   All(),
		Measure: p.Measure,
	})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// TestPictures does each fault to the same run and holds what is reported of it to
// the beginning of a line each.
func TestPictures(t *testing.T) {
	clean := picturestest.Covering()
	n := len(clean)
	focusing := picturestest.Camera{Every: 1300 * time.Millisecond}
	standing := pixelstest.Run(4, 30, 0.4, 0.4, 0)
	every := picturestest.Camera{Every: 10 * time.Second}
	flashing := picturestest.Camera{Every: focusing.Every, Change: func(_ int, m *exifread.Metadata) {
		m.ExposureTime, m.Flash = exifread.Of(exifread.Rational{Num: 1, Den: 125}), exifread.Of(exifread.Flash(1))
	}}
	closer := picturestest.Camera{Every: focusing.Every, Distance: func(f float64) float64 { return 0.6 - 0.15*f }}
	for i, c := range []struct {
		name   string
		camera picturestest.Camera
		shots  []pixelstest.Shot
		kind   shoot.Kind
		want   []string
	}{
		{"clean", focusing, clean, shoot.Focus, nil},
		{"two frames at every position", focusing, twice(clean), shoot.Focus, []string{"note focus-stall: two frames were taken at every focus position"}},
		{"begins inside", focusing, clean[9:], shoot.Focus, []string{"note near-edge: "}},
		{"ends inside", focusing, clean[:n-9], shoot.Focus, []string{"check far-edge: "}},
		{
			"far to near, ends inside",
			picturestest.Camera{Every: focusing.Every, Distance: func(f float64) float64 { return 0.3 + 0.01*f }},
			backwards(clean[9:]), shoot.Focus,
			[]string{"note near-edge: "},
		},
		{"knocked", focusing, pixelstest.Bump(clean, 11, n, 2.5, 1), shoot.Focus, []string{"check moved: the picture jumps between 0011 and 0012 by about 2.7 pixels: inspect"}},
		{"knocked for one frame", focusing, pixelstest.Bump(clean, 11, 1, 0, 3), shoot.Focus, []string{"check moved: the picture jumps between 001"}},
		{"moved far", focusing, pixelstest.Bump(clean, 11, n, 160, 90), shoot.Focus, []string{"check moved: the pictures up to 0011 do not match those from 0012 on"}},
		{"moved far for one frame", focusing, pixelstest.Bump(clean, 11, 1, 160, 90), shoot.Focus, []string{"check moved: frame 0012 does not match"}},
		{"flash not ready", focusing, pixelstest.Brighten(clean, 13, 1, -2), shoot.Focus, []string{"reshoot dark-frame: frame 0014 is about 2"}},
		{"lamp", focusing, pixelstest.Brighten(clean, 13, n, 0.3), shoot.Focus, []string{"check brightness-drift: the picture gets brighter by about 0.3"}},
		{"covered by a curtain", focusing, covered(clean, 13), shoot.Focus, []string{"check banding: frame 0014 has a dark band along a long edge, over "}},
		{
			"covered by a curtain while the flash fired",
			picturestest.Camera{Every: focusing.Every, Change: func(_ int, m *exifread.Metadata) {
				m.ExposureTime, m.Flash = exifread.Of(exifread.Rational{Num: 1, Den: 200}), exifread.Of(exifread.Flash(1))
			}},
			covered(clean, 13), shoot.Focus,
			[]string{"check sync-speed: frame 0014 has a dark band along a long edge, over "},
		},
		{"a lamp that pulses", focusing, pulsing(clean, 0.3), shoot.Focus, []string{"check banding: from "}},
		{"a lamp that hardly pulses", focusing, pulsing(clean, 0.03), shoot.Focus, nil},
		{"shaken", focusing, pixelstest.Shake(clean, 12, 6, 1), shoot.Focus, []string{"note soft-frame: frame 0013 is softer"}},
		{"stops", focusing, pixelstest.Stall(clean, n-6, 5, false), shoot.Focus, []string{"check focus-stall: focus does not move in frames 0019 to 0024"}},
		{"starts over", focusing, pixelstest.Restart(clean, 15), shoot.Focus, []string{"check focus-turn: focus jumps back by about 1"}},
		{"wide steps", focusing, pixelstest.Run(3, 9, -0.12, 1.12, 0.02), shoot.Focus, []string{"check focus-gap: half-way between two frames"}},
		{"one wide step", focusing, pixelstest.Missing(pixelstest.Run(3, 40, -0.12, 1.12, 0.04), 20, 1), shoot.Focus, []string{"note focus-gap: focus moves about "}},
		{"one step too wide", focusing, pixelstest.Missing(clean, 10, 2), shoot.Focus, []string{"check focus-gap: focus moves about "}},
		{
			"two lost, as number and time say", lossy(2, false), pixelstest.Missing(clean, 12, 2), shoot.Focus,
			[]string{"reshoot missing-frame: 0013 and 0014 are not there; 0012 to 0015 took 3.9 s, where a frame comes every 1.3 s, and focus moved about 2.9 times its usual step"},
		},
		{
			"one lost by number on a clock of whole seconds", coarsely(lossyAt(20, 1, false)), pixelstest.Missing(pixelstest.Run(3, 40, -0.12, 1.12, 0.04), 20, 1), shoot.Focus,
			[]string{"reshoot missing-frame: 0021 is not there; from 0020 to 0022 focus moves about 2"},
		},
		{
			"a number left out on a clock of whole seconds, and focus went on", coarsely(lossyAt(20, 1, false)), pixelstest.Run(3, 40, -0.12, 1.12, 0.04), shoot.Focus, nil,
		},
		{
			"two lost, and numbers run on", lossy(2, true), pixelstest.Missing(clean, 12, 2), shoot.Focus,
			[]string{"reshoot cadence-break: 0012 to 0013 took 3.9 s, where a frame comes every 1.3 s, and focus moved about 2.9 times its usual step"},
		},
		{
			"one lost, numbers run on, small steps", lossyAt(20, 1, true), pixelstest.Missing(pixelstest.Run(3, 40, -0.12, 1.12, 0.04), 20, 1), shoot.Focus,
			[]string{"check cadence-break: 0020 to 0021 took 2.6 s, where a frame comes every 1.3 s, and focus moved about 2"},
		},
		{"the camera waited, and focus with it", lossy(1, true), clean, shoot.Focus, nil},
		{"small flashes that scatter", flashing, scattering(clean, 0.07), shoot.Focus, []string{"note brightness-drift: the brightness flickers"}},
		{"a flash that does not repeat", flashing, scattering(clean, 0.15), shoot.Focus, []string{"check brightness-drift: "}},
		{"lamps that scatter as flashes do", focusing, scattering(clean, 0.07), shoot.Focus, []string{"check brightness-drift: the brightness flickers"}},
		{"a lens that loses light as it focuses closer", closer, darkening(clean, 0.4), shoot.Focus, nil},
		{"the same where no distance is recorded", focusing, darkening(clean, 0.4), shoot.Focus, []string{"check brightness-drift: the brightness changes by about 0.3"}},
		{"more light lost than by the lens", closer, darkening(clean, 0.9), shoot.Focus, []string{"check brightness-drift: the brightness changes by about 0."}},
		{"brighter as it focuses closer", closer, darkening(clean, -0.4), shoot.Focus, []string{"check brightness-drift: the brightness changes by about 0."}},
		{"clip", every, standing, shoot.TimeLapse, nil},
		{"clip that flickers", every, flicker(standing), shoot.TimeLapse, []string{"note brightness-drift: the brightness flickers"}},
		{"clip, knocked", every, pixelstest.Bump(standing, 11, 30, 2.5, 1), shoot.TimeLapse, []string{"note moved: "}},
		{"clip, dark frame", every, pixelstest.Brighten(standing, 13, 1, -2), shoot.TimeLapse, []string{"check dark-frame: "}},
		{
			"dark by its settings",
			picturestest.Camera{Every: focusing.Every, Change: func(i int, m *exifread.Metadata) {
				if i == 13 {
					m.FNumber = exifread.Of(exifread.Rational{Num: 112, Den: 10})
				}
			}},
			pixelstest.Brighten(clean, 13, 1, -2), shoot.Focus,
			[]string{"check aperture-drift: "},
		},
		{"cap before the lens", focusing, pixelstest.Brighten(clean, n-1, 1, -14), shoot.Focus, nil},
		{
			"darker by its settings for good", timed(13, 33), pixelstest.Brighten(clean, 13, n, -1.32), shoot.Focus,
			[]string{"check exposure-drift: "},
		},
		{
			"brighter by its settings for good", timed(13, 200), pixelstest.Brighten(clean, 13, n, 1.32), shoot.Focus,
			[]string{"check exposure-drift: "},
		},
		{
			"a lamp more, for good", focusing, pixelstest.Brighten(clean, 12, n, 1.3), shoot.Focus,
			[]string{"check brightness-drift: the picture gets brighter by about 1.3 EV from 0012 to 0013 at the same settings"},
		},
		{
			"a lamp less, for good", focusing, pixelstest.Brighten(clean, 12, n, -1.5), shoot.Focus,
			[]string{"check brightness-drift: the picture gets darker by about 1.5 EV from 0012 to 0013 at the same settings"},
		},
		{
			"the flash failed for good", focusing, pixelstest.Brighten(clean, 13, n, -14), shoot.Focus,
			[]string{"reshoot dark-frame: frames 0014 to 0024 are more than 6 EV darker than their neighbours at the same settings"},
		},
		{
			"the flash failed three times", focusing, pixelstest.Brighten(pixelstest.Brighten(clean, 6, 1, -2), 12, 2, -3), shoot.Focus,
			[]string{"reshoot dark-frame: frames 0007, 0013 and 0014 are up to about 3 EV darker than their neighbours"},
		},
		{
			"the flash failed for most of it", focusing, pixelstest.Brighten(clean, 4, n, -14), shoot.Series,
			[]string{"check dark-frame: frames 0005 to 0024 are more than 6 EV darker than their neighbours"},
		},
		{"all black", focusing, pixelstest.Brighten(clean, 0, n, -14), shoot.Series, []string{"check dark-frame: all pictures are black"}},
		{
			"three frames with the cap on", focusing, pixelstest.Brighten(clean, n-3, n, -14), shoot.Focus,
			[]string{"check dark-frame: frames 0022 to 0024"},
		},
		{
			"flash, at another time of no effect", timedAt(focusing, 13, 14, 400), clean, shoot.Focus,
			[]string{"check exposure-drift: "},
		},
		{
			"a frame without ISO, another at f/11",
			picturestest.Camera{Every: focusing.Every, Change: func(i int, m *exifread.Metadata) {
				switch i {
				case 3:
					m.Sensitivity = exifread.Value[uint32]{}
				case 13:
					m.FNumber = exifread.Of(exifread.Rational{Num: 112, Den: 10})
				}
			}},
			pixelstest.Brighten(clean, 13, 1, -2), shoot.Focus,
			[]string{"check aperture-drift: "},
		},
		{
			"light that fades, and exposure that follows",
			picturestest.Camera{Every: focusing.Every, Change: func(i int, m *exifread.Metadata) {
				m.ExposureTime = exifread.Of(exifread.Rational{Num: int64(800 * math.Exp2(math.Round(0.06*float64(i)*3)/3)), Den: 1000})
			}},
			fading(pixelstest.Run(4, 28, 0.4, 0.4, 0), 0.06), shoot.Series,
			[]string{"check exposure-drift: "},
		},
		{
			"coarse distances and a wait",
			picturestest.Camera{
				Every: focusing.Every, NumbersRunOn: true,
				Distance: func(f float64) float64 { return 0.3 + math.Round(24*1.17*f)/100 },
				Skip: func(i int) int {
					if i == 9 {
						return 1
					}
					return 0
				},
			},
			pixelstest.Run(3, 24, -0.12, 1.12, 0), shoot.Focus, nil,
		},
		{
			"stops in its middle, and at its end", focusing, pixelstest.Stall(pixelstest.Stall(clean, 8, 2, false), n-3, 2, false), shoot.Focus,
			// Where it goes on it is three steps ahead.
			[]string{"check focus-gap: focus moves about 2.8 times as far between 0011 and 0012", "check focus-stall: "},
		},
		{
			"first frame black, ends inside", focusing, pixelstest.Brighten(append(clean[:1:1], clean[:n-9]...), 0, 1, -14), shoot.Focus,
			[]string{"check far-edge: "},
		},
		{"a test frame before", focusing, append([]pixelstest.Shot{{Focus: 0.5, Noise: 77}}, clean...), shoot.Focus, nil},
		{"a test frame behind", focusing, append(clean[:n:n], pixelstest.Shot{Focus: clean[0].Focus, Noise: 77}), shoot.Focus, nil},
		{
			"moved far, and back after two frames", focusing, pixelstest.Bump(clean, 11, 2, 160, 90), shoot.Focus,
			[]string{"check moved: the pictures up to 0011 do not match those from 0012 on, and in 1 other place"},
		},
		{
			"flicker, where one frame has other settings", timedAt(picturestest.Camera{Every: every.Every}, 28, 29, 100), flicker(standing), shoot.TimeLapse,
			[]string{"note brightness-drift: the brightness flickers", "check exposure-drift: "},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			if i%4 > 0 {
				pixelstest.Long(t)
			}
			if testing.Short() && i%6 > 0 {
				t.Skip("renders many pictures")
			}
			result := lookAt(t, &pictures.Measurer{}, c.camera.Shoot(t, c.shots))
			q := result.Sessions[0].Sequences[0]
			if q.Kind != c.kind {
				t.Errorf("kind %v, want %v", q.Kind, c.kind)
			}
			got := slices.DeleteFunc(audittest.Told(result), func(s string) bool { return strings.HasPrefix(s, "note auto") || strings.HasPrefix(s, "note shutter") })
			ok := len(got) == len(c.want)
			for i := range min(len(got), len(c.want)) {
				ok = ok && strings.HasPrefix(got[i], c.want[i])
			}
			if !ok {
				t.Errorf("found\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
			t.Logf("%s\nnot judged: %v", strings.Join(got, "\n"), q.NotJudged)
		})
	}
}

// twice takes each shot twice.
func twice(shots []pixelstest.Shot) (out []pixelstest.Shot) {
	for _, s := range shots {
		again := s
		again.Noise += 5_000_000
		out = append(out, s, again)
	}
	return out
}

// lossy is a camera that loses the given number of frames before the thirteenth.
func lossy(lost int, numbersRunOn bool) picturestest.Camera { return lossyAt(12, lost, numbersRunOn) }

func lossyAt(at, lost int, numbersRunOn bool) picturestest.Camera {
	return picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: numbersRunOn, Skip: func(i int) int {
		if i == at {
			return lost
		}
		return 0
	}}
}

// coarsely has a camera record no fractions of a second.
func coarsely(c picturestest.Camera) picturestest.Camera {
	c.Every = 1000 * time.Millisecond
	c.Change = func(_ int, m *exifread.Metadata) {
		stamp, _ := m.Captured.Get()
		stamp.Wall, stamp.Resolution = stamp.Wall.Truncate(time.Second), time.Second
		m.Captured = exifread.Of(stamp)
	}
	return c
}

// timed is a camera whose exposure time changes to the given hundredths of a
// second from a frame on.
func timed(from int, hundredths int64) picturestest.Camera {
	return timedAt(picturestest.Camera{Every: 1300 * time.Millisecond}, from, math.MaxInt, hundredths)
}

func timedAt(c picturestest.Camera, from, to int, hundredths int64) picturestest.Camera {
	c.Change = func(i int, m *exifread.Metadata) {
		if i >= from && i < to {
			m.ExposureTime = exifread.Of(exifread.Rational{Num: hundredths, Den: 100})
		}
	}
	return c
}

// fading takes light from each shot more than from the one before, but for what
// the exposure in thirds of an EV gives back.
func fading(shots []pixelstest.Shot, ev float64) []pixelstest.Shot {
	out := slices.Clone(shots)
	for i := range out {
		out[i].EV += math.Round(ev*float64(i)*3)/3 - ev*float64(i)
	}
	return out
}

// TestPicturesOfRow holds that of pictures of one thing after another, as in a
// panorama, nothing is reported.
func TestPicturesOfRow(t *testing.T) {
	var row [][]byte
	for i := range 8 {
		d := pixelstest.Random(uint64(200 + 2*i))
		d.Width, d.Height = 288, 192
		row = append(row, d.Build().JPEG(pixelstest.Shot{Focus: 0.5, EV: 0.8 - 0.3*float64(i), Noise: uint64(i + 1)}))
	}
	folder := picturestest.Camera{Every: 4 * time.Second}.Write(t, len(row), func(i int) []byte { return row[i] })
	if got := slices.DeleteFunc(audittest.Told(lookAt(t, &pictures.Measurer{}, folder)), func(s string) bool { return strings.HasPrefix(s, "note auto") }); len(got) > 0 {
		t.Errorf("found %q", got)
	}
}

// TestPicturesOfMarkers holds that frames at the ends that show something else are
// no part of a run.
func TestPicturesOfMarkers(t *testing.T) {
	marker := pixelstest.Scene{
		Seed: 99, Width: 576, Height: 384, Shape: pixelstest.Plane, Depth: 2, Contrast: 1, PSF: 0.6, Electrons: 40000, Quality: 90,
	}.Build()
	standing := pixelstest.Run(4, 20, 0.4, 0.4, 0)
	for _, c := range []struct {
		name          string
		before, after int
		shots         []pixelstest.Shot
		kind          shoot.Kind
	}{
		{"before", 1, 0, picturestest.Covering(), shoot.Focus},
		{"behind", 0, 2, picturestest.Covering(), shoot.Focus},
		{"both", 2, 1, picturestest.Covering(), shoot.Focus},
		{"standing, before", 1, 0, standing, shoot.Series},
		{"standing, both", 1, 2, standing, shoot.Series},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Write(t, c.before+len(c.shots)+c.after, func(i int) []byte {
				if i < c.before || i >= c.before+len(c.shots) {
					return marker.JPEG(pixelstest.Shot{Focus: 0.5, Noise: uint64(i + 1)})
				}
				return picturestest.Scene().JPEG(c.shots[i-c.before])
			})
			result := lookAt(t, &pictures.Measurer{}, folder)
			q := result.Sessions[0].Sequences[0]
			if q.Kind != c.kind {
				t.Errorf("kind %v, want %v", q.Kind, c.kind)
			}
			if got := audittest.Told(result); len(got) > 0 {
				t.Errorf("found %q", got)
			}
		})
	}
}

// TestPicturesOfRetake holds that a sequence of another view, one turned or shifted among
// them, is no retake, and that one of the same view is, even a little aside.
func TestPicturesOfRetake(t *testing.T) {
	pixelstest.Long(t)
	other := pixelstest.Scene{
		Seed: 98, Width: 576, Height: 384, Shape: pixelstest.Steps, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.03, Electrons: 40000, Quality: 90,
	}.Build()
	shots := picturestest.Covering()
	n := len(shots)
	faulty := pixelstest.Brighten(shots, 13, 1, -2)
	aside := pixelstest.Bump(shots, 0, n, 4, 3)
	moved := pixelstest.Bump(shots, 0, n, 60, 30)
	turned := picturestest.Turned()
	dark := pixelstest.Brighten(shots, 0, 1, -14)
	for _, c := range []struct {
		name   string
		second func(i int) []byte
		want   bool
	}{
		{"same view", func(i int) []byte { return picturestest.Scene().JPEG(shots[i]) }, true},
		{"a little aside", func(i int) []byte { return picturestest.Scene().JPEG(aside[i]) }, true},
		{"shifted by a tenth", func(i int) []byte { return picturestest.Scene().JPEG(moved[i]) }, false},
		{"turned by 10°", func(i int) []byte { return turned.JPEG(shots[i]) }, false},
		{"another view", func(i int) []byte { return other.JPEG(shots[i]) }, false},
		{"another view, first frame black", func(i int) []byte { return other.JPEG(dark[i]) }, false},
	} {
		minutes := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int {
			if i == n {
				return 100
			}
			return 0
		}}
		folder := minutes.Write(t, 2*n, func(i int) []byte {
			if i < n {
				return picturestest.Scene().JPEG(faulty[i])
			}
			return c.second(i - n)
		})
		result := lookAt(t, &pictures.Measurer{}, folder)
		q := result.Sessions[0].Sequences
		if len(q) != 2 || q[0].Verdict != audit.VerdictReshoot {
			t.Fatalf("%s: %d sequences, the first %v", c.name, len(q), q[0].Verdict)
		}
		if retaken := q[0].SupersededBy != nil; retaken != c.want {
			t.Errorf("%s: retaken is %v", c.name, retaken)
		}
	}
}

// TestPicturesPartlyThere holds that frames whose pictures cannot be inspected are
// reported, and that nothing is concluded about an end that has none.
func TestPicturesPartlyThere(t *testing.T) {
	shots := picturestest.Covering()
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Write(t, len(shots), func(i int) []byte {
		picture := picturestest.Scene().JPEG(shots[i])
		if i < 9 {
			clear(picture[len(picture)/3 : len(picture)-2])
		}
		return picture
	})
	result := lookAt(t, &pictures.Measurer{}, folder)
	q := result.Sessions[0].Sequences[0]
	if got := audittest.Told(result); len(got) != 1 || !strings.HasPrefix(got[0], "reshoot torn-file: the picture of frames 0001 to 0009 is damaged: it cannot be decoded") {
		t.Errorf("found %q", got)
	}
	for rule := range onPictures {
		if rule == bracketRange || rule == dust || rule == softSingle {
			continue // this is no bracket, no session of several sequences, and no single frame
		}
		if !slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == rule.ID && n.Frames == 9 }) {
			t.Errorf("%s does not say that it could not look at 9 frames: %v", rule.ID, q.NotJudged)
		}
	}
}

// TestPicturesWithoutTimes holds that frames that record no time and no other sign
// of what they were made for, once their pictures show a focus sequence, are taken to
// be made on a tripod as every focus sequence: a knock is found.
func TestPicturesWithoutTimes(t *testing.T) {
	untimed := picturestest.Camera{Change: func(_ int, m *exifread.Metadata) {
		m.Captured = exifread.Value[exifread.Timestamp]{}
		m.ExposureTime = exifread.Of(exifread.Rational{Num: 1, Den: 60})
	}}
	folder := untimed.Shoot(t, pixelstest.Bump(picturestest.Covering(), 12, 12, 3, 0))
	result := lookAt(t, &pictures.Measurer{}, folder) // their numbers ask for it
	q := result.Sessions[0].Sequences[0]
	if q.Kind != shoot.Focus || q.Support != shoot.Tripod {
		t.Errorf("%v, %v; want a focus sequence on a tripod", q.Kind, q.Support)
	}
	moved := func(s string) bool { return strings.Contains(s, " moved: ") }
	if got := audittest.Told(result); !slices.ContainsFunc(got, moved) {
		t.Errorf("the knock is not found: %q", got)
	}
}

// flicker changes every other shot's brightness.
func flicker(shots []pixelstest.Shot) []pixelstest.Shot {
	out := slices.Clone(shots)
	for i := range out {
		out[i].EV += 0.2 * math.Sin(float64(3*i))
	}
	return out
}

// TestPicturesNotThere holds that nothing is found where there is nothing to
// inspect, and that this is reported.
func TestPicturesNotThere(t *testing.T) {
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[:8])
	// Frames whose image data was lost behind the header.
	files, err := filepath.Glob(filepath.Join(folder, "*.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for i := len(data) / 3; i < len(data)-2; i++ {
			data[i] = 0
		}
		if err := os.WriteFile(f, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for name, p := range map[string]*pictures.Measurer{"damaged": {}, "not inspected": nil} {
		c, err := shoot.Collect(t.Context(), []string{folder}, nil)
		if err != nil {
			t.Fatal(err)
		}
		opt := &audit.Options{Rules: All()}
		if p != nil {
			opt.Measure = p.Measure
		}
		result, err := audit.Judge(t.Context(), c, opt)
		if err != nil {
			t.Fatal(err)
		}
		reasons := map[string]string{}
		for _, n := range result.Sessions[0].Sequences[0].NotJudged {
			reasons[n.Rule] = n.Reason
		}
		for rule := range onPictures {
			if rule == bracketRange || rule == dust || rule == softSingle {
				continue // this is no bracket, no session of several sequences, and no single frame
			}
			if reasons[rule.ID] == "" {
				t.Errorf("%s: %s is neither found nor said to be not judged", name, rule.ID)
			}
		}
	}
}

func backwards(shots []pixelstest.Shot) []pixelstest.Shot {
	out := slices.Clone(shots)
	slices.Reverse(out)
	return out
}

// TestPicturesReal holds what is reported of the real scene of three balls, of which
// the lens could not reach the nearest, at the left.
func TestPicturesReal(t *testing.T) {
	folder := filepath.Join("..", "..", "shared", "data", "focus", "balls")
	if _, err := os.Stat(folder); err != nil {
		t.Skipf("the real series are not beside the module: %v", err)
	}
	result := lookAt(t, &pictures.Measurer{All: true}, folder)
	q := result.Sessions[0].Sequences
	if len(q) != 1 || q[0].Kind != shoot.Focus {
		t.Fatalf("%d sequences, the first %v; want a focus sequence", len(q), q[0].Kind)
	}
	got := slices.DeleteFunc(audittest.Told(result), func(s string) bool { return strings.HasPrefix(s, "check no-exif") })
	if len(got) != 1 || !strings.HasPrefix(got[0], "check far-edge: 28 % of the textured area (left half) was still getting sharper in the last frame, 09") {
		t.Errorf("found %q", got)
	}
}

// covered lets a curtain of the shutter cover part of one shot.
func covered(shots []pixelstest.Shot, at int) []pixelstest.Shot {
	out := slices.Clone(shots)
	out[at].Covered = 0.25
	return out
}

// pulsing lights the shots by a lamp that pulses while the lines are read.
func pulsing(shots []pixelstest.Shot, ev float64) []pixelstest.Shot {
	out := slices.Clone(shots)
	for i := range out {
		out[i].Ripple, out[i].Phase = ev, 0.37*float64(i)
	}
	return out
}

// scattering lights the shots by more and by less in turn.
func scattering(shots []pixelstest.Shot, ev float64) []pixelstest.Shot {
	out := slices.Clone(shots)
	for i := range out {
		out[i].EV += ev * [...]float64{1, -1, 0.5, -0.5, 1, 0}[i%6]
	}
	return out
}

// darkening takes light from the shots, more with every one.
func darkening(shots []pixelstest.Shot, ev float64) []pixelstest.Shot {
	out := slices.Clone(shots)
	for i := range out {
		out[i].EV -= ev * float64(i) / float64(len(out)-1)
	}
	return out
}
