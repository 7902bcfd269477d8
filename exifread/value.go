package exifread

import (
	"fmt"
	"math"
)

// A Value is one recorded value or the knowledge that nothing was recorded.
// The zero Value is "not recorded"; 0 is never used to mean missing.
type Value[T any] struct {
	v     T
	known bool
}

// Of returns a recorded value.
func Of[T any](v T) Value[T] { return Value[T]{v: v, known: true} }

// Get returns the value and whether one was recorded.
func (v Value[T]) Get() (T, bool) { return v.v, v.known }

// Known reports whether a value was recorded.
func (v Value[T]) Known() bool { return v.known }

// Or returns the recorded value, or otherwise where nothing was recorded.
func (v Value[T]) Or(otherwise T) T {
	if v.known {
		return v.v
	}
	return otherwise
}

// String prints the value, or "not recorded".
func (v Value[T]) String() string {
	if !v.known {
		return "not recorded"
	}
	return fmt.Sprint(v.v)
}

// A Rational is a quotient exactly as the file states it, so that two frames
// can be compared without rounding. Den is never 0 in a recorded Value.
type Rational struct{ Num, Den int64 }

// Float returns Num/Den; NaN or an infinity where Den is 0.
func (r Rational) Float() float64 { return float64(r.Num) / float64(r.Den) }

// Positive returns a recorded quotient as a number above 0, or 0 where it is not
// recorded, zero, negative or infinite.
func Positive(v Value[Rational]) float64 {
	r, ok := v.Get()
	if f := r.Float(); ok && f > 0 && !math.IsInf(f, 1) {
		return f
	}
	return 0
}

// Equal reports whether both quotients are the same number.
// Exif numerators and denominators have 32 bits, so the products fit.
func (r Rational) Equal(s Rational) bool { return r.Num*s.Den == s.Num*r.Den }

// String prints the quotient as it is recorded, such as 1/125.
func (r Rational) String() string { return fmt.Sprintf("%d/%d", r.Num, r.Den) }
