package optics

import (
	"fmt"
	"strings"
)

// A RangeError reports which value of a plan is outside its valid range.
type RangeError struct {
	Parameter string // in words, for example "pupil magnification"
	Value     string // as given
	Range     string // what is valid, for example "from 0.1 to 10"
}

// Error names the parameter, the value and the valid range.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %s: must be %s", e.Parameter, e.Value, e.Range)
}

type number interface{ ~int | ~float64 }

// within returns a RangeError unless lo <= value <= hi.
func within[T number](parameter string, value, lo, hi T, unit string) error {
	if value >= lo && value <= hi {
		return nil
	}
	show := func(v T) string {
		if unit == "s" && v >= 3600 {
			return digits(float64(v)/3600, 6) + " h"
		}
		return strings.TrimSpace(digits(float64(v), 6) + " " + unit)
	}
	from, to := show(lo), show(hi)
	if unit != "" && strings.HasSuffix(to, " "+unit) {
		from = strings.TrimSuffix(from, " "+unit)
	}
	return &RangeError{parameter, show(value), fmt.Sprintf("from %s to %s", from, to)}
}

// firstError returns the first that is not nil.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// A Sensor is what planning needs to know of a body.
type Sensor struct {
	Width                   Length // of the long side, 4 to 60 mm
	PixelWidth, PixelHeight int    // along the long and the short side, 16 to 100000
}

func (s Sensor) validate() error {
	return firstError(
		within("sensor width", s.Width, NarrowestSensor, WidestSensor, "mm"),
		within("pixels across", s.PixelWidth, 16, 100_000, ""),
		within("pixels down", s.PixelHeight, 16, 100_000, ""),
	)
}

// Pitch returns the pixel pitch.
func (s Sensor) Pitch() Length { return PitchFromWidth(s.Width, s.PixelWidth) }

// Height returns the length of the short side.
func (s Sensor) Height() Length { return s.Pitch() * Length(s.PixelHeight) }

// Megapixels returns the number of pixels in millions.
func (s Sensor) Megapixels() float64 { return float64(s.PixelWidth) * float64(s.PixelHeight) / 1e6 }
