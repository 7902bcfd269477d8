package optics_test

import (
	"math"
	"strings"
	"testing"

	. "prestrike/rules/optics"
)

// The criteria of diffraction with the Airy disc and the contrast at them, as
// printed: Airy diameter in pixels, contrast at the Nyquist frequency and at
// half of it.
func TestDiffractionCriteria(t *testing.T) {
	for _, tc := range []struct {
		name                string
		q, airy, full, half float64
		source              string
	}{
		{"transition", QTransition, 1.0, 0.74, 0.87, "Holst, Opt. Eng. 46(10) 103204, 2007"},
		{"Airy 2 px", airyPixels(2), 2.0, 0.49, 0.74, "International Physics Olympiad 2006, theory 3"},
		{"notice", QNotice, 2.5, 0.38, 0.68, "common practice"},
		{"Airy 3 px", airyPixels(3), 3.0, 0.27, 0.61, "common practice"},
		{"warning", QWarning, 4.0, 0.09, 0.49, "Rayleigh's criterion"},
		{"cutoff", QCutoff, 4.9, 0.00, 0.39, "Fiete, Opt. Eng. 38(7) 1229, 1999"},
	} {
		if got := float64(AiryDiameter(Wavelength, 1)/Wavelength) * tc.q; math.Abs(got-tc.airy) > 0.05 {
			t.Errorf("%s: Airy disc %v pixels, want %v (%s)", tc.name, got, tc.airy, tc.source)
		}
		if got := MTF(tc.q / 2); math.Abs(got-tc.full) > 0.005 {
			t.Errorf("%s: contrast at Nyquist %v, want %v (%s)", tc.name, got, tc.full, tc.source)
		}
		if got := MTF(tc.q / 4); math.Abs(got-tc.half) > 0.005 {
			t.Errorf("%s: contrast at half Nyquist %v, want %v (%s)", tc.name, got, tc.half, tc.source)
		}
	}
}

// Working f-numbers at which common sensors reach the criteria, printed to a
// tenth for pitches printed to a hundredth of a µm (derived with 0.55 µm).
func TestFNumberLimitsOfCommonSensors(t *testing.T) {
	for _, tc := range []struct {
		sensor string
		pitch  float64 // µm
		limits [6]float64
	}{
		{"1-inch 20 MP", 2.41, [6]float64{1.8, 3.6, 4.5, 5.4, 7.2, 8.8}},
		{"17.3 x 13 mm 20 MP", 3.35, [6]float64{2.5, 5.0, 6.2, 7.5, 10.0, 12.2}},
		{"36 x 24 mm 61 MP", 3.76, [6]float64{2.8, 5.6, 7.0, 8.4, 11.2, 13.7}},
		{"23.5 x 15.6 mm 24 MP", 3.91, [6]float64{2.9, 5.8, 7.3, 8.7, 11.7, 14.2}},
		{"36 x 24 mm 45 MP", 4.38, [6]float64{3.3, 6.5, 8.2, 9.8, 13.1, 15.9}},
		{"36 x 24 mm 24 MP", 6.00, [6]float64{4.5, 8.9, 11.2, 13.4, 17.9, 21.8}},
		{"36 x 24 mm 12 MP", 8.49, [6]float64{6.3, 12.6, 15.8, 19.0, 25.3, 30.9}},
	} {
		for i, q := range []float64{QTransition, airyPixels(2), QNotice, airyPixels(3), QWarning, QCutoff} {
			tolerance := 0.05 + tc.limits[i]*0.005/tc.pitch // half a unit of both last digits
			if got := FNumberAtQ(q, Wavelength, um(tc.pitch)); math.Abs(got-tc.limits[i]) > tolerance {
				t.Errorf("%s: Q = %.2f at f/%.2f, want f/%v", tc.sensor, q, got, tc.limits[i])
			}
		}
	}
}

// f/22 at 1:1 works as f/44 and leaves about 4 of 45 megapixels.
func TestMegapixelsLeft(t *testing.T) {
	pitch := pitchOf(FullFrameWidth, FullFrameHeight, 45e6)
	for _, tc := range []struct{ ne, want float64 }{{8, 45}, {13, 45}, {16, 30}, {44, 4}} {
		if got := MegapixelsLeft(45, Q(Wavelength, pitch, tc.ne)); math.Abs(got-tc.want) > 0.5 {
			t.Errorf("at f/%v working %v MP left of 45, want about %v", tc.ne, got, tc.want)
		}
	}
}

// Published working distances of a 105 mm macro lens (coinimaging.com) against
// the thin lens and the calibrated one, as printed.
func TestMagnificationOfALensThatShortens(t *testing.T) {
	lens := CloseFocus{Focal: 105, Closest: 314, Largest: 1}
	for _, tc := range []struct {
		distance         Length
		naive, calibrate float64
	}{
		{608, 0.285, 0.254}, {402, math.NaN(), 0.529}, {339, math.NaN(), 0.803}, {314, math.NaN(), 1},
	} {
		if got := MagnificationFromDistance(105, tc.distance); math.IsNaN(got) != math.IsNaN(tc.naive) || math.Abs(got-tc.naive) > 0.0005 {
			t.Errorf("thin lens at %v: %v, want %v", tc.distance, got, tc.naive)
		}
		if got := lens.Magnification(tc.distance); math.Abs(got-tc.calibrate) > 0.0005 {
			t.Errorf("calibrated at %v: %v, want %v", tc.distance, got, tc.calibrate)
		}
	}
}

// 45 MP at 1:1 and f/16 working: the limits as printed, in mm.
func TestStepLimitsAtLifeSize(t *testing.T) {
	pitch := pitchOf(FullFrameWidth, FullFrameHeight, 45e6)
	d := DepthOfField(PixelCoC(pitch), Wavelength, 16, 1)
	for _, tc := range []struct {
		name string
		got  Length
		want float64
	}{
		{"geometric depth", d.Geometric, 0.35},
		{"wave depth", d.Wave, 0.56},
		{"notice", StepRatio * d.Larger(), 0.39},
		{"warning", d.Larger(), 0.56},
		{"both", d.Sum(), 0.91},
	} {
		if math.Abs(tc.got.Millimetres()-tc.want) > 0.005 {
			t.Errorf("%s %v, want %v mm", tc.name, tc.got, tc.want)
		}
	}
}

// Ripple by exposure time, as printed; the advice of a camera maker (support
// article 000044870) agrees.
func TestRippleOfCommonTimes(t *testing.T) {
	for _, tc := range []struct {
		t        Seconds
		r50, r60 float64
	}{
		{1.0 / 25, 0, 0.039},
		{1.0 / 30, 0.083, 0},
		{1.0 / 50, 0, 0.126},
		{1.0 / 60, 0.165, 0},
		{1.0 / 100, 0, 0.156},
		{1.0 / 125, 0.234, 0.042},
		{1.0 / 200, 0.637, 0.505},
		{1.0 / 500, 0.935, 0.908},
	} {
		if got := Ripple(FlickerFrequency(Mains50), tc.t); math.Abs(got-tc.r50) > 0.0005 {
			t.Errorf("%v at 100 Hz: %v, want %v", tc.t, got, tc.r50)
		}
		if got := Ripple(FlickerFrequency(Mains60), tc.t); math.Abs(got-tc.r60) > 0.0005 {
			t.Errorf("%v at 120 Hz: %v, want %v", tc.t, got, tc.r60)
		}
	}
	// What the marked times are in truth: 1/60 s is 1/64 s, 1/50 s is 1/50.8 s.
	for _, tc := range []struct{ marked, mains, want float64 }{{1.0 / 60, Mains60, 0.065}, {1.0 / 50, Mains50, 0.016}} {
		s, ok := SnapShutter(Seconds(tc.marked), ThirdStops)
		if got := Ripple(FlickerFrequency(tc.mains), Seconds(s.Exact)); !ok || math.Abs(got-tc.want) > 0.0005 {
			t.Errorf("marked %v at %v Hz mains: %v, want %v", Seconds(tc.marked), tc.mains, got, tc.want)
		}
	}
}

// JEITA CP-3451 (Exif 2.2), Annex C, table 48: the full stops.
func TestFullStopsAreThoseOfAPEX(t *testing.T) {
	shutters, tv := ShutterTimes(FullStops), -5
	for i, marked := range []float64{30, 15, 8, 4, 2, 1, 1. / 2, 1. / 4, 1. / 8, 1. / 15, 1. / 30, 1. / 60, 1. / 125, 1. / 250, 1. / 500, 1. / 1000, 1. / 2000} {
		if s := shutters[i]; s.Marked != marked || s.Exact != math.Exp2(float64(-tv-i)) {
			t.Errorf("shutter %d: %+v, want %v for Tv %d", i, s, marked, tv+i)
		}
	}
	for av, marked := range []float64{1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32} {
		if s := FNumbers(FullStops)[av]; s.Marked != marked || !same(s.Exact, math.Pow(2, float64(av)/2), rounding) {
			t.Errorf("f-number %d: %+v, want %v for Av %d", av, s, marked, av)
		}
	}
}

// What each marked value hides, in EV, to the printed digits (derived).
func TestNominalErrors(t *testing.T) {
	check := func(name string, s Setting, ok bool, ev, want float64) {
		t.Helper()
		if !ok || math.Abs(math.Abs(ev)-want) > 0.0005 {
			t.Errorf("%s: %+v is %v EV off, want %v", name, s, ev, want)
		}
	}
	for _, tc := range []struct{ t, want float64 }{
		{30, 0.093},
		{15, 0.093},
		{1. / 15, 0.093},
		{1. / 30, 0.093},
		{1. / 60, 0.093},
		{3, 0.082},
		{6, 0.082},
		{1. / 6, 0.082},
		{0.3, 0.070},
		{0.6, 0.070},
		{8, 0},
		{1, 0},
		{1. / 8, 0},
	} {
		s, ok := SnapShutter(Seconds(tc.t), ThirdStops)
		check(Seconds(tc.t).String(), s, ok, math.Log2(s.Exact/tc.t), tc.want)
	}
	for _, tc := range []struct {
		n, want float64
		steps   Steps
	}{
		{1.2, 0.141, ThirdStops},
		{11, 0.081, ThirdStops},
		{22, 0.081, ThirdStops},
		{13, 0.068, ThirdStops},
		{1.1, 0.058, ThirdStops},
		{2.2, 0.058, ThirdStops},
		{3.5, 0.052, ThirdStops},
		{14, 0.052, ThirdStops},
		{5.6, 0.029, ThirdStops},
		{13, 0.099, HalfStops},
		{11, 0.081, HalfStops},
		{22, 0.081, HalfStops},
		{3.3, 0.055, HalfStops},
	} {
		s, ok := markedFNumber(tc.n, tc.steps)
		check("f-number", s, ok, FNumberStops(tc.n, s.Exact), tc.want)
	}
}

// Every position is reached from its marked and from its exact value, the
// positions are evenly apart, and nothing marked is off by more than the
// tolerance in third stops.
func TestScalesSnapToThemselves(t *testing.T) {
	for _, steps := range []Steps{FullStops, HalfStops, ThirdStops} {
		for _, d := range []struct {
			name     string
			settings []Setting
			snap     func(float64) (Setting, bool)
			stop     float64
		}{
			{"f-number", FNumbers(steps), nil, math.Sqrt2},
			{"shutter", ShutterTimes(steps), func(x float64) (Setting, bool) { return SnapShutter(Seconds(x), steps) }, 0.5},
		} {
			for i, s := range d.settings {
				for _, x := range []float64{s.Marked, s.Exact} {
					if d.snap == nil {
						continue
					}
					if got, ok := d.snap(x); !ok || got != s {
						t.Errorf("%s, steps of 1/%d: %v snaps to %+v, want %+v", d.name, steps, x, got, s)
					}
				}
				if i == 0 {
					continue
				}
				if got, want := s.Exact/d.settings[i-1].Exact, math.Pow(d.stop, 1/float64(steps)); !same(got, want, rounding) {
					t.Errorf("%s, steps of 1/%d: %v follows %v by %v, want %v", d.name, steps, s.Exact, d.settings[i-1].Exact, got, want)
				}
				if off := math.Abs(math.Log(s.Marked/s.Exact) / math.Log(d.stop)); steps != HalfStops && off > SnapTolerance {
					t.Errorf("%s: marked %v is %v EV off", d.name, s.Marked, off)
				}
			}
		}
	}
}

// Shutter times an owner measured (dpreview.com/forums/post/31437081) snap to
// what the body showed.
func TestMeasuredShuttersSnap(t *testing.T) {
	for measured, shown := range map[Seconds]float64{32: 30, 16.5: 15, 8.24: 8, 6.54: 6, 1.03: 1} {
		if s, ok := SnapShutter(measured, ThirdStops); !ok || s.Marked != shown {
			t.Errorf("%v snaps to %+v, want %v s", measured, s, shown)
		}
	}
}

func TestValuesOffTheScaleDoNotSnap(t *testing.T) {
	for _, x := range []Seconds{1.0 / 72, 60, 1e-6, 0, Seconds(math.NaN())} {
		if s, ok := SnapShutter(x, ThirdStops); ok || !math.IsNaN(s.Marked) || !math.IsNaN(s.Exact) {
			t.Errorf("%v snaps to %+v", x, s)
		}
	}
}

// Tags met in published files, and what should come of them.
func TestPitchFromTags(t *testing.T) {
	for _, tc := range []struct {
		name     string
		facts    SensorFacts
		source   PitchSource
		pitch    float64 // µm, 0 for none
		tol      float64
		rejected []string // a piece of each reason, in order
	}{
		{
			name: "sound tags in inches (ptx mailing list, 2005-12-07: 22.2 x 14.8 mm)",
			facts: SensorFacts{
				FocalPlaneX: 3954.23, FocalPlaneY: 3958.76, FocalPlaneUnit: 2, PixelWidth: 3456, PixelHeight: 2304,
			},
			source: PitchFromPlane, pitch: 22200. / 3456, tol: 0.01,
			rejected: []string{"no width is declared"},
		},
		{
			name: "the unit left to its default",
			facts: SensorFacts{
				FocalPlaneX: 3954.23, FocalPlaneY: 3958.76, PixelWidth: 3456, PixelHeight: 2304,
			},
			source: PitchFromPlane, pitch: 22200. / 3456, tol: 0.01,
			rejected: []string{"no width is declared"},
		},
		{
			name: "stored upright",
			facts: SensorFacts{
				FocalPlaneX: 3958.76, FocalPlaneY: 3954.23, FocalPlaneUnit: 2, PixelWidth: 2304, PixelHeight: 3456,
				Focal: 50, FocalEquivalent: 81,
			},
			source: PitchFromPlane, pitch: 22200. / 3456, tol: 0.01,
			rejected: []string{"no width is declared"},
		},
		{
			name: "3 % off but plausible (photo.stackexchange.com/questions/40865)",
			facts: SensorFacts{
				FocalPlaneX: 3849.21, FocalPlaneY: 3908.14, FocalPlaneUnit: 2, PixelWidth: 5616, PixelHeight: 3744,
				Focal: 100, FocalEquivalent: 100,
			},
			source: PitchFromPlane, pitch: 36000. / 5616, tol: 0.15,
			rejected: []string{"no width is declared"},
		},
		{
			name: "factory-wrong tag of a 35.9 mm sensor, found out by the 35 mm equivalent",
			facts: SensorFacts{
				FocalPlaneX: 6673.8, FocalPlaneY: 6673.8, FocalPlaneUnit: 2, PixelWidth: 6240, PixelHeight: 4160,
				Focal: 50, FocalEquivalent: 50,
			},
			source: PitchFromEquivalent, pitch: 35900. / 6240, tol: 0.03,
			rejected: []string{"no width is declared", "crop factor 1.52 disagrees with 1.00"},
		},
		{
			name: "a preview's tag on the full picture: 60.2 mm",
			facts: SensorFacts{
				FocalPlaneX: 820, FocalPlaneY: 820, FocalPlaneUnit: 3, PixelWidth: 4938, PixelHeight: 3286,
			},
			rejected: []string{"no width is declared", "not between 4 mm and 60 mm", "not recorded"},
		},
		{
			name: "a tag left over from before a resize",
			facts: SensorFacts{
				FocalPlaneX: 2092, FocalPlaneY: 2092, FocalPlaneUnit: 3, PixelWidth: 800, PixelHeight: 533,
				Focal: 35, FocalEquivalent: 53,
			},
			source: PitchFromEquivalent, pitch: 43267. * 35 / 53 / 961.3, tol: 0.01,
			rejected: []string{"no width is declared", "implied sensor width 3.82 mm"},
		},
		{
			name: "axes that disagree",
			facts: SensorFacts{
				FocalPlaneX: 2092, FocalPlaneY: 1961, FocalPlaneUnit: 3, PixelWidth: 4896, PixelHeight: 3264,
			},
			rejected: []string{"no width is declared", "the axes disagree", "not recorded"},
		},
		{
			name: "one axis",
			facts: SensorFacts{
				FocalPlaneX: 2092, FocalPlaneUnit: 3, PixelWidth: 4896, PixelHeight: 3264,
			},
			rejected: []string{"no width is declared", "one axis only", "not recorded"},
		},
		{
			name: "no unit, and an equivalent without the focal length",
			facts: SensorFacts{
				FocalPlaneX: 2092, FocalPlaneY: 2092, FocalPlaneUnit: 1, PixelWidth: 4896, PixelHeight: 3264, FocalEquivalent: 50,
			},
			rejected: []string{"no width is declared", "unit 1 is not known", "the focal length is not recorded"},
		},
		{
			name: "an absurd equivalent of a compact (values from a published forum post)",
			facts: SensorFacts{
				PixelWidth: 4000, PixelHeight: 3000, Focal: 6, FocalEquivalent: 6062,
			},
			rejected: []string{"no width is declared", "not recorded", "implied sensor width 34.3 µm is not between"},
		},
		{
			name: "a declared body outranks the tags",
			facts: SensorFacts{
				BodyWidth: 35.9, BodyPixels: 8256, FocalPlaneX: 2092, FocalPlaneY: 2092, FocalPlaneUnit: 3, PixelWidth: 4128, PixelHeight: 2752,
			},
			source: PitchFromBody, pitch: 35900. / 8256, tol: 1e-9,
		},
		{
			name:   "a declared width alone, over the long side",
			facts:  SensorFacts{BodyWidth: 36, PixelWidth: 4000, PixelHeight: 6000},
			source: PitchFromBody, pitch: 6, tol: 1e-9,
		},
		{
			name:     "a declared width in the wrong unit",
			facts:    SensorFacts{BodyWidth: 36 * Micrometre, PixelWidth: 6000, PixelHeight: 4000},
			rejected: []string{"declared sensor width 36 µm", "not recorded", "not recorded"},
		},
		{
			name: "values that are no numbers",
			facts: SensorFacts{
				BodyWidth: mm(math.NaN()), FocalPlaneX: math.Inf(1), FocalPlaneY: -1, FocalPlaneUnit: 2,
				Focal: mm(math.NaN()), FocalEquivalent: 50, PixelWidth: 6000, PixelHeight: 4000,
			},
			rejected: []string{"declared sensor width unknown", "not a number above 0", "not a number above 0"},
		},
		{
			name:     "no size in pixels",
			facts:    SensorFacts{BodyWidth: 36, FocalPlaneX: 2092, FocalPlaneY: 2092, FocalPlaneUnit: 3, Focal: 50, FocalEquivalent: 50},
			rejected: []string{"size in pixels", "size in pixels", "size in pixels"},
		},
		{
			name:     "nothing known",
			rejected: []string{"no width is declared", "not recorded", "not recorded"},
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got := tc.facts.Pitch()
			if got.Source != tc.source {
				t.Errorf("source %v, want %v", got.Source, tc.source)
			}
			if tc.source == NoPitch {
				if !math.IsNaN(float64(got.Pitch)) {
					t.Errorf("pitch %v from no source", got.Pitch)
				}
			} else if math.Abs(got.Pitch.Micrometres()-tc.pitch) > tc.tol {
				t.Errorf("pitch %v, want %v ± %v µm", got.Pitch, tc.pitch, tc.tol)
			}
			if len(got.Rejected) != len(tc.rejected) {
				t.Fatalf("rejected %v, want %q", got.Rejected, tc.rejected)
			}
			for i, r := range got.Rejected {
				if r.Source != PitchFromBody+PitchSource(i) || !strings.Contains(r.Reason, tc.rejected[i]) {
					t.Errorf("%v rejected because %q, want %q", r.Source, r.Reason, tc.rejected[i])
				}
			}
		})
	}
}

// Any sensor of plausible size is found again from either kind of tag.
func TestPitchRoundTrip(t *testing.T) {
	random(t, [][2]float64{{4.5, 55}, {1000, 12000}, {1, 1.8}, {4, 600}}, func(x []float64) {
		width, pixels, shape, f := mm(x[0]), math.Round(x[1]), x[2], mm(x[3])
		height := math.Round(pixels / shape)
		pitch := width / Length(pixels)
		facts := SensorFacts{PixelWidth: int(pixels), PixelHeight: int(height), FocalPlaneUnit: 3}
		facts.FocalPlaneX = float64(Centimetre / pitch)
		facts.FocalPlaneY = facts.FocalPlaneX
		facts.Focal, facts.FocalEquivalent = f, f*Length(CropFactor(width, pitch*Length(height)))
		got := facts.Pitch()
		if got.Source != PitchFromPlane || !same(float64(got.Pitch), float64(pitch), rounding) {
			t.Errorf("pitch %v from %v, want %v (%v)", got.Pitch, got.Source, pitch, got.Rejected)
		}
		facts.FocalPlaneX = 0
		got = facts.Pitch()
		if got.Source != PitchFromEquivalent || !same(float64(got.Pitch), float64(pitch), rounding) {
			t.Errorf("pitch %v from %v, want %v (%v)", got.Pitch, got.Source, pitch, got.Rejected)
		}
	})
}

func TestMedianPitch(t *testing.T) {
	unknown := mm(math.NaN())
	for _, tc := range []struct {
		in   []Length
		want Length
	}{
		{[]Length{4}, 4},
		{[]Length{9, 4, 5}, 5},
		{[]Length{4, 6}, 5},
		{[]Length{unknown, 4, unknown, 8, 5}, 5},
	} {
		if got := MedianPitch(tc.in); got != tc.want {
			t.Errorf("MedianPitch(%v) = %v, want %v", tc.in, got, tc.want)
		}
	}
	if in := []Length{9, 4, 5}; MedianPitch(in) != 5 || in[0] != 9 {
		t.Errorf("MedianPitch changed its input to %v", in)
	}
}

// Pixel pitches of common formats (derived; 26 MP: pixelcraft.photo.blog).
func TestPitchOfCommonFormats(t *testing.T) {
	for _, tc := range []struct {
		w, h, mp, want float64
	}{
		{36, 24, 33, 5.12},
		{36, 24, 36, 4.90},
		{36, 24, 50, 4.16},
		{23.5, 15.6, 16, 4.79},
		{23.5, 15.6, 20, 4.28},
		{23.5, 15.6, 33, 3.33},
		{23.5, 15.6, 40, 3.03},
		{17.3, 13, 16, 3.75},
		{17.3, 13, 25, 3.00},
		{43.8, 32.9, 51, 5.32},
		{43.8, 32.9, 102, 3.76},
	} {
		sensor := Sensor{Width: mm(tc.w), PixelWidth: int(math.Round(math.Sqrt(tc.mp * 1e6 * tc.w / tc.h)))}
		if got := sensor.Pitch().Micrometres(); math.Abs(got-tc.want) > 0.00501 {
			t.Errorf("%v x %v mm, %v MP: %v µm, want %v", tc.w, tc.h, tc.mp, got, tc.want)
		}
	}
}

func TestLengthsAndTimesInPrint(t *testing.T) {
	for _, tc := range []struct {
		l    Length
		want string
	}{
		{4.3818 * Micrometre, "4.38 µm"},
		{63 * Micrometre, "63 µm"},
		{0.5632 * Millimetre, "0.563 mm"},
		{90, "90 mm"},
		{999 * Millimetre, "999 mm"},
		{10.467 * Metre, "10.5 m"},
		{12345678, "12300 m"},
		{0, "0 mm"},
		{mm(math.Inf(1)), "infinity"},
		{mm(math.NaN()), "unknown"},
		{-2, "-2 mm"},
	} {
		if got := tc.l.String(); got != tc.want {
			t.Errorf("Length(%v).String() = %q, want %q", float64(tc.l), got, tc.want)
		}
	}
	for _, tc := range []struct {
		t    Seconds
		want string
	}{
		{1.0 / 8000, "1/8000 s"},
		{1.0 / 125, "1/125 s"},
		{0.25, "1/4 s"},
		{0.3, "0.3 s"},
		{1.03, "1.03 s"},
		{300, "300 s"},
		{3661, "3660 s"},
		{0, "0 s"},
		{Seconds(math.Inf(1)), "no limit"},
		{Seconds(math.NaN()), "unknown"},
	} {
		if got := tc.t.String(); got != tc.want {
			t.Errorf("Seconds(%v).String() = %q, want %q", float64(tc.t), got, tc.want)
		}
	}
	if got := (4.38 * Micrometre).Metres(); !same(got, 4.38e-6, rounding) {
		t.Errorf("4.38 µm = %v m", got)
	}
}
