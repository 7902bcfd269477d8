package optics

import "math"

// ThinLensClosest is how far the subject must be from the sensor, in focal
// lengths, before [MagnificationFromDistance] is worth using: the formula ends
// at 4, and just above it a small error in D is a large one in m.
const ThinLensClosest = 4.2

// How wrong a magnification from distance alone may be: lenses with internal
// focusing shorten f as they focus near. A 105 mm macro lens at 1:4 came out
// 14 % high against published working distances; far away f is as marked.
const (
	mostThinLensError   = 0.15
	thinLensErrorFullAt = 0.25 // magnification
)

// ThinLensUncertainty returns how far, as a fraction of it, a magnification m
// from [MagnificationFromDistance] may be too high. A frame should not be
// failed on it alone.
//
//	0.15 · min(1, m/0.25)
//
// The error goes with the share of the focal length that is lost, which grows
// with magnification from nothing at infinity. m must be 0 or more, else NaN.
// Source: derived; holds for lenses of 60, 105 and 200 mm with published closest
// focus (pages.mtu.edu/~shene, Close-Up, Working Distance) up to 1:4, but for
// the 200 mm lens near 1:4, which comes out 19 % high.
func ThinLensUncertainty(m float64) float64 {
	if !notNegative(m) {
		return nan
	}
	return mostThinLensError * min(1, m/thinLensErrorFullAt)
}

// MagnificationFromField returns the magnification of a framing: the width of
// the sensor over the width of the field it sees. It needs no model of the
// lens and is the best source there is.
//
//	m = W / field
//
// Both must be above 0, else NaN. It is the definition of magnification.
func MagnificationFromField(sensor, field Length) float64 {
	if !positive(sensor, field) {
		return nan
	}
	return float64(sensor / field)
}

// FocusDistance returns the subject-to-sensor distance at which a thin lens
// gives magnification m.
//
//	D = f(2 + m + 1/m)
//
// Both must be above 0, else NaN. D is never below 4f, at m = 1. The distance
// between the principal planes of a thick lens comes on top.
// Source: the lens equation 1/s + 1/v = 1/f with m = v/s and D = s + v.
func FocusDistance(f Length, m float64) Length {
	if !positive(f) || !positive(m) {
		return Length(nan)
	}
	return f * Length(2+m+1/m)
}

// MagnificationFromDistance returns the magnification of a thin lens focused
// at the subject-to-sensor distance d, the solution up to 1:1.
//
//	q = D/f - 2,  m = (q - √(q²-4))/2
//
// f must be above 0 and d at least 4f, else NaN: nearer than that no thin lens
// focuses. An infinite d gives 0. See [ThinLensClosest] and
// [ThinLensUncertainty] for how far to trust it.
// Source: [FocusDistance] solved for m.
func MagnificationFromDistance(f, d Length) float64 {
	if !positive(f) || !(d >= 4*f) {
		return nan
	}
	q := float64(d/f) - 2
	if q > 1e150 { // the square would overflow
		return 1 / q
	}
	return 2 / (q + math.Sqrt(q*q-4)) // the same root, without cancellation
}

// FocalLengthAt returns the focal length a thin lens must have to give
// magnification m at the subject-to-sensor distance d.
//
//	f = Dm/(1+m)²
//
// Both must be above 0, else NaN. With the closest focus and the largest
// magnification of a data sheet it shows how far a lens shortens: 105 mm lenses
// that reach 1:1 at 314 mm work as 78.5 mm there, principal planes included.
// Source: [FocusDistance] solved for f; W. Claff, Optics Primer 12, for the
// shortening.
func FocalLengthAt(d Length, m float64) Length {
	if !positive(d) || !positive(m) {
		return Length(nan)
	}
	return d * Length(m/((1+m)*(1+m)))
}

// A CloseFocus is what a data sheet states about a lens. With it, a focus distance
// gives the magnification even where the lens shortens f to focus.
// An extension tube, a close-up lens or a teleconverter makes it untrue.
type CloseFocus struct {
	Focal   Length  // focal length at infinity, as marked
	Closest Length  // closest focus, subject to sensor
	Largest float64 // magnification there, up to 2
}

// Magnification returns the magnification at the subject-to-sensor distance d.
// The focal length is taken to change evenly with magnification, from Focal at
// infinity to the one that fits the closest focus:
//
//	D = f(m)(2 + m + 1/m),  f(m) = f0 + (f1-f0)m/m1,  f1 = D1 m1/(1+m1)²
//
// solved for m by bisection. The lens's values must be above 0, Largest at most
// 2 (beyond, two magnifications can share a distance), and d at least Closest,
// else NaN. An infinite d gives 0. Against the published working distances of a
// 105 mm macro lens it is within 6 % from 1:4 to 1:1.
// Source: derived from the lens equation; checked against the table of
// coinimaging.com.
func (l CloseFocus) Magnification(d Length) float64 {
	if !positive(l.Focal, l.Closest) || !positive(l.Largest) || l.Largest > 2 || !(d >= l.Closest) {
		return nan
	}
	switch d {
	case l.Closest:
		return l.Largest
	case Length(math.Inf(1)):
		return 0
	}
	f1 := FocalLengthAt(l.Closest, l.Largest)
	lo, hi := 0.0, l.Largest // D(lo) > d >= D(hi): falling, or falling and then rising to Closest
	for {
		m := lo + (hi-lo)/2
		if m <= lo || m >= hi {
			return hi
		}
		f := l.Focal + (f1-l.Focal)*Length(m/l.Largest)
		if FocusDistance(f, m) > d {
			lo = m
		} else {
			hi = m
		}
	}
}
