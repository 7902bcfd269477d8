package optics

import (
	"fmt"
	"math"
)

// SnapTolerance is how far, in EV, a value may lie from a setting and still be
// that setting: above the worst rounding of a marked value (f/1.2 in third
// stops, 0.141 EV) and the worst shutter measured (15 s that ran 16.5 s,
// 0.138 EV; dpreview.com/forums/post/31437081).
const SnapTolerance = 0.15

// Steps is how finely a control divides a stop.
type Steps int

// The divisions bodies offer.
const (
	FullStops  Steps = 1
	HalfStops  Steps = 2
	ThirdStops Steps = 3
)

// A Setting is one position of a control. Bodies mark rounded values and work
// with even steps: 1/60 s is 1/64 s, f/5.6 is f/5.66.
type Setting struct {
	Marked float64 // as shown: f-number or seconds
	Exact  float64 // on the even scale, to reckon with
}

// FNumbers returns the settings of an aperture ring, from f/1 to f/64: exactly
// 2^(k/2), 2^(k/4) or 2^(k/6). It panics for steps that are none of the
// constants.
// Source: Wikipedia, F-number, fractional stops.
func FNumbers(steps Steps) []Setting { return aperture.settings(steps) }

// ShutterTimes returns the settings of a shutter dial, in seconds, from 30 s to
// 1/32000 s: exactly 2^-k, 2^(-k/2) or 2^(-k/3), so that 30 s is 32 s. It
// panics for steps that are none of the constants.
// Source: JEITA CP-3451 (Exif 2.2), Annex C, table 48, p. 122.
func ShutterTimes(steps Steps) []Setting { return shutter.settings(steps) }

// SnapShutter returns the shutter setting that exposure time t means, and
// whether one lies within [SnapTolerance] of its marked or its exact value:
// files record either. If none does, both values are NaN; do not force a scale
// on a shutter that has none.
func SnapShutter(t Seconds, steps Steps) (Setting, bool) { return shutter.snap(float64(t), steps) }

// A dial is the scale of one control.
type dial struct {
	first float64 // exact value of the first position
	stop  float64 // log2 of the factor from one full stop to the next
	// The marked values, without gaps. Negative ones are denominators:
	// bodies mark times below 0.3 s as fractions.
	halves, thirds []float64
}

var aperture = dial{
	first: 1, stop: 0.5,
	halves: []float64{
		1, 1.2, 1.4, 1.7, 2, 2.4, 2.8, 3.3, 4, 4.8, 5.6, 6.7, 8, 9.5, 11, 13, 16, 19, 22, 27, 32, 38, 45, 54, 64,
	},
	thirds: []float64{
		1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10,
		11, 13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64,
	},
}

var shutter = dial{
	first: 32, stop: -1,
	halves: []float64{
		30, 20, 15, 10, 8, 6, 4, 3, 2, 1.5, 1, 0.7, 0.5, 0.3, -4, -6, -8, -10, -15, -20, -30, -45, -60, -90, -125, -180,
		-250, -350, -500, -750, -1000, -1500, -2000, -3000, -4000, -6000, -8000, -12000, -16000, -24000, -32000,
	},
	thirds: []float64{
		30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, 0.5, 0.4, 0.3, -4, -5, -6, -8, -10, -13,
		-15, -20, -25, -30, -40, -50, -60, -80, -100, -125, -160, -200, -250, -320, -400, -500, -640, -800, -1000, -1250,
		-1600, -2000, -2500, -3200, -4000, -5000, -6400, -8000, -10000, -12500, -16000, -20000, -25000, -32000,
	},
}

func (d dial) settings(steps Steps) []Setting {
	marked, perStop, every := d.thirds, 3.0, 1
	switch steps {
	case ThirdStops:
	case HalfStops:
		marked, perStop = d.halves, 2
	case FullStops:
		every = 3
	default:
		panic(fmt.Sprintf("optics: no scale divides a stop by %d", steps))
	}
	var settings []Setting
	for k := 0; k < len(marked); k += every {
		m := marked[k]
		if m < 0 {
			m = -1 / m
		}
		settings = append(settings, Setting{Marked: m, Exact: d.first * math.Exp2(d.stop*float64(k)/perStop)})
	}
	return settings
}

func (d dial) snap(x float64, steps Steps) (Setting, bool) {
	none := Setting{Marked: nan, Exact: nan}
	nearest, off := none, math.Inf(1)
	for _, s := range d.settings(steps) {
		if o := min(d.stops(x, s.Marked), d.stops(x, s.Exact)); o < off { // never for a NaN
			nearest, off = s, o
		}
	}
	if off > SnapTolerance {
		return none, false
	}
	return nearest, true
}

// stops returns how far a is from b, in EV.
func (d dial) stops(a, b float64) float64 {
	return math.Abs(math.Log2(a/b) / d.stop)
}
