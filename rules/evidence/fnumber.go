package evidence

import (
	"math"
	"slices"

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

// A FocusWalk is whether the f-number of a run moves as a working f-number does.
type FocusWalk uint8

const (
	NoWalk       FocusWalk = iota // it cannot be one
	WalkPossible                  // it could be one, if the lens or body is declared so
	WalkLikely                    // it is probably one
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
	up, down, ok := changes(frames, s, largest)
	if !ok {
		return NoWalk
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

// changes counts how often a setting rises and falls from frame to frame; not ok
// where a frame does not record it, or it moves by more than largest at once.
func changes(frames []*shoot.Frame, s Setting[exifread.Rational], largest float64) (up, down int, ok bool) {
	var prev exifread.Rational
	for i, f := range frames {
		n, ok := s.Read(f.Meta()).Get()
		if !ok {
			return 0, 0, false
		}
		change := 0.0
		if i > 0 && n != prev {
			change = s.Scale(n) - s.Scale(prev)
		}
		switch {
		case change == 0:
		case math.Abs(change) > largest:
			return 0, 0, false
		case change > 0:
			up++
		default:
			down++
		}
		prev = n
	}
	return up, down, true
}

// isWideOpen reports whether the f-numbers of the farthest and the nearest
// frame are those that a lens works at wide open.
func isWideOpen(s Setting[exifread.Rational], far, near *shoot.Frame) bool {
	open, ok := widest(far.Meta())
	if !ok {
		return false
	}
	lowest := optics.Av(open)
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
	Working float64 // the recorded one taken as marked, unless it is known to be the working one
}

// Least returns the least that the working f-number may be: the recorded one,
// where nothing settles that it is not the working one itself.
func (o Opening) Least() float64 {
	if o.Kind == audit.FNumbersUnknown {
		return o.Marked
	}
	return o.Working
}

// TwoReadings reports whether the recorded f-number may be two working ones.
func (o Opening) TwoReadings() bool {
	return optics.FNumberStops(o.Least(), o.Working) >= optics.DriftTolerance
}

// Widest returns the smallest f-number that the lens of the frame has, on the scale
// of the one it records, as far as the frame records it.
func (o Opening) Widest() (n float64, ok bool) {
	n, ok = widestAt(o.Frame.Meta())
	if ok && o.Kind == audit.FNumbersEffective && Known(o.M.M) {
		n = optics.WorkingFNumber(n, o.M.M, optics.SymmetricPupil)
	}
	return n, ok
}

// WideOpen reports whether the lens is open as far as it goes, so that nobody
// chose the f-number; fixed apertures always are. It is false where the frame does
// not record how far the lens opens.
func (o Opening) WideOpen() bool {
	n, ok := o.Widest()
	return ok && optics.FNumberStops(n, o.Marked) < optics.DriftTolerance
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
	q := v.Sequence
	list = make([]Opening, 0, len(q.Frames))
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		if o, ok := OpeningOf(v, q, f); ok {
			list = append(list, o)
		} else {
			unknown = append(unknown, f)
		}
	}
	return list, unknown
}

// OpeningOf returns the f-number of a frame of a sequence of the session; not ok where the frame
// records none.
func OpeningOf(v *audit.Review, q *shoot.Sequence, f *shoot.Frame) (o Opening, ok bool) {
	n := exifread.Positive(f.Meta().FNumber)
	if n == 0 {
		return o, false
	}
	o = Opening{Frame: f, Marked: n, M: MagnificationOf(v, q, SensorBehind(v, q), f), Kind: FNumbersOf(v, q.Body, f.Meta())}
	if o.Kind == audit.FNumbersUnknown {
		o.Kind = fNumbersShown.Of(v)[mountedOn(q)]
	}
	o.Working = working(n, o.M, o.Kind, LensFacts(v.Options, f.Meta()))
	return o, true
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

// fNumbersShown are the kinds of f-number that bodies record with their lenses, as
// the frames of the session show them: what one run shows holds for all.
var fNumbersShown = audit.SessionFact(func(v *audit.Review) map[mounted]audit.FNumbers {
	found := map[mounted]audit.FNumbers{}
	for _, q := range v.Session.Sequences {
		lens := mountedOn(q)
		switch {
		case q.Kind.Steady() && reportsWorking(v, q):
			found[lens] = audit.FNumbersEffective
		case found[lens] == audit.FNumbersUnknown && reportsMarked(v, q):
			found[lens] = audit.FNumbersNominal
		}
	}
	return found
})

// reportsWorking reports whether the frames of a run show that their f-number
// is the working one: it falls back towards the lens's own largest opening as
// focus goes away, which no f-number set by hand does.
func reportsWorking(v *audit.Review, q *shoot.Sequence) bool {
	return FNumberWalk(v, q) == WalkShown
}

// FNumberWalk returns whether the f-number of a sequence moves as a working f-number does.
func FNumberWalk(v *audit.Review, q *shoot.Sequence) FocusWalk {
	return WalksWithFocus(q.Frames, FNumber(Tolerance.Default), v.ParamOf("aperture-drift", FocusStep))
}

// reportsMarked reports whether a frame shows that its f-number is the marked one:
// so near that of the lens wide open as no lens works at so close.
func reportsMarked(v *audit.Review, q *shoot.Sequence) bool {
	const (
		// Lenses that focus inside lose less than the formula has: 1.56 of 2 stops
		// at 1:1 (two macro lenses of which a table was published). None is known
		// to lose less than half.
		leastLoss = 0.5
		enough    = 1.0 // EV by the formula, so that half of it can be distinguished
	)
	sensor := SensorBehind(v, q)
	return slices.ContainsFunc(q.Frames, func(f *shoot.Frame) bool {
		n := exifread.Positive(f.Meta().FNumber)
		open, ok := widest(f.Meta())
		if !ok || n == 0 {
			return false
		}
		loss := optics.ExposureLoss(MagnificationOf(v, q, sensor, f).M, optics.SymmetricPupil)
		return loss >= enough && optics.FNumberStops(open, n) < leastLoss*loss-optics.DriftTolerance
	})
}

// WidestUsed returns the smallest f-number that the sequence's lens recorded in
// the session; infinite where it recorded none.
func WidestUsed(v *audit.Review) float64 {
	if n, ok := widestUsed.Of(v)[mountedOn(v.Sequence)]; ok {
		return n
	}
	return math.Inf(1)
}

var widestUsed = audit.SessionFact(func(v *audit.Review) map[mounted]float64 {
	least := map[mounted]float64{}
	for _, q := range v.Session.Sequences {
		for _, f := range q.Frames {
			n := exifread.Positive(f.Meta().FNumber)
			if old, ok := least[mountedOn(q)]; n > 0 && (!ok || n < old) {
				least[mountedOn(q)] = n
			}
		}
	}
	return least
})

// widestAt returns the smallest f-number of the frame's lens at the focal length
// of the frame. Zooms open less far at their long end, evenly in stops over the
// stops of focal length in between, as a first guess.
func widestAt(m *exifread.Metadata) (float64, bool) {
	spec, ok := m.LensSpecification.Get()
	if !ok {
		return widest(m)
	}
	short, long := spec.MinFocal.Or(0), spec.MaxFocal.Or(0)
	a, b := spec.MinFNumberMinFocal.Or(0), spec.MinFNumberMaxFocal.Or(0)
	focal := exifread.Positive(m.FocalLength)
	if !(short > 0 && long > short && a > 0 && b > 0 && focal > 0) {
		return widest(m)
	}
	share := min(1, max(0, math.Log(focal/short)/math.Log(long/short)))
	return optics.FNumberAfterStops(a, share*optics.FNumberStops(a, b)), true
}

// widest returns the smallest f-number of the frame's lens, as its
// specification or MaxApertureValue shows.
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
