package shoot

import (
	"math"
	"time"

	"prestrike/exifread"
)

// A Kind is what a sequence was made for.
type Kind uint8

// The kinds of sequence.
const (
	Single    Kind = iota // one frame, or a few unrelated ones
	Focus                 // a focus sequence: focus steps through the subject
	Bracket               // exposures of one view, an exposure bracket
	TimeLapse             // an even interval of 2 s or more
	Burst                 // quick frames, as held by hand
	Series                // a steady run, focus or time-lapse, that the evidence cannot distinguish
)

var kindNames = [...]string{Single: "single", Focus: "focus", Bracket: "bracket", TimeLapse: "time-lapse", Burst: "burst", Series: "series"}

// String returns the kind's word in reports.
func (k Kind) String() string { return kindNames[k] }

// Steady reports whether the kind is made at fixed settings, so that a change
// of one of them is a fault: focus, time-lapse and series.
func (k Kind) Steady() bool { return k == Focus || k == TimeLapse || k == Series }

const (
	// A run of fewer frames shows too little to be called more than single
	// frames, unless they came fast.
	fewFrames = 5
	// Slower frames are no burst.
	burstCadence = 1.0 // s
	// Runs of this many frames at burst cadence are made by a program, if
	// the exposure is manual and nothing shows a hand.
	longBurst = 8
)

// Seen is what was found in the pictures of a run. The zero value is that of
// pictures that were not inspected.
type Seen struct {
	// Focus is the answer to the question what the run was made for.
	Focus Motion
	// Part is the answer to the question whether it is the second part of the run before,
	// where it may be. Where it is, all else was found in both together.
	Part Part
	// Camera is the answer to the question what held the camera.
	Camera Camera
	// Evidence is all that was found, for the rules that know it; nil where the
	// pictures were not inspected. Nothing in this package depends on it.
	Evidence any
}

// A Camera is what the pictures of a run show of how the camera was held.
type Camera uint8

// The ways to hold a camera.
const (
	CameraUnknown Camera = iota // nobody asks, or the pictures cannot tell
	CameraStands                // it stands still
	CameraMoves                 // it shifts and rolls from frame to frame, as in a hand
)

// A Part is what the pictures of a run show it to be to the one before.
type Part uint8

// The parts.
const (
	PartUnknown Part = iota // nobody asks, or the pictures do not show it
	PartGoesOn              // focus goes on where the run before stopped
	PartApart               // focus starts over or walks back, or the view is another
)

// A Motion is what the pictures of a run show of its focus.
type Motion uint8

// The motions of focus.
const (
	MotionUnknown    Motion = iota // the pictures were not inspected, or do not show it
	FocusStands                    // focus stays where it is
	FocusWalks                     // focus moves through the frames
	FocusSurelyWalks               // it does, beyond doubt
	FewOfOneView                   // too few frames to show it, but of one view at the same settings
)

// kind decides what the run was made for, from all that is known of it: times,
// numbers, settings, recorded distances, and what its pictures show.
//
// Pictures decide what a series is: where focus walks it is a focus sequence, and
// where it stands a time-lapse, if it has the even interval of one. A time-lapse
// whose focus walks, beyond doubt, is a focus sequence made at the pace of a timer or
// a flash; where focus walks, but neither scales nor shifts the picture, as in the fine
// steps of a motor, it may be either, and is a series. Frames without a pace, which their names alone keep together, are a focus
// sequence if focus walks. Four frames are a series where they show one view. Quick
// frames from a hand are a burst, unless focus walks.
func (r *Run) kind(seen *Seen) Kind {
	recorded, focus := r.recordedKind(), seen.Focus
	walks := focus == FocusWalks || focus == FocusSurelyWalks
	switch {
	case recorded == Single && focus == FewOfOneView:
		return Series
	case recorded == Series && walks,
		recorded == TimeLapse && focus == FocusSurelyWalks,
		recorded == Single && len(r.Frames) > 1 && walks:
		return Focus
	case recorded == TimeLapse && focus == FocusWalks:
		return Series
	case recorded == Series && seen.Camera == CameraMoves && r.quick():
		return Burst
	case recorded == Series && focus == FocusStands && r.Regular():
		return TimeLapse
	}
	return recorded
}

// recordedKind is the kind as far as the files record it.
func (r *Run) recordedKind() Kind {
	n := len(r.Frames)
	if r.PositionExposures > 0 {
		return Focus
	}
	if r.bracket {
		return Bracket
	}
	if n < 2 || r.Start().IsZero() {
		return Single
	}
	if r.distanceWalks() {
		return Focus
	}
	c, ok := r.Cadence.Get()
	if !ok {
		c = r.End().Sub(r.Start()) / time.Duration(n-1)
	}
	sec := c.Seconds()
	switch {
	case sec < burstCadence && n < longBurst:
		return Burst
	case sec < burstCadence && (r.automatic() || r.waved()):
		return Burst
	case n < fewFrames:
		return Single
	case r.byTimer():
		return TimeLapse
	}
	return Series
}

// AsksForPictures reports whether its pictures can show what its files do not
// record: of a run made at fixed settings, with five frames or more, and of four frames,
// which may be a run or single ones; of an exposure bracket; and of frames without a time
// where five consecutive numbers may be a run. Positions with several exposures each cannot
// be compared.
func (r *Run) AsksForPictures() bool {
	if r.PositionExposures > 0 {
		return false
	}
	kind, n := r.kind(&Seen{}), len(r.Frames)
	if r.Start().IsZero() {
		return r.consecutive() >= fewFrames
	}
	return kind.Steady() && n >= fewFrames || kind == Single && n == fewFrames-1 || kind == Bracket && n > 1
}

// quick reports whether its frames came at the pace of a burst.
func (r *Run) quick() bool {
	c, ok := r.Cadence.Get()
	return ok && c.Seconds() < burstCadence
}

// consecutive returns the most frames in a row that bear consecutive numbers and have
// capture data.
func (r *Run) consecutive() int {
	most, now := 0, 0
	for i, f := range r.Frames {
		switch {
		case !f.Readable() || !f.meta.HasExif:
			now = 0
		case i > 0 && now > 0 && countStep(r.Frames[i-1], f) == 1:
			now++
		default:
			now = 1
		}
		most = max(most, now)
	}
	return most
}

// manual reports whether the exposure was set by hand as far as the frames record it.
func manual(frames []*Frame) bool {
	manual, told := 0, 0
	for _, f := range frames {
		if p, ok := f.meta.ExposureProgram.Get(); ok && p != 0 {
			told++
			if p == exifread.ProgramManual {
				manual++
			}
		} else if m, ok := f.meta.ExposureMode.Get(); ok {
			told++
			if m == exifread.ExposureManual {
				manual++
			}
		}
	}
	return told > 0 && manual*2 > told
}

// distanceWalks reports whether the recorded subject distance moves one way through
// the sequence, in at least three places, as focus steps do, or from a middle outwards.
// Infinity is the far end; frames whose distance is not known are left out.
func (r *Run) distanceWalks() bool {
	up, down, known := 0, 0, 0
	last := math.NaN()
	for _, f := range r.Frames {
		d := f.focusDistance()
		if math.IsNaN(d) {
			continue
		}
		if d != math.Inf(1) {
			known++
		}
		switch {
		case d > last:
			up++
		case d < last:
			down++
		}
		last = d
	}
	// One turn back is a fault within a walk, not the lack of one.
	oneWay := max(up, down) >= 3 && max(up, down) >= 3*min(up, down)
	return known >= fewFrames && (oneWay || outwards(r.Frames))
}

// focusDistance returns the recorded subject distance, m: positive, infinite at
// infinity, NaN where it is not known.
func (f *Frame) focusDistance() float64 {
	d, ok := f.meta.SubjectDistance.Get()
	switch {
	case ok && d.State == exifread.DistanceInfinity:
		return math.Inf(1)
	case ok && d.State == exifread.DistanceMetres && d.Metres > 0:
		return d.Metres
	}
	return math.NaN()
}
