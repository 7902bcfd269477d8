package evidence

import (
	"math"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// FocusStep is a parameter of aperture-drift.
var FocusStep = audit.Param{
	Name: "focus-step", Unit: "EV",
	Doc:     "a working f-number changes by at most this much from frame to frame",
	Default: 0.4, Min: 0.1, Max: 1,
}

// A FocusWalk says whether the f-number of a run moves as a working f-number does.
type FocusWalk uint8

const (
	NoWalk       FocusWalk = iota // it cannot be one
	WalkPossible                  // it could be one, on somebody's word
	WalkLikely                    // it looks like one
	WalkShown                     // distance and lens show that it is one
)

// WalksWithFocus reports whether the f-number could be a working f-number. It
// could where it moves one way only, in small steps, at an f-number set by hand,
// and not against the recorded distance: up as focus comes nearer. It likely is
// where it moves so more than once, or with the distance. It is where both hold
// and it stays between the lens's largest opening and what that works as at 1:1:
// stopped down, bodies hold the f-number they show.
func WalksWithFocus(frames []*shoot.Frame, s Setting[exifread.Rational], largest float64) FocusWalk {
	if p := AutomaticProgram(frames); p != "" && p != AperturePriority {
		return NoWalk
	}
	up, down := 0, 0
	var prev exifread.Rational
	for i, f := range frames {
		n, ok := s.Read(f.Meta()).Get()
		if !ok {
			return NoWalk
		}
		change := 0.0
		if i > 0 && n != prev {
			change = s.Scale(n) - s.Scale(prev)
		}
		switch {
		case change == 0:
		case math.Abs(change) > largest:
			return NoWalk
		case change > 0:
			up++
		default:
			down++
		}
		prev = n
	}
	if up > 0 && down > 0 || up+down == 0 {
		return NoWalk
	}
	first, last := frames[0], frames[len(frames)-1]
	from, okFrom := metres(first)
	to, okTo := metres(last)
	switch {
	case okFrom && okTo && (up > 0 && to > from || down > 0 && to < from):
		return NoWalk
	case okFrom && okTo && to != from:
		far, near := first, last
		if up == 0 {
			far, near = last, first
		}
		if up+down > 1 && isWideOpen(s, far, near) {
			return WalkShown
		}
		return WalkLikely
	case up+down > 1:
		return WalkLikely
	}
	return WalkPossible
}

// isWideOpen reports whether the f-numbers of the farthest and the nearest
// frame are those that a lens works at wide open.
func isWideOpen(s Setting[exifread.Rational], far, near *shoot.Frame) bool {
	open, ok := widest(far.Meta())
	if !ok {
		return false
	}
	lowest := 2 * math.Log2(open)
	atLifeSize := lowest + optics.ExposureLoss(1, optics.SymmetricPupil)
	a, _ := s.Read(far.Meta()).Get()
	b, _ := s.Read(near.Meta()).Get()
	return s.Scale(a) >= lowest-s.Within && s.Scale(b) <= atLifeSize+s.Within
}

// metres returns the distance the frame records.
func metres(f *shoot.Frame) (float64, bool) {
	d, ok := f.Meta().SubjectDistance.Get()
	return d.Metres, ok && d.State == exifread.DistanceMetres
}

// FNumbersOf returns what kind of f-number a frame records, as declared for its
// lens or its body.
func FNumbersOf(v *audit.Review, b *shoot.Body, m *exifread.Metadata) audit.FNumbers {
	if kind := LensFacts(v.Options, m).FNumbers; kind != audit.FNumbersUnknown {
		return kind
	}
	return bodyFacts(v.Options, b).FNumbers
}

// working returns the f-number the sensor sees for the one a frame records.
// Where the magnification is not known it is the recorded one: the least it can be.
func working(n float64, m Magnification, kind audit.FNumbers, lens audit.LensFacts) float64 {
	if kind == audit.FNumbersEffective || !Known(m.M) {
		return n
	}
	return optics.WorkingFNumber(n, m.M, Pupil(lens))
}

// An Opening is the f-number of a frame with what the sensor sees of it.
type Opening struct {
	Frame   *shoot.Frame
	Marked  float64 // as recorded
	M       Magnification
	Kind    audit.FNumbers
	Working float64
}

// Openings returns the f-numbers of the review's sequence; unknown are the frames
// that record other things, but no f-number.
func Openings(v *audit.Review) (list []Opening, unknown []*shoot.Frame) {
	o := openings.Of(v)
	return o.list, o.unknown
}

var openings = audit.SequenceFact(func(v *audit.Review) (o struct {
	list    []Opening
	unknown []*shoot.Frame
},
) {
	o.list, o.unknown = readOpenings(v)
	return o
})

func readOpenings(v *audit.Review) (list []Opening, unknown []*shoot.Frame) {
	q, s := v.Sequence, SensorOf(v)
	effective := lensesReportingWorking.Of(v)[mountedOn(q)]
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		n := exifread.Positive(f.Meta().FNumber)
		if n == 0 {
			unknown = append(unknown, f)
			continue
		}
		o := Opening{Frame: f, Marked: n, M: MagnificationOf(v, q, s, f), Kind: FNumbersOf(v, q.Body, f.Meta())}
		if o.Kind == audit.FNumbersUnknown && effective {
			o.Kind = audit.FNumbersEffective
		}
		o.Working = working(n, o.M, o.Kind, LensFacts(v.Options, f.Meta()))
		list = append(list, o)
	}
	return list, unknown
}

// OpenFrames returns the frames of openings.
func OpenFrames(list []Opening) []*shoot.Frame {
	frames := make([]*shoot.Frame, len(list))
	for i, o := range list {
		frames[i] = o.Frame
	}
	return frames
}

// mounted is a lens on a body.
type mounted struct {
	body *shoot.Body
	lens exifread.Value[string]
}

func mountedOn(q *shoot.Sequence) mounted { return mounted{q.Body, q.Frames[0].Meta().LensModel} }

// lensesReportingWorking are the lenses of which a run of the session shows that
// their frames record the working f-number: what one run shows holds for all.
var lensesReportingWorking = audit.SessionFact(func(v *audit.Review) map[mounted]bool {
	found := map[mounted]bool{}
	for _, q := range v.Session.Sequences {
		if q.Kind.Steady() && reportsWorking(v, q) {
			found[mountedOn(q)] = true
		}
	}
	return found
})

// reportsWorking reports whether the frames of a run show that their f-number
// is the working one: it falls back towards the lens's own largest opening as
// focus goes away, which no f-number set by hand does.
func reportsWorking(v *audit.Review, q *shoot.Sequence) bool {
	s := FNumber(Tolerance.Default)
	return WalksWithFocus(q.Frames, s, v.ParamOf("aperture-drift", FocusStep)) == WalkShown
}

// widest returns the smallest f-number of the frame's lens, as its
// specification or MaxApertureValue tells.
func widest(m *exifread.Metadata) (float64, bool) {
	if spec, ok := m.LensSpecification.Get(); ok {
		a, okA := spec.MinFNumberMinFocal.Get()
		b, okB := spec.MinFNumberMaxFocal.Get()
		switch {
		case okA && okB && a > 0 && b > 0:
			return min(a, b), true
		case okA && a > 0:
			return a, true
		}
	}
	if av, ok := m.MaxApertureValue.Get(); ok && av.Den != 0 {
		if n := optics.FNumberFromAv(av.Float()); n > 0 && !math.IsInf(n, 1) {
			return n, true
		}
	}
	return 0, false
}
