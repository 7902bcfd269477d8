package rules

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// scene is what the made-up camera photographs: a relief 24 px of blur deep.
var scene = sync.OnceValue(func() *pixelstest.Built {
	return pixelstest.Scene{
		Seed: 5, Width: 576, Height: 384, Shape: pixelstest.Relief, Depth: 24, Contrast: 1,
		PSF: 0.6, Breathing: 0.03, Electrons: 40000, Quality: 90,
	}.Build()
})

// covering is a run of a little over 1 px of blur a frame that begins before the
// relief and ends behind it.
func covering() []pixelstest.Shot { return pixelstest.Run(3, 24, -0.12, 1.12, 0.04) }

// A camera is how shots are recorded.
type camera struct {
	every time.Duration
	// distance is the recorded focus distance of a focus, in m; nil for a
	// lens that records none.
	distance func(focus float64) float64
	// skip is how many frames are lost before frame i: their numbers, and the
	// time they took; nil for none. numbersRunOn takes only the time.
	skip         func(i int) int
	numbersRunOn bool
	change       func(i int, m *exifread.Metadata)
}

// shoot writes the shots as files and returns their folder.
func (c camera) shoot(t *testing.T, shots []pixelstest.Shot) string {
	t.Helper()
	record := c.change
	c.change = func(i int, m *exifread.Metadata) {
		if c.distance != nil {
			m.SubjectDistance = exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: c.distance(shots[i].Focus)})
		}
		if record != nil {
			record(i, m)
		}
	}
	return c.write(t, len(shots), func(i int) []byte { return scene().JPEG(shots[i]) })
}

// write writes n frames with the given pictures as files and returns their folder.
func (c camera) write(t testing.TB, n int, picture func(i int) []byte) string {
	t.Helper()
	folder := t.TempDir()
	begin := time.Date(2026, 3, 4, 10, 11, 12, 340_000_000, time.UTC)
	number := 0
	for i := range n {
		number++
		if c.skip != nil {
			begin = begin.Add(time.Duration(c.skip(i)) * c.every)
			if !c.numbersRunOn {
				number += c.skip(i)
			}
		}
		m := &exifread.Metadata{
			Make: exifread.Of("Borealis"), Model: exifread.Of("BX-1"), BodySerial: exifread.Of("4711"), LensModel: exifread.Of("Borealis 90 mm macro"),
			ExposureTime: exifread.Of(exifread.Rational{Num: 8, Den: 10}), FNumber: exifread.Of(exifread.Rational{Num: 56, Den: 10}),
			Sensitivity: exifread.Of[uint32](100), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
			ExposureProgram: exifread.Of(exifread.ProgramManual), ExposureMode: exifread.Of(exifread.ExposureManual),
			WhiteBalance: exifread.Of(exifread.WhiteBalanceManual),
			Captured: exifread.Of(exifread.Timestamp{
				Wall: begin.Add(time.Duration(i) * c.every), Resolution: 10 * time.Millisecond, Offset: exifread.Of(time.Hour),
			}),
			Orientation: exifread.Of[uint16](1),
		}
		if c.change != nil {
			c.change(i, m)
		}
		block, err := exifwrite.Encode(m, binary.LittleEndian)
		if err != nil {
			t.Fatal(err)
		}
		file, err := exifwrite.InsertJPEG(picture(i), block)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("BX1_%04d.JPG", number)), file, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

// lookAt audits a folder with its pictures.
func lookAt(t testing.TB, p *Pictures, folder string) *audit.Result {
	t.Helper()
	c, err := audit.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(c.Files, &audit.Options{
		Rules:   All(),
		Measure: func(q []*audit.Sequence) error { return p.Measure(t.Context(), q) },
	})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// told writes what was found, a line each: severity, rule, sentence and action.
func told(result *audit.Result) []string {
	var out []string
	for _, session := range result.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Findings {
				out = append(out, fmt.Sprintf("%v %s: %s: %s", f.Severity, f.Rule, f.Message, f.Action))
			}
		}
	}
	return out
}

// TestPictures does each fault to the same run and holds what is said of it to
// the beginning of a line each.
func TestPictures(t *testing.T) {
	clean := covering()
	n := len(clean)
	focusing := camera{every: 1300 * time.Millisecond}
	standing := pixelstest.Run(4, 30, 0.4, 0.4, 0)
	every := camera{every: 10 * time.Second}
	for i, c := range []struct {
		name   string
		camera camera
		shots  []pixelstest.Shot
		kind   audit.Kind
		want   []string
	}{
		{"clean", focusing, clean, audit.Focus, nil},
		{"begins inside", focusing, clean[9:], audit.Focus, []string{"note near-edge: "}},
		{"ends inside", focusing, clean[:n-9], audit.Focus, []string{"note far-edge: "}},
		{
			"far to near, ends inside",
			camera{every: focusing.every, distance: func(f float64) float64 { return 0.3 + 0.01*f }},
			backwards(clean[9:]), audit.Focus,
			[]string{"note near-edge: "},
		},
		{"knocked", focusing, pixelstest.Bump(clean, 11, n, 2.5, 1), audit.Focus, []string{"check moved: the picture jumps between 0011 and 0012 by about 2.7 pixels: look at"}},
		{"knocked for one frame", focusing, pixelstest.Bump(clean, 11, 1, 0, 3), audit.Focus, []string{"check moved: the picture jumps between 001"}},
		{"moved far", focusing, pixelstest.Bump(clean, 11, n, 160, 90), audit.Focus, []string{"check moved: the pictures up to 0011 and from 0012 on do not match"}},
		{"moved far for one frame", focusing, pixelstest.Bump(clean, 11, 1, 160, 90), audit.Focus, []string{"check moved: frame 0012 does not match"}},
		{"flash not ready", focusing, pixelstest.Brighten(clean, 13, 1, -2), audit.Focus, []string{"reshoot dark-frame: frame 0014 is darker than the neighbours, about 2"}},
		{"lamp", focusing, pixelstest.Brighten(clean, 13, n, 0.3), audit.Focus, []string{"check brightness-drift: the picture gets brighter by about 0.3"}},
		{"shaken", focusing, pixelstest.Shake(clean, 12, 6, 1), audit.Focus, []string{"note soft-frame: frame 0013 is softer"}},
		{"stops", focusing, pixelstest.Stall(clean, n-6, 5, false), audit.Focus, []string{"check focus-stall: focus does not move through frames 0019 to 0024"}},
		{"starts over", focusing, pixelstest.Restart(clean, 15), audit.Focus, []string{"check focus-turn: focus jumps back by about 1"}},
		{"wide steps", focusing, pixelstest.Run(3, 9, -0.12, 1.12, 0.02), audit.Focus, []string{"check focus-gap: half-way between two frames"}},
		{"one wide step", focusing, pixelstest.Missing(pixelstest.Run(3, 40, -0.12, 1.12, 0.04), 20, 1), audit.Focus, []string{"note focus-gap: focus moves about "}},
		{"one step too wide", focusing, pixelstest.Missing(clean, 10, 2), audit.Focus, []string{"check focus-gap: focus moves about "}},
		{
			"two lost, as number and time say", lossy(2, false), pixelstest.Missing(clean, 12, 2), audit.Focus,
			[]string{"reshoot missing-frame: frames 0013 to 0014 are missing: 0012 to 0015 took 3.9 s, where a frame comes every 1.3 s, and focus moved about 2.9 times as far"},
		},
		{
			"one lost by number on a clock of whole seconds", coarsely(lossyAt(20, 1, false)), pixelstest.Missing(pixelstest.Run(3, 40, -0.12, 1.12, 0.04), 20, 1), audit.Focus,
			[]string{"reshoot missing-frame: frame 0021 is missing: from 0020 to 0022 focus moves about 2"},
		},
		{
			"a number left out on a clock of whole seconds, and focus went on", coarsely(lossyAt(20, 1, false)), pixelstest.Run(3, 40, -0.12, 1.12, 0.04), audit.Focus, nil,
		},
		{
			"two lost, and numbers run on", lossy(2, true), pixelstest.Missing(clean, 12, 2), audit.Focus,
			[]string{"reshoot cadence-break: from 0012 to 0013 took 3.9 s, where a frame comes every 1.3 s, and focus moved about 2.9 times as far"},
		},
		{
			"one lost, numbers run on, small steps", lossyAt(20, 1, true), pixelstest.Missing(pixelstest.Run(3, 40, -0.12, 1.12, 0.04), 20, 1), audit.Focus,
			[]string{"check cadence-break: from 0020 to 0021 took 2.6 s, where a frame comes every 1.3 s, and focus moved about 2"},
		},
		{"the camera waited, and focus with it", lossy(1, true), clean, audit.Focus, nil},
		{"clip", every, standing, audit.Interval, nil},
		{"clip that flickers", every, flicker(standing), audit.Interval, []string{"note brightness-drift: the brightness flickers"}},
		{"clip, knocked", every, pixelstest.Bump(standing, 11, 30, 2.5, 1), audit.Interval, []string{"note moved: "}},
		{"clip, dark frame", every, pixelstest.Brighten(standing, 13, 1, -2), audit.Interval, []string{"check dark-frame: "}},
		{
			"dark by its settings",
			camera{every: focusing.every, change: func(i int, m *exifread.Metadata) {
				if i == 13 {
					m.FNumber = exifread.Of(exifread.Rational{Num: 112, Den: 10})
				}
			}},
			pixelstest.Brighten(clean, 13, 1, -2), audit.Focus,
			[]string{"check aperture-drift: "},
		},
		{"cap before the lens", focusing, pixelstest.Brighten(clean, n-1, 1, -14), audit.Focus, nil},
		{
			"darker by its settings for good", timed(13, 33), pixelstest.Brighten(clean, 13, n, -1.32), audit.Focus,
			[]string{"check exposure-drift: "},
		},
		{
			"brighter by its settings for good", timed(13, 200), pixelstest.Brighten(clean, 13, n, 1.32), audit.Focus,
			[]string{"check exposure-drift: "},
		},
		{
			"a lamp more, for good", focusing, pixelstest.Brighten(clean, 12, n, 1.3), audit.Focus,
			[]string{"check brightness-drift: the picture gets brighter by about 1.3 EV from 0012 to 0013 at the same settings"},
		},
		{
			"a lamp less, for good", focusing, pixelstest.Brighten(clean, 12, n, -1.5), audit.Focus,
			[]string{"check brightness-drift: the picture gets darker by about 1.5 EV from 0012 to 0013 at the same settings"},
		},
		{
			"the flash failed for good", focusing, pixelstest.Brighten(clean, 13, n, -14), audit.Focus,
			[]string{"reshoot dark-frame: frames 0014 to 0024 are darker than the neighbours, by more than 6 EV, at the same settings"},
		},
		{
			"the flash failed three times", focusing, pixelstest.Brighten(pixelstest.Brighten(clean, 6, 1, -2), 12, 2, -3), audit.Focus,
			[]string{"reshoot dark-frame: frames 0007 and 0013 to 0014 are darker than the neighbours, up to about 3 EV"},
		},
		{
			"the flash failed for most of it", focusing, pixelstest.Brighten(clean, 4, n, -14), audit.Series,
			[]string{"check dark-frame: frames 0005 to 0024 are darker than the neighbours, by more than 6 EV"},
		},
		{"all black", focusing, pixelstest.Brighten(clean, 0, n, -14), audit.Series, []string{"check dark-frame: all pictures are black"}},
		{
			"three frames with the cap on", focusing, pixelstest.Brighten(clean, n-3, n, -14), audit.Focus,
			[]string{"check dark-frame: frames 0022 to 0024"},
		},
		{
			"flash, at another time of no effect", timedAt(focusing, 13, 14, 400), clean, audit.Focus,
			[]string{"check exposure-drift: "},
		},
		{
			"a frame without ISO, another at f/11",
			camera{every: focusing.every, change: func(i int, m *exifread.Metadata) {
				switch i {
				case 3:
					m.Sensitivity = exifread.Value[uint32]{}
				case 13:
					m.FNumber = exifread.Of(exifread.Rational{Num: 112, Den: 10})
				}
			}},
			pixelstest.Brighten(clean, 13, 1, -2), audit.Focus,
			[]string{"check aperture-drift: "},
		},
		{
			"light that fades, and exposure that follows",
			camera{every: focusing.every, change: func(i int, m *exifread.Metadata) {
				m.ExposureTime = exifread.Of(exifread.Rational{Num: int64(800 * math.Exp2(math.Round(0.06*float64(i)*3)/3)), Den: 1000})
			}},
			fading(pixelstest.Run(4, 28, 0.4, 0.4, 0), 0.06), audit.Series,
			[]string{"check exposure-drift: "},
		},
		{
			"coarse distances and a wait",
			camera{
				every: focusing.every, numbersRunOn: true,
				distance: func(f float64) float64 { return 0.3 + math.Round(24*1.17*f)/100 },
				skip: func(i int) int {
					if i == 9 {
						return 1
					}
					return 0
				},
			},
			pixelstest.Run(3, 24, -0.12, 1.12, 0), audit.Focus, nil,
		},
		{
			"stops in its middle, and at its end", focusing, pixelstest.Stall(pixelstest.Stall(clean, 8, 2, false), n-3, 2, false), audit.Focus,
			[]string{"check focus-stall: "},
		},
		{
			"first frame black, ends inside", focusing, pixelstest.Brighten(append(clean[:1:1], clean[:n-9]...), 0, 1, -14), audit.Focus,
			[]string{"note far-edge: "},
		},
		{"a test frame before", focusing, append([]pixelstest.Shot{{Focus: 0.5, Noise: 77}}, clean...), audit.Focus, nil},
		{"a test frame behind", focusing, append(clean[:n:n], pixelstest.Shot{Focus: clean[0].Focus, Noise: 77}), audit.Focus, nil},
		{
			"moved far, and back after two frames", focusing, pixelstest.Bump(clean, 11, 2, 160, 90), audit.Focus,
			[]string{"check moved: the pictures up to 0011 and from 0012 on do not match, and there is more at 1 other place"},
		},
		{
			"flicker, where one frame has other settings", timedAt(camera{every: every.every}, 28, 29, 100), flicker(standing), audit.Interval,
			[]string{"note brightness-drift: the brightness flickers", "check exposure-drift: "},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			if testing.Short() && i%6 > 0 {
				t.Skip("renders many pictures")
			}
			result := lookAt(t, &Pictures{}, c.camera.shoot(t, c.shots))
			q := result.Sessions[0].Sequences[0]
			if q.Kind != c.kind {
				t.Errorf("kind %v, want %v", q.Kind, c.kind)
			}
			got := slices.DeleteFunc(told(result), func(s string) bool { return strings.HasPrefix(s, "note auto") || strings.HasPrefix(s, "note shutter") })
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

// lossy is a camera that loses so many frames before the thirteenth.
func lossy(lost int, numbersRunOn bool) camera { return lossyAt(12, lost, numbersRunOn) }

func lossyAt(at, lost int, numbersRunOn bool) camera {
	return camera{every: 1300 * time.Millisecond, numbersRunOn: numbersRunOn, skip: func(i int) int {
		if i == at {
			return lost
		}
		return 0
	}}
}

// coarsely has a camera record no fractions of a second.
func coarsely(c camera) camera {
	c.every = 1000 * time.Millisecond
	c.change = func(_ int, m *exifread.Metadata) {
		stamp, _ := m.Captured.Get()
		stamp.Wall, stamp.Resolution = stamp.Wall.Truncate(time.Second), time.Second
		m.Captured = exifread.Of(stamp)
	}
	return c
}

// timed is a camera whose exposure time changes to so many hundredths of a
// second from a frame on.
func timed(from int, hundredths int64) camera {
	return timedAt(camera{every: 1300 * time.Millisecond}, from, math.MaxInt, hundredths)
}

func timedAt(c camera, from, to int, hundredths int64) camera {
	c.change = func(i int, m *exifread.Metadata) {
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
// panorama, nothing is said.
func TestPicturesOfRow(t *testing.T) {
	var row [][]byte
	for i := range 8 {
		d := pixelstest.Random(uint64(200 + 2*i))
		d.Width, d.Height = 288, 192
		row = append(row, d.Build().JPEG(pixelstest.Shot{Focus: 0.5, EV: 0.8 - 0.3*float64(i), Noise: uint64(i + 1)}))
	}
	folder := camera{every: 4 * time.Second}.write(t, len(row), func(i int) []byte { return row[i] })
	if got := slices.DeleteFunc(told(lookAt(t, &Pictures{}, folder)), func(s string) bool { return strings.HasPrefix(s, "note auto") }); len(got) > 0 {
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
		kind          audit.Kind
	}{
		{"before", 1, 0, covering(), audit.Focus},
		{"behind", 0, 2, covering(), audit.Focus},
		{"both", 2, 1, covering(), audit.Focus},
		{"standing, before", 1, 0, standing, audit.Series},
		{"standing, both", 1, 2, standing, audit.Series},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := camera{every: 1300 * time.Millisecond}.write(t, c.before+len(c.shots)+c.after, func(i int) []byte {
				if i < c.before || i >= c.before+len(c.shots) {
					return marker.JPEG(pixelstest.Shot{Focus: 0.5, Noise: uint64(i + 1)})
				}
				return scene().JPEG(c.shots[i-c.before])
			})
			result := lookAt(t, &Pictures{}, folder)
			q := result.Sessions[0].Sequences[0]
			if q.Kind != c.kind {
				t.Errorf("kind %v, want %v", q.Kind, c.kind)
			}
			if got := told(result); len(got) > 0 {
				t.Errorf("found %q", got)
			}
		})
	}
}

// TestPicturesOfRetake holds that a sequence of another view is no retake, and that
// one of the same view is, even a little aside.
func TestPicturesOfRetake(t *testing.T) {
	other := pixelstest.Scene{
		Seed: 98, Width: 576, Height: 384, Shape: pixelstest.Steps, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.03, Electrons: 40000, Quality: 90,
	}.Build()
	shots := covering()
	n := len(shots)
	faulty := pixelstest.Brighten(shots, 13, 1, -2)
	aside := pixelstest.Bump(shots, 0, n, 60, 30)
	dark := pixelstest.Brighten(shots, 0, 1, -14)
	for _, c := range []struct {
		name   string
		second func(i int) []byte
		want   bool
	}{
		{"same view", func(i int) []byte { return scene().JPEG(shots[i]) }, true},
		{"a little aside", func(i int) []byte { return scene().JPEG(aside[i]) }, true},
		{"another view", func(i int) []byte { return other.JPEG(shots[i]) }, false},
		{"another view, first frame black", func(i int) []byte { return other.JPEG(dark[i]) }, false},
	} {
		minutes := camera{every: 1300 * time.Millisecond, numbersRunOn: true, skip: func(i int) int {
			if i == n {
				return 100
			}
			return 0
		}}
		folder := minutes.write(t, 2*n, func(i int) []byte {
			if i < n {
				return scene().JPEG(faulty[i])
			}
			return c.second(i - n)
		})
		result := lookAt(t, &Pictures{}, folder)
		q := result.Sessions[0].Sequences
		if len(q) != 2 || q[0].Verdict != audit.VerdictReshoot {
			t.Fatalf("%s: %d sequences, the first %v", c.name, len(q), q[0].Verdict)
		}
		if retaken := q[0].SupersededBy != nil; retaken != c.want {
			t.Errorf("%s: retaken is %v", c.name, retaken)
		}
	}
}

// TestPicturesPartlyThere holds that frames whose pictures cannot be looked at are
// told, and that nothing is said of an end that has none.
func TestPicturesPartlyThere(t *testing.T) {
	shots := covering()
	folder := camera{every: 1300 * time.Millisecond}.write(t, len(shots), func(i int) []byte {
		picture := scene().JPEG(shots[i])
		if i < 9 {
			clear(picture[len(picture)/3 : len(picture)-2])
		}
		return picture
	})
	result := lookAt(t, &Pictures{}, folder)
	q := result.Sessions[0].Sequences[0]
	if got := told(result); len(got) != 1 || !strings.HasPrefix(got[0], "check torn-file: the picture of frames 0001 to 0009 is damaged: it cannot be decoded") {
		t.Errorf("found %q", got)
	}
	for rule := range onPictures {
		if !slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == rule.ID && n.Frames == 9 }) {
			t.Errorf("%s does not say that it could not look at 9 frames: %v", rule.ID, q.NotJudged)
		}
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
// look at, and that this is said.
func TestPicturesNotThere(t *testing.T) {
	folder := camera{every: 1300 * time.Millisecond}.shoot(t, covering()[:8])
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
	for name, p := range map[string]*Pictures{"damaged": {}, "not looked at": nil} {
		c, err := audit.Collect(t.Context(), []string{folder}, nil)
		if err != nil {
			t.Fatal(err)
		}
		opt := &audit.Options{Rules: All()}
		if p != nil {
			opt.Measure = func(q []*audit.Sequence) error { return p.Measure(t.Context(), q) }
		}
		result, err := audit.Judge(c.Files, opt)
		if err != nil {
			t.Fatal(err)
		}
		reasons := map[string]string{}
		for _, n := range result.Sessions[0].Sequences[0].NotJudged {
			reasons[n.Rule] = n.Reason
		}
		for rule := range onPictures {
			if reasons[rule.ID] == "" {
				t.Errorf("%s: %s is neither found nor said to be not judged", name, rule.ID)
			}
		}
	}
}

// memory is a cache that counts.
type memory struct {
	values     map[string][]byte
	hits, puts int
}

func (m *memory) Get(key string) ([]byte, bool) {
	v, ok := m.values[key]
	if ok {
		m.hits++
	}
	return v, ok
}

func (m *memory) Put(key string, value []byte) {
	m.puts++
	m.values[key] = value
}

// TestPicturesKeep holds that what is kept tells the same as looking again, and
// that a changed file is looked at again.
func TestPicturesKeep(t *testing.T) {
	folder := camera{every: 1300 * time.Millisecond}.shoot(t, covering()[9:])
	kept := &memory{values: map[string][]byte{}}
	first := told(lookAt(t, &Pictures{Cache: kept}, folder))
	if len(first) == 0 || kept.puts != 1 || kept.hits != 0 {
		t.Fatalf("%d findings, %d kept, %d found kept; want some, 1, 0", len(first), kept.puts, kept.hits)
	}
	if size := len(kept.values[keys(kept)[0]]); size > 8192*15 {
		t.Errorf("%d bytes kept of 15 frames, want 8 KiB a frame at most", size)
	}
	looks := 0
	again := &Pictures{Cache: kept, Progress: func(int, int) { looks++ }}
	if second := told(lookAt(t, again, folder)); !slices.Equal(first, second) || kept.hits != 1 || looks != 0 {
		t.Errorf("from what was kept, after %d looks:\n%q\nwant\n%q", looks, second, first)
	}
	key := keys(kept)[0]
	whole := kept.values[key]
	changed := func(from, to string) []byte {
		out := bytes.Replace(whole, []byte(from), []byte(to), 1)
		if bytes.Equal(out, whole) {
			t.Fatalf("no %s in %s", from, whole)
		}
		return out
	}
	_, content, _ := bytes.Cut(whole, []byte("\n"))
	for name, garbage := range map[string][]byte{ // is no answer
		"empty":                       {},
		"nothing found":               []byte(`{"Judgement":{}}`),
		"nothing found, in its form":  encodePictures(&picturesOf{Judgement: &pixels.Judgement{}}),
		"no judgement":                encodePictures(&picturesOf{}),
		"without checksum":            content,
		"cut":                         whole[:len(whole)-1],
		"a frame that is not there":   changed(`"First":{"Answer":2,"Reason":"","Frame":0`, `"First":{"Answer":2,"Reason":"","Frame":99`),
		"found, and no place":         changed(`"Order":{"Answer":1`, `"Order":{"Answer":2`),
		"what was found in fewer":     encodePictures(&picturesOf{Judgement: &pixels.Judgement{Frames: 3, PerFrame: make([]pixels.FrameSummary, 3)}}),
		"of a checksum and no object": []byte(checksum([]byte("[]")) + "\n[]"),
	} {
		kept.values[key] = garbage
		if second := told(lookAt(t, &Pictures{Cache: kept}, folder)); !slices.Equal(first, second) {
			t.Errorf("from garbage, %s:\n%q\nwant\n%q", name, second, first)
		}
	}
	name := filepath.Join(folder, "BX1_0003.JPG")
	later := time.Now().Add(time.Hour)
	if err := os.Chtimes(name, later, later); err != nil {
		t.Fatal(err)
	}
	puts := kept.puts
	lookAt(t, &Pictures{Cache: kept}, folder)
	if kept.puts != puts+1 {
		t.Error("a file changed and was not looked at again")
	}
}

func keys(m *memory) []string {
	var out []string
	for k := range m.values {
		out = append(out, k)
	}
	return out
}

// TestPicturesGrow holds that a folder that fills frame by frame comes to the same
// as one look at the end, and that each frame is looked at once.
func TestPicturesGrow(t *testing.T) {
	shots := covering()[9:]
	folder := camera{every: 1300 * time.Millisecond}.shoot(t, shots)
	want := told(lookAt(t, &Pictures{}, folder))
	c, err := audit.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	looks := 0
	p := &Pictures{Progress: func(int, int) { looks++ }}
	live := audit.NewLive(&audit.Options{
		Rules: All(), Measure: func(q []*audit.Sequence) error { return p.Measure(t.Context(), q) },
	})
	now := time.Now()
	for _, f := range c.Files {
		live.Put(f.Path, f, now)
		if _, err := live.Look(now, false, false); err != nil {
			t.Fatal(err)
		}
	}
	if got := told(live.Result()); !slices.Equal(got, want) {
		t.Errorf("frame by frame:\n%q\nat once:\n%q", got, want)
	}
	if looks != len(shots) {
		t.Errorf("%d looks at %d frames", looks, len(shots))
	}
}

func TestPicturesStop(t *testing.T) {
	folder := camera{every: 1300 * time.Millisecond}.shoot(t, covering())
	c, err := audit.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	p := &Pictures{Progress: func(done, _ int) {
		if done == 5 {
			stop()
		}
	}}
	_, err = audit.Judge(c.Files, &audit.Options{Measure: func(q []*audit.Sequence) error { return p.Measure(ctx, q) }})
	if err == nil {
		t.Error("stopped after 5 frames, and no error")
	}
}

func backwards(shots []pixelstest.Shot) []pixelstest.Shot {
	out := slices.Clone(shots)
	slices.Reverse(out)
	return out
}

// TestPicturesReal holds what is said of the real scene of three balls, of which
// the lens could not reach the nearest, at the left.
func TestPicturesReal(t *testing.T) {
	folder := filepath.Join("..", "..", "shared", "data", "focus", "balls")
	if _, err := os.Stat(folder); err != nil {
		t.Skipf("the real series are not beside the module: %v", err)
	}
	result := lookAt(t, &Pictures{All: true}, folder)
	q := result.Sessions[0].Sequences
	if len(q) != 1 || q[0].Kind != audit.Focus {
		t.Fatalf("%d sequences, the first %v; want a focus sequence", len(q), q[0].Kind)
	}
	got := slices.DeleteFunc(told(result), func(s string) bool { return strings.HasPrefix(s, "check no-exif") })
	if len(got) != 1 || !strings.HasPrefix(got[0], "note far-edge: 28 % of the textured area, left half, was still getting sharper in the last frame, 09") {
		t.Errorf("found %q", got)
	}
}
