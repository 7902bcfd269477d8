package pixels

import "weak"

// Seen is what was found in the pictures of a sequence.
type Seen struct {
	Judgement *Judgement
	// Missing gives the reason for each frame whose picture could not be
	// measured, by the frame's place in the sequence.
	Missing map[int]string
	// Behind is what the frames are to those of the run before a pause; nil where nobody
	// asks. Where they go on, all else is about both runs together.
	Behind *GoingOn
	// Few means that the frames are too few to show anything by themselves, and were
	// inspected for the hole in an earlier run that they may close.
	Few bool

	compared map[pairOfStills]Softness // kept
}

// A pairOfStills is a frame of one run and what it is compared with. It holds no other run:
// each would hold those before it, and so on to the first frame of the day.
type pairOfStills struct {
	frame int
	of    weak.Pointer[Seen]
	other int // frame of it
}

// Softer asks whether a frame, by its place, is softer than a frame of another run, or of the
// same one, or than another run as a whole where that place is -1. The answer is kept: a folder that fills asks again and again. It is
// not safe for concurrent use.
func (s *Seen) Softer(frame int, of *Seen, other int) Softness {
	key := pairOfStills{frame, weak.Make(of), other}
	if known, ok := s.compared[key]; ok {
		return known
	}
	x := Softness{Verdict: cannot(ReasonNoView)}
	if a, b := s.Judgement.still(frame), of.Judgement.still(other); a != nil && b != nil {
		x = a.SofterThan(b)
	} else if a != nil && other < 0 {
		x = a.SofterThanRun(of.Judgement)
	}
	if s.compared == nil {
		s.compared = map[pairOfStills]Softness{}
	}
	s.compared[key] = x
	return x
}

// ShownBy reports whether another run shows the view of a frame, by its place.
func (s *Seen) ShownBy(frame int, of *Seen) bool {
	a := s.Judgement.still(frame)
	return a != nil && a.shownBy(of.Judgement)
}

// still returns the frame of that place; nil where it is not kept.
func (j *Judgement) still(frame int) *Still {
	for i := range j.Stills {
		if j.Stills[i].Frame == frame {
			return &j.Stills[i]
		}
	}
	return nil
}

// DamagedFile is the reason where the picture of a JPEG file is damaged: the frame
// is lost.
const DamagedFile = "the picture is damaged"

// Closes reports whether the pictures of a later sequence close the hole between two
// frames of this one, by their places, or go on from an end frame where the other place is
// -1. The reason is why, where they do not, or not surely, although they were made for it. Anything but a
// *Seen closes nothing.
func (s *Seen) Closes(of any, before, behind int) (closes bool, why string) {
	other, ok := of.(*Seen)
	if !ok || before < 0 && behind < 0 {
		return false, ""
	}
	var p Patch
	if before < 0 || behind < 0 {
		p = s.Judgement.Extend(other.Judgement, behind < 0)
	} else {
		p = s.Judgement.Patch(other.Judgement, before, behind)
	}
	switch {
	case !p.Tried:
	case p.Answer == CannotTell:
		why = p.Reason
	default:
		why = p.Why
	}
	return p.Answer == Found, why
}

// SameView reports whether two sequences show the same view, whether the pictures
// decide that, and which share of the one picture lies elsewhere in the other. Anything
// but a *Seen decides nothing.
func (s *Seen) SameView(of any) (same, known bool, apart float64) {
	other, ok := of.(*Seen)
	if !ok {
		return false, false, 0
	}
	l := s.Judgement.View.Same(&other.Judgement.View)
	return l.Answer == Found, l.Answer != CannotTell, l.Apart05
}
