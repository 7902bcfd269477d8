package evidence

import (
	"fmt"
	"math"
	"strings"

	"prestrike/audit/shoot"
)

const (
	// rampSteps is how many steps one way make a ramp: two slips the same way are met.
	rampSteps = 3
	// rampStep is the widest step of a ramp, EV: the wider of the two steps that
	// bodies are set in, half a stop, and the rounding of nominal values.
	rampStep = 0.5
)

// A Course is how the exposure of a time-lapse goes on.
type Course uint8

// The courses.
const (
	Wanders Course = iota
	// MayClimb is a change or two that may be the beginning of a ramp.
	MayClimb
	// Climbs is a ramp: exposure goes one way in small steps, as into the evening.
	Climbs
)

// CourseOf reports how the exposure (time, f-number and ISO together) of a sequence
// goes on. Only a run at an even interval can be one that follows the light.
func CourseOf(q *shoot.Sequence, tolerance float64) Course {
	if q.Kind != shoot.TimeLapse && (q.Kind != shoot.Series || !q.Regular()) {
		return Wanders
	}
	last := math.NaN()
	brighter, darker := 0, 0
	for _, f := range q.Frames {
		ev, ok := exposure(f.Meta())
		if !ok {
			continue
		}
		const rounding = 1e-9
		step := ev - last
		switch {
		case math.IsNaN(step):
		case math.Abs(step) > rampStep+tolerance+rounding:
			return Wanders
		case step >= tolerance-rounding:
			brighter++
		case step <= -tolerance+rounding:
			darker++
		default:
			continue // the sum of small steps counts
		}
		last = ev
	}
	switch {
	case brighter > 0 && darker > 0:
		return Wanders
	case brighter+darker < rampSteps || q.Kind != shoot.TimeLapse:
		return MayClimb
	}
	return Climbs
}

// RampSentence writes the drift as a ramp; name is the setting's.
func (d drift[T]) RampSentence(s Setting[T], name string) string {
	return fmt.Sprintf("%s goes from %s to %s in small steps, in %s", name,
		bare(s.Write(d.first), name), bare(s.Write(d.last), name), shoot.FrameRange(d.Frames))
}

// SentenceIn writes the drift of a sequence. In a time-lapse, whose runs are long, a
// single step that stays is named as such.
func (d drift[T]) SentenceIn(q *shoot.Sequence, s Setting[T], name string) string {
	if at := d.stays(s); at > 0 && q.Kind == shoot.TimeLapse {
		return fmt.Sprintf("%s went from %s to %s at %s and stayed", name, bare(s.Write(d.first), name), bare(s.Write(d.last), name), d.Frames[at].Label())
	}
	return d.Sentence(s, name, q.Frames)
}

// stays returns the place of the first frame of another value than the first ones
// have, where all from there on have it; 0 where there is no single step.
func (d drift[T]) stays(s Setting[T]) int {
	at := 0
	for i, f := range d.Frames {
		v, _ := s.Read(f.Meta()).Get()
		if at == 0 && s.differ(d.first, v) {
			at = i
		}
		if at > 0 && s.differ(d.last, v) {
			return 0
		}
	}
	return at
}

// bare takes the setting's name off a value that begins with it: "ISO 100".
func bare(value, name string) string { return strings.TrimPrefix(value, name+" ") }
