package rules

import (
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

var apertureDrift = &audit.Rule{
	ID:       "aperture-drift",
	Title:    "f-number changes within a run",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence or time-lapse whose f-number differs by 1/6 EV or
more from that of the rest of their run.

Depth of field and brightness change with it: merged pictures get patches, clips
flicker.

Set the f-number by hand, look whether the ring or dial was touched, and shoot this
sequence again.

Some lenses report the working f-number, which rises as focus comes nearer. That is
no change where the lens or body is declared to do so in prestrike.toml, or where
the recorded distance and the lens's own largest opening show it. Else an f-number
that only walks one way through a focus sequence, in small steps, is not judged.

It is wrong where the change is meant.`,
	Source: "JEITA CP-3451 (Exif 2.2) Annex C, p. 122: nominal values; working f-number: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{
		tolerance,
		focusStep,
	},
	Check: checkApertureDrift,
}

var focusStep = audit.Param{
	Name: "focus-step", Unit: "EV",
	Doc:     "a working f-number changes by at most this much from frame to frame",
	Default: 0.4, Min: 0.1, Max: 1,
}

func checkApertureDrift(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() {
		return nil
	}
	s := fNumber(v.Param("tolerance"))
	d := s.of(q.Frames)
	d.unjudged(v, "no f-number recorded")
	if len(d.odd) == 0 {
		return nil
	}
	if atPause(q, d.odd) {
		v.Unjudged(newSetUp, d.odd...)
		return nil
	}
	if q.Kind != shoot.TimeLapse {
		walk := walksWithFocus(d.frames, s, v.Param("focus-step"))
		switch fNumbersOf(v, q.Body, d.frames[0].Meta()) {
		case audit.FNumbersEffective:
			if walk != noWalk {
				return nil
			}
		case audit.FNumbersUnknown:
			if walk == walkShown {
				return nil
			}
			if walk == walkLikely {
				v.Unjudged("the f-number walks with focus, as where a lens reports the working f-number", d.frames...)
				return nil
			}
		}
	}
	found := audit.Finding{
		Message:  d.say(s, "the f-number", q.Frames),
		Action:   "set the f-number by hand and shoot this sequence again",
		Frames:   d.about(),
		Measured: exifread.Of(d.most), Limit: exifread.Of(v.Param("tolerance")), Unit: "EV",
	}
	if p := automaticProgram(d.frames); p != "" && p != aperturePriority {
		found.Message += "; the camera was on " + p
	}
	v.Found(found)
	return nil
}

// A focusWalk says whether the f-number of a run moves as a working f-number does.
type focusWalk uint8

const (
	noWalk       focusWalk = iota // it cannot be one
	walkPossible                  // it could be one, on somebody's word
	walkLikely                    // it looks like one
	walkShown                     // distance and lens show that it is one
)

// walksWithFocus reports whether the f-number could be a working f-number. It
// could where it moves one way only, in small steps, at an f-number set by hand,
// and not against the recorded distance: up as focus comes nearer. It likely is
// where it moves so more than once, or with the distance. It is where both hold
// and it stays between the lens's largest opening and what that works as at 1:1:
// stopped down, bodies hold the f-number they show.
func walksWithFocus(frames []*shoot.Frame, s setting[exifread.Rational], largest float64) focusWalk {
	if p := automaticProgram(frames); p != "" && p != aperturePriority {
		return noWalk
	}
	up, down := 0, 0
	var prev exifread.Rational
	for i, f := range frames {
		n, ok := s.read(f.Meta()).Get()
		if !ok {
			return noWalk
		}
		change := 0.0
		if i > 0 && n != prev {
			change = s.scale(n) - s.scale(prev)
		}
		switch {
		case change == 0:
		case math.Abs(change) > largest:
			return noWalk
		case change > 0:
			up++
		default:
			down++
		}
		prev = n
	}
	if up > 0 && down > 0 || up+down == 0 {
		return noWalk
	}
	first, last := frames[0], frames[len(frames)-1]
	from, okFrom := metres(first)
	to, okTo := metres(last)
	switch {
	case okFrom && okTo && (up > 0 && to > from || down > 0 && to < from):
		return noWalk
	case okFrom && okTo && to != from:
		far, near := first, last
		if up == 0 {
			far, near = last, first
		}
		if up+down > 1 && isWideOpen(s, far, near) {
			return walkShown
		}
		return walkLikely
	case up+down > 1:
		return walkLikely
	}
	return walkPossible
}

// isWideOpen reports whether the f-numbers of the farthest and the nearest
// frame are those that a lens works at wide open.
func isWideOpen(s setting[exifread.Rational], far, near *shoot.Frame) bool {
	open, ok := widest(far.Meta())
	if !ok {
		return false
	}
	lowest := 2 * math.Log2(open)
	atLifeSize := lowest + optics.ExposureLoss(1, optics.SymmetricPupil)
	a, _ := s.read(far.Meta()).Get()
	b, _ := s.read(near.Meta()).Get()
	return s.scale(a) >= lowest-s.within && s.scale(b) <= atLifeSize+s.within
}

// metres returns the distance the frame records.
func metres(f *shoot.Frame) (float64, bool) {
	d, ok := f.Meta().SubjectDistance.Get()
	return d.Metres, ok && d.State == exifread.DistanceMetres
}
