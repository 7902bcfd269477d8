package optics_test

import (
	"fmt"

	"prestrike/rules/optics"
)

// Wikipedia, Hyperfocal distance, section Example: a 50 mm lens at f/8 with a
// circle of confusion of 0.03 mm. Printed: 10467 mm, and sharp from 5233 mm to
// infinity; by the second definition 10417 mm.
func ExampleHyperfocal() {
	f, c := 50*optics.Millimetre, 0.03*optics.Millimetre
	h := optics.Hyperfocal(f, 8, c)
	fmt.Printf("%.0f mm\n", h.Millimetres())
	fmt.Printf("%.0f mm to %v\n", optics.NearLimit(f, 8, c, h).Millimetres(), optics.FarLimit(f, 8, c, h))
	fmt.Printf("%.0f mm\n", optics.HyperfocalAtInfinity(f, 8, c).Millimetres())
	// Output:
	// 10467 mm
	// 5233 mm to infinity
	// 10417 mm
}

// The application note Limitations on Resolution and Contrast: The Airy Disk,
// table for light of 520 nm: 10.15 µm at f/8, 20.30 µm at f/16.
func ExampleAiryDiameter() {
	for _, n := range []float64{8, 16} {
		fmt.Printf("f/%g: %.2f µm\n", n, optics.AiryDiameter(0.52*optics.Micrometre, n).Micrometres())
	}
	// Output:
	// f/8: 10.15 µm
	// f/16: 20.30 µm
}

// Forum table of microscope objectives, photomacrography.net viewtopic.php?t=22855,
// light of 550 nm. Printed: 55.0 µm for NA 0.10 and 8.80 µm for NA 0.25.
func ExampleWaveDepth() {
	for _, na := range []float64{0.1, 0.25} {
		ne := optics.WorkingFNumberFromNA(na, 10)
		fmt.Printf("NA %g at 10:1 works as f/%g: %v\n", na, ne, optics.WaveDepth(optics.Wavelength, ne, 10))
	}
	// Output:
	// NA 0.1 at 10:1 works as f/50: 55 µm
	// NA 0.25 at 10:1 works as f/20: 8.8 µm
}

// E. Savazzi, Digital Photography for Science, table 1, for a circle of
// confusion of 0.019 mm: f/4 at life size works as f/8 and is 0.30 mm deep.
func ExampleGeometricDepth() {
	ne := optics.WorkingFNumber(4, 1, optics.SymmetricPupil)
	fmt.Printf("f/%g working, %.2f mm\n", ne, optics.GeometricDepth(0.019*optics.Millimetre, ne, 1).Millimetres())
	// Output:
	// f/8 working, 0.30 mm
}

// The step table of cholla.mmto.org/bbb/focus/rail.html, for a circle of
// confusion of 0.015 mm and no overlap. Printed: 0.66, 0.18, 0.075, 0.037 and
// 0.028 mm, the last one cut short.
func ExampleFocusStep() {
	c := 0.015 * optics.Millimetre
	for _, row := range []struct{ m, n float64 }{{1, 11}, {2, 8}, {3, 5.6}, {4, 4}, {5, 4}} {
		depth := optics.GeometricDepth(c, optics.WorkingFNumber(row.n, row.m, optics.SymmetricPupil), row.m)
		fmt.Printf("%gx f/%g %.3f mm\n", row.m, row.n, optics.FocusStep(depth, 0).Millimetres())
	}
	// Output:
	// 1x f/11 0.660 mm
	// 2x f/8 0.180 mm
	// 3x f/5.6 0.075 mm
	// 4x f/4 0.037 mm
	// 5x f/4 0.029 mm
}

// Luong, How to select the f-stop, largeformatphotography.info/fstop.html,
// after Hansma 1996: the best f-number for a focus spread, printed as f-stop and
// tenths of a stop above it, rounded up: 1 mm f/16 and 6, 2 mm f/22 and 6, 4 mm
// f/32 and 6, 8 mm f/45 and 6.
func ExampleOptimumWorkingFNumber() {
	for _, row := range []struct {
		spread, stop float64
	}{{1, 16}, {2, 22.627}, {4, 32}, {8, 45.255}} {
		n := optics.OptimumWorkingFNumber(optics.Length(row.spread)*optics.Millimetre, 0.546*optics.Micrometre)
		fmt.Printf("%g mm: f/%.0f and %.1f stops\n", row.spread, row.stop, optics.FNumberStops(row.stop, n))
	}
	// Output:
	// 1 mm: f/16 and 0.6 stops
	// 2 mm: f/23 and 0.6 stops
	// 4 mm: f/32 and 0.6 stops
	// 8 mm: f/45 and 0.6 stops
}

// Wikipedia, Exposure value: f/16 and 1/125 s are EV 15, exactly 14.97.
func ExampleAv() {
	fmt.Printf("%.2f\n", optics.Av(16)+optics.Tv(1.0/125))
	// Output:
	// 14.97
}

// A marked 1/60 s is 1/64 s.
func ExampleSnapShutter() {
	s, ok := optics.SnapShutter(1.0/60, optics.ThirdStops)
	fmt.Println(optics.Seconds(s.Marked), optics.Seconds(s.Exact), ok)
	// Output:
	// 1/60 s 1/64 s true
}

// kramery.com, article 483: 105 mm on a body of crop factor 1.5 is about 160 mm,
// 1/160 s by hand, and with four stops of stabilisation 1/10 s.
func ExampleHandheld_Limit() {
	hand := optics.Handheld{Focal: 105 * optics.Millimetre, Crop: 1.5, Radius: optics.HandRadius, Sharpness: optics.LooksSharp}
	fmt.Println(hand.Limit())
	hand.Stops = 4
	fmt.Println(hand.Limit())
	// Close up the hand's travel counts, and stabilisation does not help.
	hand.Magnification = 1
	fmt.Println(hand.Limit())
	// Output:
	// 1/158 s
	// 1/9.84 s
	// 1/320 s
}

// Wikipedia, Shutter speed, cinematographic shutter formula: 1/50 s at 24 frames
// a second is a shutter angle of 172.8°.
func ExampleShutterAngle() {
	fmt.Printf("%.1f°\n", optics.ShutterAngle(1.0/50, 1.0/24))
	// Output:
	// 172.8°
}

// The pitch of an 8-megapixel sensor from its focal-plane tags (ptx mailing
// list, 2005-12-07: 22.2 × 14.8 mm).
func ExampleSensorFacts_Pitch() {
	e := optics.SensorFacts{
		FocalPlaneX: 3954.23, FocalPlaneY: 3958.76, FocalPlaneUnit: 2,
		PixelWidth: 3456, PixelHeight: 2304,
	}.Pitch()
	fmt.Println(e.Pitch, "from", e.Source)
	for _, r := range e.Rejected {
		fmt.Printf("not %v: %s\n", r.Source, r.Reason)
	}
	// Output:
	// 6.42 µm from focal-plane resolution
	// not sensor width of the body: no width is declared for the body
}

// An ammonite 12 mm deep at half life size, on a sensor of 36 × 24 mm and 45
// megapixels.
func ExampleFocusTask_Plan() {
	plan, err := optics.FocusTask{
		Depth:         12 * optics.Millimetre,
		Magnification: 0.5,
		Sensor:        optics.Sensor{Width: 36 * optics.Millimetre, PixelWidth: 8256, PixelHeight: 5504},
		FNumbers:      optics.StopsBetween(4, 22),
		Overlap:       1 - optics.StepRatio,
	}.Plan()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range plan.Rows {
		fmt.Printf("f/%g works as f/%.1f: %d frames, Q %.2f, %.0f MP\n", r.FNumber, r.Working, r.Frames, r.Q, r.MegapixelsLeft)
	}
	fmt.Println(plan.Why)
	fmt.Println(plan.InOneFrame())
	// Output:
	// f/4 works as f/6.0: 34 frames, Q 0.76, 45 MP
	// f/5.6 works as f/8.4: 25 frames, Q 1.06, 45 MP
	// f/8 works as f/12.0: 15 frames, Q 1.51, 45 MP
	// f/11 works as f/16.5: 9 frames, Q 2.08, 28 MP
	// f/16 works as f/24.0: 5 frames, Q 3.03, 13 MP
	// f/22 works as f/33.0: 3 frames, Q 4.16, 7 MP
	// f/8 works as f/12 and keeps all 45 MP: 15 frames at a focus step of 0.887 mm
	// one frame does not cover the depth: even f/22 blurs front and back over 15 pixels, and about 7 of 45 MP remain
}
