// Package optics holds the formulas of light and time that rules and planning
// decide by, each with its valid range and its published source. It depends on
// the standard library alone and keeps no state.
//
// # Symbols
//
// The letters of the formulas, in the field's usual notation:
//
//	f    focal length at the current focus
//	s    subject distance from the front principal plane
//	D    subject-to-sensor distance, what a focus scale shows
//	m    magnification, image size over subject size, positive
//	P    pupil magnification, diameter of exit pupil over entrance pupil
//	N    marked f-number, what the lens is set to
//	Ne   working f-number, what the sensor sees: N(1+m/P)
//	NA   numerical aperture on the subject's side
//	c    circle of confusion, the blur still called sharp, in the image
//	p    pixel pitch
//	λ    wavelength
//	Q    λNe/p, how far diffraction outgrows the pixels
//	t    exposure time
//	S    ISO setting
//
// Parameters are named after them in small letters: n is a marked and ne a
// working f-number throughout.
//
// # Outside the valid range
//
// A function that gets a value outside its valid range returns NaN. Functions
// that count frames, and plans, return an error instead. None returns an invented
// number. NaN in gives NaN out. Each function states its range.
package optics
