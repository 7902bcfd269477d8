package config

import (
	"fmt"

	"prestrike/audit/values"
)

// A Range is the valid range of a number, both ends included.
type Range struct {
	Min, Max float64
	Unit     string
}

func (r Range) holds(v float64) bool { return v >= r.Min && v <= r.Max }

// A RangeError reports a number outside its range.
type RangeError struct {
	Value float64
	Range Range
}

// Error names the value and the range.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s is out of range: write %s", values.Text(e.Value, e.Range.Unit), e.Range)
}

// Check returns a [*RangeError] where v lies outside the range.
func (r Range) Check(v float64) error {
	if r.holds(v) {
		return nil
	}
	return &RangeError{v, r}
}

// String writes the range in words: "0.001 to 100", "1/8000 to 1 s".
func (r Range) String() string {
	return values.Text(r.Min, r.Unit) + " to " + values.WithUnit(r.Max, r.Unit)
}
