package evidence

import (
	"math"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// LensFacts returns what is declared of the lens of a frame.
func LensFacts(o *audit.Options, m *exifread.Metadata) audit.LensFacts {
	model, ok := m.LensModel.Get()
	if !ok || model == "" {
		return audit.LensFacts{}
	}
	for _, f := range slices.Backward(o.Lenses) {
		if strings.EqualFold(f.Model, model) {
			return f
		}
	}
	return audit.LensFacts{}
}

// A Magnification is that of a frame; m is NaN where it is not known.
type Magnification struct {
	M float64
	// Sure is true where it was declared, or that the lens it follows from was.
	// Else it comes from the distance and a lens that does not shorten as it
	// focuses, and m is the least it may be, which favours the photographer.
	Sure bool
}

// MagnificationOf finds the magnification of a frame: as declared, from the
// width of the field, from the distance with a declared lens, or from the
// distance alone where that can be trusted.
func MagnificationOf(v *audit.Review, q *shoot.Sequence, s Sensor, f *shoot.Frame) Magnification {
	return magnificationOf(v, q, s, f.Meta())
}

func magnificationOf(v *audit.Review, q *shoot.Sequence, s Sensor, f *exifread.Metadata) Magnification {
	if m := v.Options.Magnification; m > 0 {
		return Magnification{m, true}
	}
	if field := v.Options.FieldWidth; field > 0 {
		return Magnification{optics.MagnificationFromField(s.across(q), optics.Length(field)*optics.Millimetre), true}
	}
	unknown := Magnification{math.NaN(), false}
	focal := optics.Length(exifread.Positive(f.FocalLength)) * optics.Millimetre
	recorded, ok := f.SubjectDistance.Get()
	if !ok || focal == 0 {
		return unknown
	}
	var d optics.Length
	switch recorded.State {
	case exifread.DistanceInfinity:
		return Magnification{0, true}
	case exifread.DistanceMetres:
		d = optics.Length(recorded.Metres) * optics.Metre
	default:
		return unknown
	}
	if !plausible(d, focal) {
		return unknown
	}
	lens := LensFacts(v.Options, f)
	if lens.ClosestFocus > 0 && lens.LargestMagnification > 0 {
		// The recorded distance is coarse, so that it may fall short of the
		// closest focus.
		const short = 0.95
		closest := optics.Length(lens.ClosestFocus) * optics.Millimetre
		if d < closest && d >= short*closest {
			d = closest
		}
		calibrated := optics.CloseFocus{Focal: focal, Closest: closest, Largest: lens.LargestMagnification}
		return Magnification{calibrated.Magnification(d), true}
	}
	if d < optics.ThinLensClosest*focal {
		return unknown
	}
	m := optics.MagnificationFromDistance(focal, d)
	return Magnification{m * (1 - optics.ThinLensUncertainty(m)), false}
}

const (
	// A recorded focus distance is off by this share at most: scales are coarse, and their
	// ends are off by as much (see short).
	distanceOff = 0.05
	// A declared lens gives the magnification to within this share, as [optics.CloseFocus]
	// states.
	calibratedOff = 0.06
	// Up to this magnification [optics.ThinLensUncertainty] was held against lenses.
	thinLensUpTo = 0.25
)

// MagnificationRange returns between what the magnification of the review's sequence lies,
// from its farthest to its nearest frame, with all that a recorded focus distance and the
// lens leave open; not known where no frame shows any. A declared one has no width. A lens
// that is not declared shows the least alone: an extension tube, a close-up lens or a
// teleconverter enlarges what its distance shows.
func MagnificationRange(v *audit.Review) exifread.Value[audit.Magnification] {
	q, s := v.Sequence, SensorOf(v)
	off := optics.Length(0)
	if w, _, ok := WalkOf(v); ok {
		off = optics.Length(w.Scale/2) * optics.Millimetre
	}
	found := audit.Magnification{Least: math.Inf(1), Declared: v.Options.Magnification > 0 || v.Options.FieldWidth > 0}
	for _, f := range q.Frames {
		m := magnificationOf(v, q, s, f.Meta())
		if !Known(m.M) {
			continue
		}
		least, most := m.M, m.M
		if !found.Declared {
			var ok bool
			if least, most, ok = magnificationWithin(v, f.Meta(), m.Sure, off); !ok {
				continue
			}
		}
		found.Least, found.Most = min(found.Least, least), max(found.Most, most)
	}
	if math.IsInf(found.Least, 1) {
		return exifread.Value[audit.Magnification]{}
	}
	return exifread.Of(found)
}

// magnificationWithin returns the least and the most that the magnification of a frame may be by
// its focus distance, which may be off by a length, or by distanceOff if that is more.
func magnificationWithin(v *audit.Review, f *exifread.Metadata, declared bool, off optics.Length) (least, most float64, ok bool) {
	recorded, _ := f.SubjectDistance.Get()
	if recorded.State != exifread.DistanceMetres {
		return 0, 0, false
	}
	d := optics.Length(recorded.Metres) * optics.Metre
	off = max(off, distanceOff*d)
	focal := optics.Length(exifread.Positive(f.FocalLength)) * optics.Millimetre
	if declared {
		facts := LensFacts(v.Options, f)
		lens := optics.CloseFocus{Focal: focal, Closest: optics.Length(facts.ClosestFocus) * optics.Millimetre, Largest: facts.LargestMagnification}
		d = max(d, lens.Closest)
		return lens.Magnification(d+off) * (1 - calibratedOff), lens.Magnification(max(d-off, lens.Closest)) * (1 + calibratedOff), true
	}
	m := optics.MagnificationFromDistance(focal, d+off)
	if m > thinLensUpTo {
		return 0, 0, false
	}
	return m * (1 - optics.ThinLensUncertainty(m)), math.Inf(1), true
}

// plausible reports whether a recorded distance can be one from the subject to
// the sensor, in metres, for a focal length (0 where not known): bodies are
// met that record other units, or numbers of focus steps.
func plausible(d, focal optics.Length) bool {
	const nearest, farthest = 2, 1000 * optics.Metre // focal lengths; macro lenses of 200 mm focus at 2.5 of them
	return d >= max(nearest*focal, optics.Centimetre) && d <= farthest
}

// Pupil returns the pupil magnification of a lens.
func Pupil(lens audit.LensFacts) float64 {
	if lens.PupilMagnification > 0 {
		return lens.PupilMagnification
	}
	return optics.SymmetricPupil
}
