package optics

import (
	"math"
	"strconv"
)

// A Length is a length. It is kept in millimetres, so that whole millimetres
// are exact; write 90*Millimetre, and read it with one of its methods.
type Length float64

// Units of length. An inch is exactly 25.4 mm.
const (
	Micrometre Length = 0.001
	Millimetre Length = 1
	Centimetre Length = 10
	Inch       Length = 25.4
	Metre      Length = 1000
)

// Micrometres returns the length in µm.
func (l Length) Micrometres() float64 { return float64(l) * 1000 }

// Millimetres returns the length in mm.
func (l Length) Millimetres() float64 { return float64(l) }

// Metres returns the length in m.
func (l Length) Metres() float64 { return float64(l) / 1000 }

// String prints the length to three digits in the unit that suits it, such as
// "4.38 µm", "0.56 mm" or "1.2 m".
func (l Length) String() string {
	switch a := math.Abs(float64(l)); {
	case math.IsNaN(a):
		return "unknown"
	case math.IsInf(a, 0):
		return "infinity"
	case a == 0:
		return "0 mm"
	case a < 0.1:
		return digits(l.Micrometres(), 3) + " µm"
	case a < 999.5:
		return digits(l.Millimetres(), 3) + " mm"
	default:
		return digits(l.Metres(), 3) + " m"
	}
}

// Seconds is a time in seconds. Exposure times are powers of two of a second
// in truth, which a float64 holds exactly, and an unknown time can be NaN,
// which a time.Duration cannot.
type Seconds float64

// String prints the time to three digits as photographers write it, such as
// "1/125 s", "0.8 s" or "300 s".
func (t Seconds) String() string {
	switch a := math.Abs(float64(t)); {
	case math.IsNaN(a):
		return "unknown"
	case math.IsInf(a, 0):
		return "no limit"
	case a == 0 || a > 0.29:
		return digits(float64(t), 3) + " s"
	default:
		return "1/" + digits(1/float64(t), 3) + " s"
	}
}

// digits prints x with n significant digits and never an exponent.
func digits(x float64, n int) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', n, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

var nan = math.NaN()

// positive reports whether all values are finite and above 0.
func positive[T ~float64](values ...T) bool {
	for _, v := range values {
		if !(v > 0) || math.IsInf(float64(v), 1) {
			return false
		}
	}
	return true
}

// finite reports whether all values are neither NaN nor infinite.
func finite[T ~float64](values ...T) bool {
	for _, v := range values {
		if math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
			return false
		}
	}
	return true
}

// notNegative reports whether all values are finite and 0 or more.
func notNegative[T ~float64](values ...T) bool {
	for _, v := range values {
		if !(v >= 0) || math.IsInf(float64(v), 1) {
			return false
		}
	}
	return true
}
