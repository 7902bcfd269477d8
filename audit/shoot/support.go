package shoot

import (
	"fmt"
	"slices"
)

// A Support is what held the camera.
type Support uint8

// The supports. SupportAuto, as an option, lets the kind of sequence tell.
const (
	SupportAuto Support = iota
	Tripod
	Handheld
)

var supportNames = [...]string{SupportAuto: "auto", Tripod: "tripod", Handheld: "handheld"}

// String returns the support's word in reports.
func (s Support) String() string { return supportNames[s] }

// ParseSupport returns the support of a word: auto, tripod or handheld.
func ParseSupport(word string) (Support, error) {
	if i := slices.Index(supportNames[:], word); i >= 0 {
		return Support(i), nil
	}
	return 0, fmt.Errorf("%q is no support: write auto, tripod or handheld", word)
}

// slowest is the exposure time that nobody plans to hold by hand, seconds.
const slowest = 0.25

// support decides what held the camera, from the kind and the exposure times, where
// the user has not declared it.
func (r *Run) support(kind Kind, declared Support) Support {
	if declared != SupportAuto {
		return declared
	}
	slow := func(f *Frame) bool { return f.ExposureSeconds() > slowest }
	if kind.Steady() || kind == Bracket || slices.ContainsFunc(r.Frames, slow) {
		return Tripod
	}
	return Handheld
}
