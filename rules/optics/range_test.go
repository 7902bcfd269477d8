package optics_test

import (
	"math"
	"testing"

	. "prestrike/rules/optics"
)

// Each formula is called with valid values, then with each value in turn
// outside its range. The kinds of range, a letter for each parameter:
//
//	p  above 0 and finite
//	n  0 or more and finite
//	f  finite
//	d  above 0, may be infinite
var formulas = []struct {
	name  string
	kinds string
	valid []float64
	call  func(a []float64) float64
}{
	{"MagnificationFromField", "pp", []float64{36, 72}, func(a []float64) float64 { return MagnificationFromField(mm(a[0]), mm(a[1])) }},
	{"FocusDistance", "pp", []float64{90, 0.5}, func(a []float64) float64 { return float64(FocusDistance(mm(a[0]), a[1])) }},
	{"MagnificationFromDistance", "pd", []float64{90, 500}, func(a []float64) float64 { return MagnificationFromDistance(mm(a[0]), mm(a[1])) }},
	{"FocalLengthAt", "pp", []float64{314, 1}, func(a []float64) float64 { return float64(FocalLengthAt(mm(a[0]), a[1])) }},
	{"CloseFocus.Magnification", "pppd", []float64{105, 314, 1, 400}, func(a []float64) float64 {
		return CloseFocus{Focal: mm(a[0]), Closest: mm(a[1]), Largest: a[2]}.Magnification(mm(a[3]))
	}},
	{"WorkingFNumber", "pnp", []float64{8, 1, 1}, func(a []float64) float64 { return WorkingFNumber(a[0], a[1], a[2]) }},
	{"MarkedFNumber", "pnp", []float64{8, 1, 1}, func(a []float64) float64 { return MarkedFNumber(a[0], a[1], a[2]) }},
	{"ExposureLoss", "np", []float64{1, 1}, func(a []float64) float64 { return ExposureLoss(a[0], a[1]) }},
	{"Stops", "pp", []float64{100, 800}, func(a []float64) float64 { return Stops(a[0], a[1]) }},
	{"FNumberStops", "pp", []float64{8, 11}, func(a []float64) float64 { return FNumberStops(a[0], a[1]) }},
	{"FNumberAfterStops", "pf", []float64{8, 1}, func(a []float64) float64 { return FNumberAfterStops(a[0], a[1]) }},
	{"ObjectNA", "pp", []float64{8, 1}, func(a []float64) float64 { return ObjectNA(a[0], a[1]) }},
	{"PrintCoC", "p", []float64{43}, func(a []float64) float64 { return float64(PrintCoC(mm(a[0]))) }},
	{"PixelCoC", "p", []float64{4.4}, func(a []float64) float64 { return float64(PixelCoC(um(a[0]))) }},
	{"Hyperfocal", "ppp", []float64{50, 8, 0.03}, func(a []float64) float64 { return float64(Hyperfocal(mm(a[0]), a[1], mm(a[2]))) }},
	{"HyperfocalAtInfinity", "ppp", []float64{50, 8, 0.03}, func(a []float64) float64 { return float64(HyperfocalAtInfinity(mm(a[0]), a[1], mm(a[2]))) }},
	{"NearLimit", "pppd", []float64{50, 8, 0.03, 1000}, func(a []float64) float64 { return float64(NearLimit(mm(a[0]), a[1], mm(a[2]), mm(a[3]))) }},
	{"FarLimit", "pppd", []float64{50, 8, 0.03, 1000}, func(a []float64) float64 {
		far := float64(FarLimit(mm(a[0]), a[1], mm(a[2]), mm(a[3])))
		if math.IsInf(a[3], 1) && math.IsInf(far, 1) {
			return 0 // as documented
		}
		return far
	}},
	{"GeometricDepth", "ppp", []float64{0.01, 16, 1}, func(a []float64) float64 { return float64(GeometricDepth(mm(a[0]), a[1], a[2])) }},
	{"GeometricDepthExact", "ppppp", []float64{50, 0.03, 8, 0.1, 1}, func(a []float64) float64 {
		return float64(GeometricDepthExact(mm(a[0]), mm(a[1]), a[2], a[3], a[4]))
	}},
	{"WaveDepth", "ppp", []float64{0.55, 16, 1}, func(a []float64) float64 { return float64(WaveDepth(um(a[0]), a[1], a[2])) }},
	{"Depth.Sum", "pppp", []float64{0.01, 0.55, 16, 1}, func(a []float64) float64 {
		return float64(DepthOfField(mm(a[0]), um(a[1]), a[2], a[3]).Sum())
	}},
	{"Depth.Larger", "pppp", []float64{0.01, 0.55, 16, 1}, func(a []float64) float64 {
		return float64(DepthOfField(mm(a[0]), um(a[1]), a[2], a[3]).Larger())
	}},
	{"AiryDiameter", "pp", []float64{0.55, 8}, func(a []float64) float64 { return float64(AiryDiameter(um(a[0]), a[1])) }},
	{"Q", "ppp", []float64{0.55, 4.4, 8}, func(a []float64) float64 { return Q(um(a[0]), um(a[1]), a[2]) }},
	{"FNumberAtQ", "ppp", []float64{1, 0.55, 4.4}, func(a []float64) float64 { return FNumberAtQ(a[0], um(a[1]), um(a[2])) }},
	{"MegapixelsLeft", "pp", []float64{45, 2}, func(a []float64) float64 { return MegapixelsLeft(a[0], a[1]) }},
	{"ImageSpread", "pp", []float64{2, 0.5}, func(a []float64) float64 { return float64(ImageSpread(mm(a[0]), a[1])) }},
	{"DefocusBlur", "np", []float64{2, 16}, func(a []float64) float64 { return float64(DefocusBlur(mm(a[0]), a[1])) }},
	{"CombinedBlur", "npp", []float64{2, 0.55, 16}, func(a []float64) float64 { return float64(CombinedBlur(mm(a[0]), um(a[1]), a[2])) }},
	{"OptimumWorkingFNumber", "pp", []float64{2, 0.55}, func(a []float64) float64 { return OptimumWorkingFNumber(mm(a[0]), um(a[1])) }},
	{"OptimumFNumber", "pppp", []float64{2, 0.55, 0.5, 1}, func(a []float64) float64 { return OptimumFNumber(mm(a[0]), um(a[1]), a[2], a[3]) }},
	{"FocusStep", "pn", []float64{0.5, 0.3}, func(a []float64) float64 { return float64(FocusStep(mm(a[0]), a[1])) }},
	{"Diagonal", "pp", []float64{36, 24}, func(a []float64) float64 { return float64(Diagonal(mm(a[0]), mm(a[1]))) }},
	{"CropFactor", "pp", []float64{36, 24}, func(a []float64) float64 { return CropFactor(mm(a[0]), mm(a[1])) }},
	{"DiagonalFromEquivalent", "pp", []float64{50, 75}, func(a []float64) float64 { return float64(DiagonalFromEquivalent(mm(a[0]), mm(a[1]))) }},
	{"PitchFromFocalPlane", "pp", []float64{2092, 10}, func(a []float64) float64 { return float64(PitchFromFocalPlane(a[0], mm(a[1]))) }},
	{"Av", "p", []float64{8}, func(a []float64) float64 { return Av(a[0]) }},
	{"FNumberFromAv", "f", []float64{6}, func(a []float64) float64 { return FNumberFromAv(a[0]) }},
	{"Tv", "p", []float64{0.01}, func(a []float64) float64 { return Tv(Seconds(a[0])) }},
	{"Sv", "p", []float64{100}, func(a []float64) float64 { return Sv(a[0]) }},
	{"Sharpness", "pp", []float64{0.011, 43}, func(a []float64) float64 { return Sharpness(mm(a[0]), mm(a[1])) }},
	{"CreditedStops", "n", []float64{4}, func(a []float64) float64 { return CreditedStops(a[0], true) }},
	{"ThinLensUncertainty", "n", []float64{0.1}, func(a []float64) float64 { return ThinLensUncertainty(a[0]) }},
	{"WorkingFNumberFromNA", "pp", []float64{0.1, 4}, func(a []float64) float64 { return WorkingFNumberFromNA(a[0], a[1]) }},
	{"Handheld.Limit", "ppnfnp", []float64{100, 1.5, 0.1, 2, 200, 1}, func(a []float64) float64 {
		return float64(Handheld{mm(a[0]), a[1], a[2], a[3], mm(a[4]), a[5]}.Limit())
	}},
	{"ClipFrames", "pp", []float64{10, 24}, func(a []float64) float64 { return ClipFrames(Seconds(a[0]), a[1]) }},
	{"ClipLength", "p", []float64{24}, func(a []float64) float64 { return float64(ClipLength(240, a[0])) }},
	{"TimeCovered", "p", []float64{10}, func(a []float64) float64 { return float64(TimeCovered(24, Seconds(a[0]))) }},
	{"SpeedUp", "pp", []float64{10, 24}, func(a []float64) float64 { return SpeedUp(Seconds(a[0]), a[1]) }},
	{"ShutterAngle", "pp", []float64{0.02, 0.04}, func(a []float64) float64 { return ShutterAngle(Seconds(a[0]), Seconds(a[1])) }},
	{"TimeForAngle", "pp", []float64{180, 0.04}, func(a []float64) float64 { return float64(TimeForAngle(a[0], Seconds(a[1]))) }},
	{"FlickerFrequency", "p", []float64{50}, func(a []float64) float64 { return FlickerFrequency(a[0]) }},
	{"Ripple", "pp", []float64{100, 0.016}, func(a []float64) float64 { return Ripple(a[0], Seconds(a[1])) }},
}

func TestOutsideTheValidRangeIsNaN(t *testing.T) {
	inf := math.Inf(1)
	outside := map[rune][]float64{
		'p': {0, -1, math.NaN(), inf, -inf},
		'n': {-1, math.NaN(), inf, -inf},
		'f': {math.NaN(), inf, -inf},
		'd': {0, -1, math.NaN(), -inf},
	}
	edge := map[rune][]float64{'n': {0}, 'f': {0, -1}, 'd': {inf}}
	for _, f := range formulas {
		if got := f.call(f.valid); math.IsNaN(got) || math.IsInf(got, 0) {
			t.Errorf("%s(%v) = %v, want a number", f.name, f.valid, got)
		}
		for i, kind := range f.kinds {
			args := append([]float64(nil), f.valid...)
			for _, args[i] = range outside[kind] {
				if got := f.call(args); !math.IsNaN(got) {
					t.Errorf("%s(%v) = %v, want NaN", f.name, args, got)
				}
			}
			for _, args[i] = range edge[kind] {
				if got := f.call(args); math.IsNaN(got) || math.IsInf(got, 0) {
					t.Errorf("%s(%v) = %v, want a number", f.name, args, got)
				}
			}
		}
	}
}

func TestOutsideRangesOfTheirOwn(t *testing.T) {
	macro := CloseFocus{Focal: 105, Closest: 314, Largest: 1}
	for _, tc := range []struct {
		what string
		got  float64
	}{
		{"a thin lens nearer than 4f", MagnificationFromDistance(105, 419.9)},
		{"the 105 mm lens of the checks at 402 mm, uncalibrated", MagnificationFromDistance(105, 402)},
		{"nearer than the closest focus", macro.Magnification(313)},
		{"a largest magnification over 2", CloseFocus{Focal: 65, Closest: 240, Largest: 5}.Magnification(300)},
		{"NA over 1 in air", ObjectNA(1, 2.5)},
		{"an f-number for an NA over 1 in air", WorkingFNumberFromNA(1.2, 4)},
		{"focused nearer than f", float64(NearLimit(50, 8, 0.03, 50))},
		{"far limit nearer than f", float64(FarLimit(50, 8, 0.03, 50))},
		{"a negative frequency", MTF(-0.1)},
		{"an unknown frequency", MTF(math.NaN())},
		{"frames that overlap wholly", float64(FocusStep(1, 1))},
		{"no pixels", float64(PitchFromWidth(36, 0))},
		{"a clip of a negative count", float64(ClipLength(-1, 24))},
		{"time of a negative count", float64(TimeCovered(-1, 10))},
		{"focal-plane unit 1, none", float64(FocalPlaneUnit(1))},
		{"focal-plane unit 6", float64(FocalPlaneUnit(6))},
		{"no pitches", float64(MedianPitch(nil))},
	} {
		if !math.IsNaN(tc.got) {
			t.Errorf("%s: got %v, want NaN", tc.what, tc.got)
		}
	}
}

func TestCountsOutsideTheirRangeAreErrors(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, bad := range [][2]float64{{0, 1}, {-1, 1}, {nan, 1}, {inf, 1}, {1, 0}, {1, -1}, {1, nan}, {1, inf}, {1e9, 1e-3}, {1e300, 1e-300}} {
		if n, err := FramesToCover(mm(bad[0]), mm(bad[1])); err == nil || n != 0 {
			t.Errorf("FramesToCover(%v, %v) = %d, %v; want 0 and an error", bad[0], bad[1], n, err)
		}
		if bad[0] == 0 {
			continue // a span or gap of nothing is valid
		}
		if n, err := IntervalFrames(Seconds(bad[0]), Seconds(bad[1])); err == nil || n != 0 {
			t.Errorf("IntervalFrames(%v, %v) = %d, %v; want 0 and an error", bad[0], bad[1], n, err)
		}
	}
	if Overruns(Seconds(nan), 5) || Overruns(5, 0) {
		t.Error("Overruns of an unknown time or interval = true, want false: nothing can be said")
	}
}

func TestUnknownStepsPanic(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("FNumbers(4) did not panic")
		}
	}()
	FNumbers(4)
}
