package values

import (
	"math"
	"strings"
)

// Quantity is the kind of a number in a unit, such as those that rules decide by: "s" and
// "mm" are read as a time and a length, "%" may stand behind a percentage, and a plain
// ratio, without a unit, may be written as 30%, 1/3 or 1:3. The unit itself may follow the
// number: 0.5 EV, 3 frames.
func Quantity(in string) Kind[float64] {
	write := func(v float64) string { return Text(v, in) }
	switch in {
	case seconds:
		return Kind[float64]{Time.Wanted, func(s string) (float64, bool) {
			if v, ok := number(s); ok {
				return v, true
			}
			t, ok := readTime(s)
			return float64(t), ok
		}, write}
	case "mm":
		return Kind[float64]{Length.Wanted, func(s string) (float64, bool) {
			if v, ok := number(s); ok {
				return v, true
			}
			l, ok := readLength(s)
			return l.Millimetres(), ok
		}, write}
	case "":
		return Kind[float64]{"a number or a share such as 0.3, 30% or 1/3", readRatio, write}
	}
	return Kind[float64]{"a number such as 2 " + in, func(s string) (float64, bool) {
		at := strings.LastIndexAny(s, digits) + 1
		if name := strings.TrimSpace(s[at:]); name != "" && !strings.EqualFold(name, in) && !strings.EqualFold(name+"s", in) {
			return 0, false
		}
		if v, ok := quotient(s[:at], "/"); ok {
			return v, true
		}
		return number(strings.TrimSpace(s[:at]))
	}, write}
}

// readRatio reads a plain ratio: 0.3, 30%, 1/3, 1:3.
func readRatio(s string) (float64, bool) {
	if percent, ok := strings.CutSuffix(s, "%"); ok {
		v, ok := number(strings.TrimSpace(percent))
		return v / 100, ok
	}
	return readMagnification(s)
}

// Text writes a number in a unit, so that reading it gives the same number again: a time
// below a second as a fraction, 1/30, and so what has no short decimals, 1/6. The unit is
// not written.
func Text(v float64, unit string) string {
	const (
		few     = 5       // digits: more are not short
		largest = 100_000 // of a denominator: 1/100000 s
		parts   = 12      // of other fractions: 1/6 EV, 2/3
	)
	plain := writeNumber(v)
	long := len(strings.TrimLeft(strings.ReplaceAll(plain, ".", ""), "0")) > few && v != math.Trunc(v)
	if unit == seconds && v > 0 && v < 1 {
		if n := math.Round(1 / v); n > 2 && n <= largest && 1/n == v {
			return "1/" + writeNumber(n)
		}
	}
	for below := 2.0; long && below <= parts; below++ {
		if above := math.Round(v * below); above/below == v {
			return writeNumber(above) + "/" + writeNumber(below)
		}
	}
	return plain
}

// WithUnit writes a number and its unit: "1/30 s", "1/6 EV", "2001".
func WithUnit(v float64, unit string) string { return strings.TrimSpace(Text(v, unit) + " " + unit) }

// seconds is the unit in which times are written as fractions.
const seconds = "s"
