package rules

import (
	"math"

	"prestrike/audit"
	"prestrike/exifread"
)

var apertureDrift = &audit.Rule{
	ID:       "aperture-drift",
	Title:    "f-number changes within a run",
	Severity: audit.Check,
	Doc: `Finds frames of a focus sequence or time-lapse whose f-number differs by 1/6 EV or
more from that of the rest of their run.

Depth of field and brightness change with it: merged pictures get patches, clips
flicker.

Set the f-number by hand, look whether the ring or dial was touched, and shoot this
sequence again.

Some lenses report the working f-number, which rises as focus comes nearer. An
f-number that only walks one way through a focus sequence, in small steps, is
therefore not judged. It is wrong where the change is meant.`,
	Source: "JEITA CP-3451 (Exif 2.2) Annex C, p. 122: nominal values; working f-number: Greivenkamp, Field Guide to Geometrical Optics (2004), p. 29; tolerance of half a third-stop step: common practice",
	Params: []audit.Param{
		tolerance,
		{
			Name: "focus-step", Unit: "EV",
			Doc:     "a working f-number changes by at most this much from frame to frame",
			Default: 0.4, Min: 0.1, Max: 1,
		},
	},
	Check: checkApertureDrift,
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
	if q.Kind != audit.Interval && walksWithFocus(d.frames, s, v.Param("focus-step")) {
		v.Unjudged("the f-number walks with focus, as where a lens reports the working f-number", d.frames...)
		return nil
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

// walksWithFocus reports whether the f-number could be a working f-number: it
// moves one way only, in small steps, at an f-number set by hand, and either
// more than once, or as the recorded distance says: up as focus comes nearer.
func walksWithFocus(frames []*audit.Frame, s setting[exifread.Rational], largest float64) bool {
	if p := automaticProgram(frames); p != "" && p != aperturePriority {
		return false
	}
	up, down := 0, 0
	for i := 1; i < len(frames); i++ {
		a, _ := s.read(frames[i-1].Meta()).Get()
		b, _ := s.read(frames[i].Meta()).Get()
		change := s.scale(b) - s.scale(a)
		switch {
		case a == b:
		case math.Abs(change) > largest:
			return false
		case change > 0:
			up++
		default:
			down++
		}
	}
	if up > 0 && down > 0 {
		return false
	}
	from, okFrom := metres(frames[0])
	to, okTo := metres(frames[len(frames)-1])
	if okFrom && okTo {
		return up > 0 && to < from || down > 0 && to > from
	}
	return up+down > 1
}

// metres returns the distance the frame records.
func metres(f *audit.Frame) (float64, bool) {
	d, ok := f.Meta().SubjectDistance.Get()
	return d.Metres, ok && d.State == exifread.DistanceMetres
}
