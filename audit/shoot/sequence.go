package shoot

import (
	"fmt"
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// A Kind says what a sequence was made for.
type Kind uint8

// The kinds of sequence.
const (
	Single    Kind = iota // one frame, or a few unrelated ones
	Focus                 // a focus sequence: focus steps through the subject
	Bracket               // exposures of one view, an exposure bracket
	TimeLapse             // an even interval of 2 s or more
	Burst                 // quick frames, as held by hand
	Series                // a steady run, focus or time-lapse, that the evidence cannot tell apart
)

var kindNames = [...]string{Single: "single", Focus: "focus", Bracket: "bracket", TimeLapse: "time-lapse", Burst: "burst", Series: "series"}

// String returns the kind's word in reports.
func (k Kind) String() string { return kindNames[k] }

// Steady reports whether the kind is made at fixed settings, so that a change
// of one of them is a fault: focus, time-lapse and series.
func (k Kind) Steady() bool { return k == Focus || k == TimeLapse || k == Series }

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

// A Sequence is the frames made as one run by one body.
type Sequence struct {
	ID     string // "1.2": session and place in it
	Kind   Kind
	Body   *Body
	Frames []*Frame // in the order they were made; never empty
	// Cadence is the steady time from one frame's start to the next; not
	// known where there is none.
	Cadence exifread.Value[time.Duration]
	// Steps are the ways from each frame to the next: len(Frames)-1 of them.
	Steps    []Step
	Settings Settings
	Support  Support // Tripod or Handheld
	// Pictures is what was found in the pictures, for whoever knows it; nil
	// where they were not looked at.
	Pictures any
}

// Start returns when the first timed frame was made; zero where no frame records it.
func (s *Sequence) Start() time.Time {
	for _, f := range s.Frames {
		if f.Timed() {
			return f.Time
		}
	}
	return time.Time{}
}

// End returns when the last timed frame was made; zero where no frame records it.
func (s *Sequence) End() time.Time {
	for i := len(s.Frames) - 1; i >= 0; i-- {
		if s.Frames[i].Timed() {
			return s.Frames[i].Time
		}
	}
	return time.Time{}
}

// Settle tells whether focus was seen to walk through the frames, which decides
// what a series is. One that stands is a time-lapse only where it has the even
// interval of one. A time-lapse whose focus walks, beyond doubt, is a focus
// sequence made at the pace of a timer or a flash. Frames without times, which
// are kept together by their names alone, are a focus sequence if focus walks.
func (s *Sequence) Settle(walks, beyondDoubt bool) {
	switch {
	case s.Kind == Series && walks, s.Kind == TimeLapse && walks && beyondDoubt, s.Kind == Single && len(s.Frames) > 1 && walks:
		s.Kind = Focus
	case s.Kind == Series && !walks:
		if c, ok := s.Cadence.Get(); ok && c.Seconds() >= intervalCadence && s.even() {
			s.Kind = TimeLapse
		}
	}
}

// Regular reports whether a timer of 2 s or more may have made the frames: they
// keep to the beat, with few exceptions.
func (s *Sequence) Regular() bool {
	c, ok := s.Cadence.Get()
	return ok && c >= time.Duration(intervalCadence*float64(time.Second)) && s.even()
}

// AsksForPictures reports whether its pictures can tell what its files do not
// record: of a sequence made at fixed settings, with five frames or more.
func (s *Sequence) AsksForPictures() bool { return s.Kind.Steady() && len(s.Frames) >= fewFrames }

// ExpectedFrames returns how many frames the sequence holds, counting those whose
// numbers are missing inside it.
func (s *Sequence) ExpectedFrames() int {
	n := len(s.Frames)
	for _, st := range s.Steps {
		if c, ok := st.Count.Get(); ok && c > 1 {
			if t, ok := st.Ticks.Get(); ok && math.Abs(t-float64(c)) <= 0.5+st.Slack {
				n += c - 1
			}
		}
	}
	return n
}

// A Step is the way from one frame to the next of a sequence.
type Step struct {
	From, To *Frame
	// Elapsed is the time between the two starts; not known where either
	// frame records no time.
	Elapsed exifread.Value[time.Duration]
	// Ticks is Elapsed in cadences, with the time that a changed exposure
	// explains taken out; not known without a cadence or a time.
	Ticks exifread.Value[float64]
	// Slack is half the uncertainty of Ticks that the clock's resolution
	// causes: two whole-second readings of a 1 s cadence carry a Slack of 1.
	Slack float64
	// Count is the step of the file number, 1 for neighbours; not known
	// where either has no number or the numbers do not count together.
	Count exifread.Value[int]
}

// Settings are what most frames of a sequence agree on.
type Settings struct {
	ExposureTime exifread.Value[exifread.Rational] // seconds
	FNumber      exifread.Value[exifread.Rational]
	ISO          exifread.Value[uint32]
	FocalLength  exifread.Value[exifread.Rational] // mm
}

// A Session is the sequences of one shoot: all bodies, split where nothing was
// shot for longer than the session gap.
type Session struct {
	ID        string // "1", "2", ... by time
	Bodies    []*Body
	Sequences []*Sequence // by start, then body and number
}

// Frames returns the number of frames in the session.
func (s *Session) Frames() int {
	n := 0
	for _, q := range s.Sequences {
		n += len(q.Frames)
	}
	return n
}

// Start returns when the session's first timed frame was made.
func (s *Session) Start() time.Time {
	var first time.Time
	for _, q := range s.Sequences {
		if t := q.Start(); !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}

// End returns when the session's last timed frame was made.
func (s *Session) End() time.Time {
	var last time.Time
	for _, q := range s.Sequences {
		if t := q.End(); t.After(last) {
			last = t
		}
	}
	return last
}
