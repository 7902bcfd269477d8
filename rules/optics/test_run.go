package optics

import (
	"fmt"
	"math"
)

// A TestRun is what a short focus run shows of its blur. The run is made to find the
// focus step. Lengths on the picture are in px of any one picture.
type TestRun struct {
	// Growth is by how much the diameter of the blur disc grows a frame, px; Low and
	// High bound it nine times in ten. All above 0, in this order.
	Growth, Low, High float64
	// Allowed is the growth that leaves all sharp, px, above 0.
	Allowed float64
	// First and Last are where the subject is sharp for the first and the last time,
	// in frames.
	First, Last float64
	// Margin is how many frames to add at each end, 0 to 100.
	Margin int
	// Setting is the focus step that the camera was set to, a whole number of 1 to
	// 1000; 0 where it is not known.
	Setting int
}

// A TestRunPlan is what to set after a [TestRun].
type TestRunPlan struct {
	// Factor is how many times as wide a focus step may be as that of the test run;
	// FactorLow and FactorHigh bound it nine times in ten.
	Factor, FactorLow, FactorHigh float64
	// Setting is the widest whole setting that is allowed; 0 where none was given, or
	// where even 1 is too wide.
	Setting int
	// TooWide reports that even a setting of 1 is too wide: then the f-number must be
	// StopDown times as large. It is 1 otherwise.
	TooWide  bool
	StopDown float64
	Growth   float64 // a frame, with the step planned, px
	Needed   int     // frames that cover what was sharp
	Frames   int     // with the margin at both ends
}

// Plan works out the step and the number of frames. Settings are taken to be
// proportional to the step, as those of bodies with focus bracketing are (common
// practice). The blur of one lens at one focus goes with the step, and with 1/N.
//
//	factor = allowed / growth
//	frames = ⌈(last - first)·growth / planned growth⌉ + 1
//
// Source: definition; counting. The error is a [*RangeError].
func (t TestRun) Plan() (*TestRunPlan, error) {
	if !positive(t.Growth, t.Low, t.High, t.Allowed) || t.Low > t.Growth || t.Growth > t.High || !(t.Last >= t.First) {
		return nil, &RangeError{"test run", fmt.Sprint(t.Growth), "a growth above 0 within its bounds, and a last frame behind the first"}
	}
	if err := within("margin", t.Margin, 0, 100, "frames"); err != nil {
		return nil, err
	}
	if t.Setting != 0 {
		if err := within("setting", t.Setting, 1, 1000, ""); err != nil {
			return nil, err
		}
	}
	p := &TestRunPlan{Factor: t.Allowed / t.Growth, FactorLow: t.Allowed / t.High, FactorHigh: t.Allowed / t.Low, Growth: t.Allowed, StopDown: 1}
	if t.Setting > 0 {
		set := math.Floor(float64(t.Setting) * p.Factor * (1 + 1e-9))
		one := t.Growth / float64(t.Setting) // with a setting of 1
		switch {
		case set < 1:
			p.TooWide, p.StopDown, p.Growth = true, one/t.Allowed, t.Allowed
		default:
			p.Setting, p.Growth = int(set), one*set
		}
	}
	steps := math.Ceil((t.Last - t.First) * t.Growth / p.Growth * (1 - 1e-9))
	if steps >= MaxFrames {
		return nil, fmt.Errorf("the subject takes more than %d frames", MaxFrames)
	}
	p.Needed = int(steps) + 1
	p.Frames = p.Needed + 2*t.Margin
	return p, nil
}

// SettingFor returns the widest whole setting of the focus step with which blur grows by no
// more than allowed a frame at f-number n, where it grows by growth with the setting of a
// test run at f-number made: the blur of one lens at one focus goes with the setting, and
// with 1/N. 0 where even 1 is too wide, or an argument is not above 0.
//
//	⌊setting · allowed/growth · n/made⌋
//
// Source: c = step·m²/N, see [StepFromBlur].
func SettingFor(setting int, growth, made, allowed, n float64) int {
	if !positive(float64(setting), growth, made, allowed, n) {
		return 0
	}
	return int(math.Floor(float64(setting) * allowed / growth * n / made * (1 + 1e-9)))
}

// StepFromBlur returns the focus step on the subject's side that makes the blur disc
// grow by a diameter on the sensor, and the relative error of either side that this
// leaves out: it is no use from 0.2 on.
//
//	step = c·Ne/m², error k = c·N/(m·f)
//
// Ne is the working f-number, m the magnification, focal the focal length. All must be
// above 0, else NaN.
// Source: c = step·m²/Ne for a small step, the geometric depth of field solved for it
// (see [GeometricDepth]); k is the first term of the series in c that is left out.
func StepFromBlur(blur Length, ne, m float64, p float64, focal Length) (step Length, k float64) {
	if !positive(ne, m, p) || !positive(blur, focal) {
		return Length(nan), nan
	}
	step = blur * Length(ne/(m*m))
	return step, float64(blur/focal) * MarkedFNumber(ne, m, p) / m
}

// StepError returns the relative standard deviation of [StepFromBlur] where the blur is
// known to the given one, the f-number to 5 %, the magnification to 3 % and the pupil
// magnification to 25 %.
//
//	√(σc² + σN² + ((m/P)/(1+m/P) - 2)²·σm² + ((m/P)/(1+m/P))²·σP²)
//
// blur must be 0 or more, m and p above 0, else NaN; p is infinite where the f-number known
// is Ne itself.
// Source: propagation of errors through Ne = N(1 + m/P).
func StepError(blur, m, p float64) float64 {
	if !notNegative(blur) || !positive(m) || !(p > 0) {
		return nan
	}
	const number, scale, pupil = 0.05, 0.03, 0.25
	share := m / p / (1 + m/p)
	return math.Sqrt(blur*blur + number*number + (share-2)*(share-2)*scale*scale + share*share*pupil*pupil)
}
