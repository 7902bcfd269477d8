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

// Check returns an error that names the value and the range where v lies
// outside it.
func (r Range) Check(v float64) error {
	if r.holds(v) {
		return nil
	}
	return fmt.Errorf("%s is out of range: write %s", values.Text(v, r.Unit), r)
}

// String writes the range in words: "0.001 to 100", "1/8000 to 1 s".
func (r Range) String() string {
	return values.Text(r.Min, r.Unit) + " to " + values.WithUnit(r.Max, r.Unit)
}
