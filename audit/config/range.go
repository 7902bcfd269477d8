package config

import "fmt"

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
	return fmt.Errorf("%v is out of range: write %s", v, r)
}

// String writes the range in words: "0.001 to 100".
func (r Range) String() string {
	s := fmt.Sprintf("%v to %v", r.Min, r.Max)
	if r.Unit != "" {
		s += " " + r.Unit
	}
	return s
}
