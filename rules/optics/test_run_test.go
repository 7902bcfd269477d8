package optics

import (
	"math"
	"testing"
)

func TestTestRunPlan(t *testing.T) {
	run := TestRun{Growth: 1.5, Low: 1.3, High: 1.7, Allowed: 3, First: 2, Last: 14, Margin: 2, Setting: 3}
	for _, c := range []struct {
		name    string
		change  func(*TestRun)
		setting int
		frames  int
		growth  float64
		down    float64
	}{
		// 12 frames of 1.5 px are 18 px: 6 steps of 3 px, 7 frames, and 4 to spare.
		{"setting 3", func(*TestRun) {}, 6, 11, 3, 1},
		{"no setting", func(r *TestRun) { r.Setting = 0 }, 0, 11, 3, 1},
		// 1.6 px: 5.6 rounds down to 5, of 2.67 px; 19.2 px take 7.2, so 8 steps.
		{"between settings", func(r *TestRun) { r.Growth = 1.6 }, 5, 13, 1.6 / 3 * 5, 1},
		// 15 px with 3 is 5 px with 1: the f-number must be 5/3 as large. 180 px in steps of 3.
		{"too wide", func(r *TestRun) { r.Growth, r.Low, r.High = 15, 14, 16 }, 0, 65, 3, 5.0 / 3},
		{"one plane", func(r *TestRun) { r.Last = r.First }, 6, 5, 3, 1},
	} {
		r := run
		c.change(&r)
		p, err := r.Plan()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if p.Setting != c.setting || p.Frames != c.frames || p.Needed != c.frames-4 || math.Abs(p.Growth-c.growth) > 1e-9 || math.Abs(p.StopDown-c.down) > 1e-9 || p.TooWide != (c.down > 1) {
			t.Errorf("%s: %+v", c.name, p)
		}
	}
	for name, change := range map[string]func(*TestRun){
		"no growth":    func(r *TestRun) { r.Growth = 0 },
		"not a number": func(r *TestRun) { r.Growth = math.NaN() },
		"out of order": func(r *TestRun) { r.Low = 2 },
		"backwards":    func(r *TestRun) { r.Last = 1 },
		"setting":      func(r *TestRun) { r.Setting = 1001 },
		"margin":       func(r *TestRun) { r.Margin = 101 },
	} {
		r := run
		change(&r)
		if p, err := r.Plan(); err == nil {
			t.Errorf("%s: %+v, want an error", name, p)
		}
	}
}

// The step that makes blur grow is the one whose blur is that of a thin lens: the
// subject moved by the step, all else kept.
func TestStepFromBlurIsThatOfAThinLens(t *testing.T) {
	const f, n = 100 * Millimetre, 4.0
	for _, m := range []float64{0.25, 1, 3} {
		blur := 5 * Micrometre
		step, k := StepFromBlur(blur, WorkingFNumber(n, m, 1), m, 1, f)
		// A thin lens at distance u has its image at v; the point moved away has it nearer.
		u := f * Length(1+1/m)
		v := f * Length(1+m)
		moved := 1 / (1/f - 1/(u+step))
		aperture := f / n
		got := float64(aperture*(v-moved)/moved) / float64(blur)
		if math.Abs(got-1) > 1.1*k {
			t.Errorf("%v:1: a step of %v makes a blur of %v of the one asked for, want 1 to within %v", m, step, got, k)
		}
	}
}

// 13 % at 0.25:1, 17 % at 1:1 and 24 % at 5:1, with the blur known to 10 %: worked out by
// hand from the sum of squares.
func TestStepError(t *testing.T) {
	for m, want := range map[float64]float64{0.25: 0.134, 1: 0.174, 5: 0.239} {
		if got := StepError(0.10, m, 1); math.Abs(got-want) > 0.001 {
			t.Errorf("%v:1: %v, want %v", m, got, want)
		}
	}
	// √(0.10² + 0.05² + (2·0.03)²), at any magnification
	if got := StepError(0.10, 1, math.Inf(1)); math.Abs(got-0.127) > 0.001 {
		t.Errorf("a working f-number: %v, want 0.127", got)
	}
	if !math.IsNaN(StepError(0.1, 0, 1)) {
		t.Error("no magnification: want NaN")
	}
}

func TestSettingFor(t *testing.T) {
	for _, c := range []struct {
		setting                  int
		growth, made, allowed, n float64
		want                     int
	}{
		{3, 1.5, 8, 3, 8, 6}, // twice as much blur is allowed
		{3, 1.5, 8, 3, 4, 3}, // half the f-number makes twice the blur
		{3, 1.5, 8, 3, 16, 12},
		{3, 1.6, 8, 3, 8, 5}, // 5.6
		{1, 4, 8, 3, 8, 0},
		{3, 0, 8, 3, 8, 0},
	} {
		if got := SettingFor(c.setting, c.growth, c.made, c.allowed, c.n); got != c.want {
			t.Errorf("%+v: %d", c, got)
		}
	}
}
