package optics_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	. "prestrike/rules/optics"
)

// A 36 x 24 mm sensor of 45 megapixels.
var sensor45 = Sensor{Width: FullFrameWidth, PixelWidth: 8256, PixelHeight: 5504}

// The step table of cholla.mmto.org/bbb/focus/rail.html: circle of confusion
// 0.015 mm, geometry alone, no overlap.
func TestPlanGivesThePublishedStepTable(t *testing.T) {
	for _, tc := range []struct{ m, n, step, tol float64 }{
		{1, 11, 0.66, 0.005},
		{2, 8, 0.18, 0.005},
		{3, 5.6, 0.075, 0.0005},
		{4, 4, 0.037, 0.0006}, // 0.0375
		{5, 4, 0.028, 0.0009}, // 0.0288, cut short in the table
	} {
		p, err := FocusTask{
			Depth: 5, Magnification: tc.m, Sensor: sensor45, FNumbers: []float64{tc.n},
			Blur: 0.015 * Millimetre, GeometryOnly: true,
		}.Plan()
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Rows[0].Step.Millimetres(); math.Abs(got-tc.step) > tc.tol {
			t.Errorf("%vx f/%v: step %v mm, want %v", tc.m, tc.n, got, tc.step)
		}
	}
}

// Luong, How to select the f-stop (largeformatphotography.info/fstop.html):
// f-number by focus spread, as f-stop and tenths of a stop above it, rounded up;
// reckoned at 0.546 µm, which the constant 375 per mm shows.
func TestPlanGivesLuongsOptimum(t *testing.T) {
	for _, tc := range []struct{ spread, stop, tenths float64 }{
		{1, 16, 6}, {2, 22.63, 6}, {4, 32, 6}, {5, 32, 9}, {7, 45.25, 4}, {8, 45.25, 6}, {9, 45.25, 8},
	} {
		// At 1:1 the focus spread is the depth; f-numbers out of the way.
		p, err := FocusTask{Depth: mm(tc.spread), Magnification: 1, Sensor: sensor45, FNumbers: []float64{1, 64}}.Plan()
		if err != nil {
			t.Fatal(err)
		}
		lambda := FNumberStops(0.55, 0.546) / 2 // f-numbers go with 1/√λ: stops between the two wavelengths
		got := FNumberStops(tc.stop, p.Single.Working) - lambda
		// The table is rounded up to a tenth; at 9 mm it lies 0.01 lower.
		if tenths := tc.tenths / 10; got > tenths+0.01 || got < tenths-0.11 {
			t.Errorf("spread %v mm: f/%.2f and %.3f stops, want up to %v", tc.spread, tc.stop, got, tenths)
		}
	}
}

// Facts of the trade, common practice: with 45 MP and 100 mm at life size, a
// subject in relief of about 2 mm is not held by f/14 and just held by f/18.
func TestReliefInOneFrame(t *testing.T) {
	p, err := FocusTask{Depth: 2 * Millimetre, Magnification: 1, Sensor: sensor45, FNumbers: []float64{14, 18}, Overlap: 0.3}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if pitch := p.Pitch.Micrometres(); math.Abs(pitch-4.4) > 0.05 {
		t.Errorf("pitch %v µm, want about 4.4", pitch)
	}
	if p.Rows[0].Frames == 1 || p.Rows[1].Frames != 1 {
		t.Errorf("frames at f/14 and f/18: %d and %d, want more than one, and one", p.Rows[0].Frames, p.Rows[1].Frames)
	}
	// The same by geometry for a print.
	print := PrintCoC(Diagonal(FullFrameWidth, FullFrameHeight))
	for _, tc := range []struct {
		n    float64
		held bool
	}{{14, false}, {18, true}} {
		if got := GeometricDepth(print, WorkingFNumber(tc.n, 1, SymmetricPupil), 1) >= 2*Millimetre; got != tc.held {
			t.Errorf("f/%v holds 2 mm in print: %v, want %v", tc.n, got, tc.held)
		}
	}
}

// At 1:1 the picture on the sensor is as large as the subject, at 1.4:1 it is
// 1.4 times as large.
func TestFieldWidthAndMagnificationAgree(t *testing.T) {
	for _, m := range []float64{0.2, 1, 1.4} {
		task := FocusTask{Depth: 5, Magnification: m, Sensor: sensor45, FNumbers: []float64{8}}
		byM, err := task.Plan()
		if err != nil {
			t.Fatal(err)
		}
		task.Magnification, task.FieldWidth = 0, FullFrameWidth/Length(m)
		byField, err := task.Plan()
		if err != nil {
			t.Fatal(err)
		}
		if !same(byM.Magnification, byField.Magnification, rounding) || byM.Rows[0].Frames != byField.Rows[0].Frames {
			t.Errorf("%v:1 by magnification and by field: %+v and %+v", m, byM.Rows[0], byField.Rows[0])
		}
	}
}

// Typical focus sequences are 50 frames at small steps: an ammonite 20 mm deep,
// filling the frame at 1:2, at f/5.6.
func TestTypicalSequence(t *testing.T) {
	p, err := FocusTask{Depth: 20, Magnification: 0.5, Sensor: sensor45, FNumbers: []float64{5.6}, Overlap: 0.3}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if n := p.Rows[0].Frames; n < 25 || n > 75 {
		t.Errorf("%d frames, want about 50", n)
	}
}

func TestFocusPlan(t *testing.T) {
	task := FocusTask{
		Depth: 10 * Millimetre, Magnification: 1, Sensor: sensor45, FNumbers: []float64{22, 4, 5.6, 8, 11, 16},
		Overlap: 0.3, Exposure: 0.5, Recycling: 2,
	}
	p, err := task.Plan()
	if err != nil {
		t.Fatal(err)
	}
	previous := 0.0
	for i, r := range p.Rows {
		if r.FNumber <= previous {
			t.Errorf("row %d: f/%v after f/%v", i, r.FNumber, previous)
		}
		previous = r.FNumber
		if Length(r.Frames-1)*r.Step < task.Depth {
			t.Errorf("f/%v: %d frames of %v do not span %v", r.FNumber, r.Frames, r.Step, task.Depth)
		}
		if want := StepRatio * r.Depth.Larger(); !same(float64(r.Step), float64(want), rounding) {
			t.Errorf("f/%v: step %v, want %v", r.FNumber, r.Step, want)
		}
		if want := Seconds(r.Frames)*0.5 + Seconds(r.Frames-1)*2; r.Total != want || r.Exposure != 0.5 {
			t.Errorf("f/%v: %v in all at %v a frame, want %v", r.FNumber, r.Total, r.Exposure, want)
		}
	}
	// Q reaches 1.64 at f/13 working, f/6.5 marked: f/5.6 is the last to keep all.
	if r := p.Rows[p.Recommended]; r.FNumber != 5.6 {
		t.Errorf("recommended f/%v, want f/5.6", r.FNumber)
	}
	if want := "f/5.6 works as f/11 and keeps all 45 MP: 53 frames at a focus step of 0.193 mm"; p.Why != want {
		t.Errorf("why %q, want %q", p.Why, want)
	}
	// f/22 at 1:1 works as f/44: about 4 of 45 MP remain.
	if r := p.Rows[5]; r.Working != 44 || math.Round(r.MegapixelsLeft) != 4 {
		t.Errorf("f/22 works as f/%v with %v MP left, want f/44 and 4", r.Working, r.MegapixelsLeft)
	}
	// Without limit T = 10 mm at 1:1 is best at f/61 working, blurred over 0.12 mm
	// or 26 pixels; f/22 is as near as this lens comes.
	if s := p.Single; s.Holds || !s.Limited || s.FNumber != 22 {
		t.Errorf("single frame %+v, want f/22, limited, not holding", s)
	}
	task.FNumbers = []float64{4, 64}
	p, err = task.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if s := p.Single; s.Holds || s.Limited || math.Round(s.Working) != 61 || math.Round(s.BlurPixels) != 27 || math.Abs(s.Blur.Millimetres()-0.12) > 0.005 {
		t.Errorf("single frame %+v, want f/61 working, 0.12 mm or 27 pixels", s)
	}
}

func TestRecommendation(t *testing.T) {
	for _, tc := range []struct {
		name string
		task FocusTask
		n    float64 // recommended
		why  string
		one  string
	}{
		{
			name: "all past diffraction",
			task: FocusTask{Depth: 5, Magnification: 1, FNumbers: []float64{11, 16, 22}},
			n:    11, why: "f/11 works as f/22 and loses detail to diffraction, about 16 of 45 MP remain and fewer at the others: 8 frames at a focus step of 0.745 mm",
			one: "one frame does not cover the depth: at best f/22 blurs front and back over 19 pixels, and about 4 of 45 MP remain",
		},
		{
			name: "several hold it in one frame: the least diffraction",
			task: FocusTask{Depth: 5, Magnification: 0.05, FNumbers: []float64{4, 5.6, 8, 11}},
			n:    4, why: "f/4 works as f/4.2 and keeps all 45 MP: one frame covers the depth",
			one: "one frame is enough: f/4 blurs front and back over 1.3 pixels, and about 45 of 45 MP remain",
		},
		{
			name: "held, but soft",
			task: FocusTask{Depth: 2, Magnification: 1, FNumbers: []float64{8, 11, 16, 22}},
			n:    8, why: "f/8 works as f/16 and loses detail to diffraction, about 30 of 45 MP remain and fewer at the others: 7 frames at a focus step of 0.394 mm",
			one: "one frame from f/16 on covers the depth, but soft all through: it works as f/32 and about 7 of 45 MP remain (least blur at the ends: f/14 blurs front and back over 12 pixels)",
		},
		{
			name: "held in one sharp frame, at the limit of the blur",
			task: FocusTask{Depth: 500, Magnification: 0.02, Focal: 50, FNumbers: []float64{8, 9}},
			n:    9, why: "f/9 works as f/9.2 and keeps all 45 MP: one frame covers the depth",
			one: "one frame from f/9 on covers the depth: it works as f/9.2 and about 45 of 45 MP remain (least blur at the ends: f/8.5 blurs front and back over 3.8 pixels)",
		},
		{
			name: "one f-number asked for",
			task: FocusTask{Depth: 2, Magnification: 1, FNumbers: []float64{22}},
			n:    22, why: "f/22 works as f/44 and loses detail to diffraction, about 4 of 45 MP remain: one frame covers the depth",
			one: "one frame from f/22 on covers the depth, but soft all through: it works as f/44 and about 4 of 45 MP remain (least blur at the ends: f/22 blurs front and back over 15 pixels)",
		},
		{
			name: "far from holding it",
			task: FocusTask{Depth: 40, Magnification: 1, FNumbers: []float64{4, 8}},
			n:    4, why: "f/4 works as f/8 and keeps all 45 MP: 329 frames at a focus step of 0.122 mm",
			one: "one frame does not cover the depth: even f/8 blurs front and back over 287 pixels, and about 30 of 45 MP remain",
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.task.Sensor, tc.task.Overlap = sensor45, 0.3
			p, err := tc.task.Plan()
			if err != nil {
				t.Fatal(err)
			}
			if got := p.Rows[p.Recommended].FNumber; got != tc.n {
				t.Errorf("recommended f/%v, want f/%v", got, tc.n)
			}
			if p.Why != tc.why {
				t.Errorf("why\n got %s\nwant %s", p.Why, tc.why)
			}
			if got := p.InOneFrame(); got != tc.one {
				t.Errorf("in one frame\n got %s\nwant %s", got, tc.one)
			}
		})
	}
}

// An ammonite 10 mm deep at 1:1 on 45 MP: f/5.6 needs 53 frames, f/6.3 42, and
// f/7.1 is past the limit. The third stop is found and joins the full stops.
func TestThirdStopIsRecommended(t *testing.T) {
	task := FocusTask{Depth: 10, Magnification: 1, Sensor: sensor45, FNumbers: StopsBetween(4, 22), Overlap: 0.3, ThirdStops: true}
	p, err := task.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if r := p.Rows[p.Recommended]; r.FNumber != 6.3 || r.Needed != 42 || r.Frames != 42 {
		t.Errorf("recommended %s with %d of %d frames, want f/6.3 and 42", r.Aperture, r.Needed, r.Frames)
	}
	var set []float64
	for _, r := range p.Rows {
		set = append(set, r.FNumber)
	}
	if got := fmt.Sprint(set); got != "[4 5.6 6.3 8 11 16 22]" {
		t.Errorf("rows %s", got)
	}
	task.Margin = 2
	p, err = task.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if r := p.Rows[p.Recommended]; r.Needed != 42 || r.Frames != 46 {
		t.Errorf("with 2 frames at each end %d, of them %d for the depth; want 46 and 42", r.Frames, r.Needed)
	}
	if want := "f/6.3 works as f/13 and keeps all 45 MP: 46 frames at a focus step of 0.244 mm, with 2 to spare at each end"; p.Why != want {
		t.Errorf("why %q\nwant %q", p.Why, want)
	}
	// Of f-numbers that all cover the depth in one frame none needs a margin, and
	// the widest is taken.
	p, err = FocusTask{Depth: 5, Magnification: 0.05, Sensor: sensor45, FNumbers: StopsBetween(4, 11), ThirdStops: true, Margin: 2}.Plan()
	if err != nil || p.Rows[p.Recommended].FNumber != 4 || p.Rows[p.Recommended].Frames != 1 || len(p.Rows) != 4 {
		t.Errorf("one frame holds it: %+v, %v", p, err)
	}
}

// A body that shows working f-numbers shows f/16 where the ring of a manual lens
// shows f/8, at 1:1; an objective of NA 1/32 has the same cone of light.
func TestThreeWaysToGiveTheAperture(t *testing.T) {
	task := FocusTask{Depth: 5, Magnification: 1, Sensor: sensor45, FNumbers: []float64{8}}
	marked, err := task.Plan()
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name   string
		change func(*FocusTask)
		set    string
	}{
		{"working", func(f *FocusTask) { f.FNumbers, f.WorkingFNumbers = []float64{16}, true }, "f/16"},
		{"numerical aperture", func(f *FocusTask) { f.FNumbers, f.NumericalAperture = nil, 1.0/32 }, "NA 0.0312"},
	} {
		other := task
		tc.change(&other)
		p, err := other.Plan()
		if err != nil {
			t.Fatal(err)
		}
		want := marked.Rows[0]
		want.Aperture = tc.set
		got := p.Rows[0]
		got.Exposure, got.Total, got.FarStep, want.Exposure, want.Total, want.FarStep = 0, 0, 0, 0, 0, 0 // NaN in all
		if got != want {
			t.Errorf("%s: %+v\nwant %+v", tc.name, got, want)
		}
		if !strings.HasPrefix(p.Why, tc.set+" loses") && !strings.HasPrefix(p.Why, tc.set+" works as f/16 and loses") {
			t.Errorf("%s: %s", tc.name, p.Why)
		}
	}
}

// A thin lens of 100 mm at 1:1 is 200 mm from the near end of a subject 10 mm
// deep, and so 210 mm from the far end, where it has 100/(210-100) = 0.909.
func TestFarEnd(t *testing.T) {
	task := FocusTask{Depth: 10, Magnification: 1, Focal: 100, Sensor: sensor45, FNumbers: []float64{5.6}, Overlap: 0.3}
	p, err := task.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if !same(p.FarMagnification, 100.0/110, rounding) {
		t.Errorf("magnification at the far end %v, want 0.909", p.FarMagnification)
	}
	// Wave depth goes with (Ne/m)²: (1 + 1/m)² of 5.6², so ×(2.1/2)² = 1.1025.
	if r := p.Rows[0]; !same(float64(r.FarStep), 1.1025*float64(r.Step), rounding) {
		t.Errorf("step %v, at the far end %v; want 1.1025 times as much", r.Step, r.FarStep)
	}
	if got := p.AtFarEnd(); !strings.Contains(got, "magnification 0.91, and a step of 0.213 mm") {
		t.Errorf("far end: %q", got)
	}
	task.Depth = 9
	if p, err = task.Plan(); err != nil || p.AtFarEnd() != "" {
		t.Errorf("a step 9 %% wider is told: %q, %v", p.AtFarEnd(), err)
	}
	task.Depth, task.Focal = 10, 0
	if p, err = task.Plan(); err != nil || p.AtFarEnd() != "" || !math.IsNaN(p.FarMagnification) {
		t.Errorf("without a focal length: %q, %v", p.AtFarEnd(), err)
	}
	// A skeleton of a metre at 1:50 with 50 mm, focused at 2.5 m.
	p, err = FocusTask{Depth: Metre, Magnification: 0.02, Focal: 50, Sensor: sensor45, FNumbers: []float64{8}, Overlap: 0.3}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	s := 50 * (1 + 1/0.02)
	blur := PixelCoC(p.Pitch)
	if want := FarLimit(50, 8, blur, mm(s)) - NearLimit(50, 8, blur, mm(s)); !same(float64(p.Rows[0].Depth.Geometric), float64(want), 1e-6) {
		t.Errorf("geometric depth %v, far less near limit %v", p.Rows[0].Depth.Geometric, want)
	}
}

func TestExposureGrowsWithTheFNumber(t *testing.T) {
	p, err := FocusTask{
		Depth: 5, Magnification: 0.5, Sensor: sensor45, FNumbers: []float64{4, 8, 16}, Exposure: 0.25, ExposureAt: 8,
	}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []Seconds{1.0 / 16, 1.0 / 4, 1} {
		if got := p.Rows[i].Exposure; got != want {
			t.Errorf("f/%v: %v, want %v", p.Rows[i].FNumber, got, want)
		}
	}
	p, err = FocusTask{Depth: 5, Magnification: 0.5, Sensor: sensor45, FNumbers: []float64{4}}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if r := p.Rows[0]; !math.IsNaN(float64(r.Exposure)) || !math.IsNaN(float64(r.Total)) {
		t.Errorf("without an exposure time: %v a frame, %v in all; want both unknown", r.Exposure, r.Total)
	}
}

func TestStopsBetween(t *testing.T) {
	for _, tc := range []struct {
		lo, hi float64
		want   string
	}{
		{4, 16, "[4 5.6 8 11 16]"},
		{2.8, 14, "[2.8 4 5.6 8 11 14]"},
		{8, 8, "[8]"},
		{9, 10, "[9 10]"},
		{16, 4, "[]"},
		{0, 4, "[]"},
		{math.NaN(), 4, "[]"},
	} {
		if got := fmt.Sprint(StopsBetween(tc.lo, tc.hi)); got != tc.want {
			t.Errorf("StopsBetween(%v, %v) = %s, want %s", tc.lo, tc.hi, got, tc.want)
		}
	}
}

// Each mistake is refused by an error that names the parameter, the value and
// what is valid.
func TestPlanRefusesBadValues(t *testing.T) {
	nan := math.NaN()
	focus := func(change func(*FocusTask)) func() error {
		return func() error {
			task := FocusTask{Depth: 5, Magnification: 1, Sensor: sensor45, FNumbers: []float64{8}, Overlap: 0.3}
			change(&task)
			_, err := task.Plan()
			return err
		}
	}
	hand := func(change func(*HandheldTask)) func() error {
		return func() error {
			task := HandheldTask{Focal: 100, Sensor: sensor45}
			change(&task)
			_, err := task.Plan()
			return err
		}
	}
	interval := func(change func(*IntervalTask)) func() error {
		return func() error {
			task := IntervalTask{Span: 3600, Interval: 10, Rate: 24}
			change(&task)
			_, err := task.Plan()
			return err
		}
	}
	for _, tc := range []struct {
		err  func() error
		want string
	}{
		{focus(func(f *FocusTask) { f.Depth = 0 }), "depth 0 mm: must be from 0.001 to 1000 mm"},
		{focus(func(f *FocusTask) { f.Depth = Length(nan) }), "depth NaN mm: must be from 0.001 to 1000 mm"},
		{focus(func(f *FocusTask) { f.Magnification = 30 }), "magnification 30: must be from 0.01 to 20"},
		{focus(func(f *FocusTask) { f.Magnification = -1 }), "magnification -1: must be from 0.01 to 20"},
		{focus(func(f *FocusTask) { f.Magnification = 0 }), "magnification not given: must be given, or the field width in its place"},
		{focus(func(f *FocusTask) { f.FieldWidth = 30 }), "field width 30 mm: must be left out where the magnification is given"},
		{focus(func(f *FocusTask) { f.Magnification, f.FieldWidth = 0, 1 }), "field width 1 mm: must be from 1.8 to 3600 mm"},
		{focus(func(f *FocusTask) { f.Sensor.Width = 3.6 }), "sensor width 3.6 mm: must be from 4 to 60 mm"},
		{focus(func(f *FocusTask) { f.Sensor.PixelWidth = 0 }), "pixels across 0: must be from 16 to 100000"},
		{focus(func(f *FocusTask) { f.Sensor.PixelHeight = 1e6 }), "pixels down 1000000: must be from 16 to 100000"},
		{focus(func(f *FocusTask) { f.FNumbers = nil }), "f-numbers none: must be at least one"},
		{focus(func(f *FocusTask) { f.FNumbers = []float64{8, 0} }), "f-number 0: must be from 0.5 to 128"},
		{focus(func(f *FocusTask) { f.PupilMagnification = 11 }), "pupil magnification 11: must be from 0.1 to 10"},
		{focus(func(f *FocusTask) { f.Overlap = 1 }), "overlap 1: must be from 0 to 0.9"},
		{focus(func(f *FocusTask) { f.Blur = 2 }), "circle of confusion 2 mm: must be from 0.001 to 1 mm"},
		{focus(func(f *FocusTask) { f.Exposure = -1 }), "exposure time -1 s: must be from 0 s to 1 h"},
		{focus(func(f *FocusTask) { f.ExposureAt = 200 }), "f-number of the exposure 200: must be from 0.5 to 128"},
		{focus(func(f *FocusTask) { f.Magnification = 0.02 }), "focal length not given: must be given where the magnification is below 0.03"},
		{focus(func(f *FocusTask) { f.Magnification, f.FieldWidth = 0, 2000 }), "focal length not given: must be given where the magnification is below 0.03"},
		{focus(func(f *FocusTask) { f.Focal = -1 }), "focal length -1 mm: must be from 1 to 2000 mm"},
		{focus(func(f *FocusTask) { f.NumericalAperture = 0.1 }), "numerical aperture 0.1: must be left out where f-numbers are given"},
		{focus(func(f *FocusTask) { f.FNumbers, f.NumericalAperture = nil, 1.4 }), "numerical aperture 1.4: must be from 0.001 to 1"},
		{focus(func(f *FocusTask) { f.Margin = -1 }), "margin -1 frames: must be from 0 to 100 frames"},
		{focus(func(f *FocusTask) { f.Recycling = Seconds(nan) }), "recycling time NaN s: must be from 0 s to 1 h"},
		{hand(func(h *HandheldTask) { h.Focal = 0 }), "focal length 0 mm: must be from 1 to 2000 mm"},
		{hand(func(h *HandheldTask) { h.Magnification = -0.1 }), "magnification -0.1: must be from 0 to 20"},
		{hand(func(h *HandheldTask) { h.Radius = 2000 }), "hand radius 2000 mm: must be from 1 to 1000 mm"},
		{hand(func(h *HandheldTask) { h.Stops = 11 }), "stops of stabilisation 11: must be from 0 to 10"},
		{hand(func(h *HandheldTask) { h.Sensor = Sensor{} }), "sensor width 0 mm: must be from 4 to 60 mm"},
		{interval(func(i *IntervalTask) { i.Span = 0 }), "time span, interval and clip length (1 given): must be two of the three"},
		{interval(func(i *IntervalTask) { i.Clip = 10 }), "time span, interval and clip length (3 given): must be two of the three"},
		{interval(func(i *IntervalTask) { i.Interval = 0.01 }), "interval 0.01 s: must be from 0.1 s to 24 h"},
		{interval(func(i *IntervalTask) { i.Span = 1e9 }), "time span 277778 h: must be from 1 s to 2400 h"},
		{interval(func(i *IntervalTask) { i.Interval, i.Clip = 0, 3600 }), "interval that results, 0.0416671 s: must be from 0.1 s to 24 h"},
		{interval(func(i *IntervalTask) { i.Rate = 0 }), "frame rate 0 frames a second: must be from 1 to 240 frames a second"},
		{interval(func(i *IntervalTask) { i.Exposure = -1 }), "exposure time -1 s: must be from 0 s to 24 h"},
		{interval(func(i *IntervalTask) { i.FrameSize = -1e6 }), "size of a frame -1 MB: must be from 0 to 10000 MB"},
		{interval(func(i *IntervalTask) { i.Card = 1e15 }), "card 1000000 GB: must be from 0 to 100000 GB"},
	} {
		err := tc.err()
		if err == nil || err.Error() != tc.want {
			t.Errorf("got error %v\nwant      %s", err, tc.want)
			continue
		}
		if _, ok := errors.AsType[*RangeError](err); !ok {
			t.Errorf("%v is a %T, want *RangeError", err, err)
		}
	}
	if err := focus(func(f *FocusTask) { f.Depth, f.Magnification, f.FNumbers = Metre, 20, []float64{0.5} })(); err == nil || !strings.Contains(err.Error(), "takes more than 1000000 frames") {
		t.Errorf("a metre at 20:1: error %v, want too many frames", err)
	}
	if err := interval(func(i *IntervalTask) { i.Span, i.Interval = 8e6, 0.1 })(); err == nil || !strings.Contains(err.Error(), "makes more than 1000000 frames") {
		t.Errorf("90 days at 0.1 s: error %v, want too many frames", err)
	}
}

func TestHandheldPlan(t *testing.T) {
	for _, tc := range []struct {
		name          string
		task          HandheldTask
		print, pixels float64 // marked settings, seconds
		closeUp       bool
	}{
		// The reciprocal rule; at 100 % on 45 MP 0.38 of it, 1.4 stops.
		{"100 mm far away", HandheldTask{Focal: 100, Sensor: sensor45}, 1.0 / 100, 1.0 / 320, false},
		// 400 mm with 4 stops is 1/25 s (keeindonesia.world); at 100 % 2 stops count.
		{"400 mm stabilised", HandheldTask{Focal: 400, Sensor: sensor45, Stops: 4}, 1.0 / 25, 1.0 / 320, false},
		// f = 100 mm at 1:1 turns by 200 and travels by 200 (R = 200 mm): 1/400 s.
		{"life size", HandheldTask{Focal: 100, Sensor: sensor45, Magnification: 1}, 1.0 / 400, 1.0 / 1250, false},
		// Of the 400 five stops leave 206.
		{"life size stabilised", HandheldTask{Focal: 100, Sensor: sensor45, Magnification: 1, Stops: 5}, 1.0 / 250, 1.0 / 800, true},
		{"turned about a nearer point", HandheldTask{Focal: 100, Sensor: sensor45, Magnification: 1, Stops: 5, Radius: 50}, 1.0 / 60, 1.0 / 320, true},
		// A 6-megapixel sensor shows no more at 100 % than a print does.
		{"few pixels", HandheldTask{Focal: 100, Sensor: Sensor{36, 3000, 2000}}, 1.0 / 100, 1.0 / 100, false},
	} {
		p, err := tc.task.Plan()
		if err != nil {
			t.Fatal(err)
		}
		if p.Print.Setting.Marked != tc.print || p.Pixels.Setting.Marked != tc.pixels || p.CloseUp != tc.closeUp {
			t.Errorf("%s: print %v, pixels %v, close up %v; want %v, %v, %v", tc.name,
				Seconds(p.Print.Setting.Marked), Seconds(p.Pixels.Setting.Marked), p.CloseUp, Seconds(tc.print), Seconds(tc.pixels), tc.closeUp)
		}
		for _, h := range []HandheldTime{p.Print, p.Pixels} {
			if Seconds(h.Setting.Exact) > h.Limit || Seconds(h.Setting.Exact)*1.3 < h.Limit {
				t.Errorf("%s: setting %v for a limit of %v", tc.name, Seconds(h.Setting.Exact), h.Limit)
			}
		}
	}
	crop, err := HandheldTask{Focal: 105, Sensor: Sensor{24, 6000, 4000}}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	// kramery.com, article 483: 105 mm on a body of crop factor 1.5 is about 160 mm.
	if got := crop.Equivalent.Millimetres(); math.Abs(got-157.5) > 0.1 || crop.Print.Setting.Marked != 1.0/160 {
		t.Errorf("105 mm at crop 1.5: equivalent %v mm, %v; want 157.5 and 1/160 s", got, Seconds(crop.Print.Setting.Marked))
	}
	if s := LongestShutter(1e-6); !math.IsNaN(s.Marked) || !math.IsNaN(s.Exact) {
		t.Errorf("a shutter setting of at most 1 µs: %+v, want none", s)
	}
}

func TestIntervalPlan(t *testing.T) {
	// pixean.com/blog/4933: 24 frames at 10 s are 1 s at 24 frames a second,
	// 240 times faster than life.
	p, err := IntervalTask{Interval: 10, Clip: 1, Rate: 24}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if p.Frames != 24 || p.Span != 230 || p.Clip != 1 || p.SpeedUp != 240 || !math.IsNaN(p.Angle) || !math.IsNaN(p.Space) || p.CardFrames != -1 {
		t.Errorf("1 s of clip at 10 s: %+v", p)
	}
	// The other two ways round.
	p, err = IntervalTask{Span: 230, Interval: 10, Rate: 24}.Plan()
	if err != nil || p.Frames != 24 || p.Clip != 1 {
		t.Errorf("230 s at 10 s: %+v, %v", p, err)
	}
	p, err = IntervalTask{Span: 230, Clip: 1, Rate: 24}.Plan()
	if err != nil || p.Frames != 24 || p.Interval != 10 {
		t.Errorf("230 s in 1 s of clip: %+v, %v", p, err)
	}
}

func TestIntervalPlanExposureAndCard(t *testing.T) {
	// A marked 30 s runs 32 s: an interval of 33 s has no room to spare
	// (dpreview.com/forums/post/31437081 needed 33 s).
	p, err := IntervalTask{Span: 3600, Interval: 33, Rate: 25, Exposure: 32, FrameSize: 45e6, Card: 4e9}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if !p.Overruns || p.Frames != 110 || p.Space != 110*45e6 || p.CardFrames != 88 || !p.CardFull || p.Staccato {
		t.Errorf("32 s at 33 s: %+v", p)
	}
	p, err = IntervalTask{Span: 3600, Interval: 10, Rate: 25, Exposure: 1.0 / 64, FrameSize: 45e6, Card: 64e9}.Plan()
	if err != nil {
		t.Fatal(err)
	}
	if p.Overruns || !p.Staccato || p.CardFull || p.LongestExposure != 9 {
		t.Errorf("1/64 s at 10 s: %+v", p)
	}
}

// The fewest frames are those of a plan with the usual overlap, whatever the overlap planned,
// and never more than planned.
func TestFewestFrames(t *testing.T) {
	for _, overlap := range []float64{0, 0.1, 1 - StepRatio, 0.35, 0.5, 0.9} {
		task := FocusTask{
			Depth: 12 * Millimetre, Magnification: 0.5, Margin: 2, Overlap: overlap, FNumbers: []float64{4, 8, 16, 22},
			Sensor: Sensor{Width: 36 * Millimetre, PixelWidth: 8256, PixelHeight: 5504},
		}
		usual := task
		usual.Overlap = max(overlap, 0)
		if overlap > 0.3 {
			usual.Overlap = 0.3
		}
		plan, err := task.Plan()
		if err != nil {
			t.Fatal(err)
		}
		want, err := usual.Plan()
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range plan.Rows {
			got, err := task.FewestFrames(r)
			if err != nil || got != want.Rows[i].Frames || got > r.Frames {
				t.Errorf("overlap %v, %s: %d frames of %d, error %v; want %d", overlap, r.Aperture, got, r.Frames, err, want.Rows[i].Frames)
			}
		}
	}
}
