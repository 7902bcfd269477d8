// Package demo writes the demonstration session: a morning with an ammonite
// that a small museum lent for its catalogue, and that the courier collects at
// 16:00. The camera, its frames and the faults among them are made up.
package demo

import (
	"fmt"
	"math"
	"slices"
	"time"

	"prestrike/cmd/prestrike/internal/scene"
	"prestrike/exifread"
)

// A Session is how large the demonstration is. What happens in it is always
// the same.
type Session struct {
	Width, Height int // pixels of each picture
	Quality       int // of the JPEG compression, 1 to 100
	FocusFrames   int // of each focus sequence
	BracketFrames int // of the exposure bracket, an odd number
	LapseFrames   int // of the time-lapse
}

// Standard is the session that prestrike demo writes: about 280 frames.
func Standard() Session {
	return Session{Width: 648, Height: 432, Quality: 82, FocusFrames: 40, BracketFrames: 5, LapseFrames: 72}
}

// Small is the same morning in few and small frames.
func Small() Session {
	return Session{Width: 288, Height: 192, Quality: 75, FocusFrames: 10, BracketFrames: 3, LapseFrames: 30}
}

// A Fault is something that went wrong in the session, and the rule that finds it.
type Fault struct {
	Rule        string
	First, Last int // the file numbers it is about; 0 where it is about no frame
	What        string
}

// The views of the shot list, in the order of shooting.
const (
	viewFront   = "front, raking light"
	viewBack    = "back"
	viewPearl   = "mother of pearl"
	viewKeel    = "keel"
	viewOpening = "opening"
	viewLight   = "moving light"
	viewUnder   = "underside" // that nobody shot
	viewLabel   = "label"     // that may be left out
)

// A shot is one frame of the script.
type shot struct {
	number int
	at     time.Time // the body's wall clock
	view   scene.View
	slate  string // the view whose card is held before the lens; empty for none
	lost   bool   // the card did not keep it
	// damaged is that one byte of it is another in the copy.
	damaged bool

	exposure exifread.Rational // s
	fNumber  exifread.Rational
	iso      uint32
	distance float64 // m
	bias     exifread.Value[exifread.Rational]
}

// The scale of the set: the nearest and the farthest point of the subject,
// in m from the sensor.
const nearest, farthest = 0.4300, 0.4545

// distanceAt returns the distance of a depth of the scene.
func distanceAt(depth float64) float64 { return nearest + depth*(farthest-nearest) }

// beginsAt is the depth at which the sequence begins that begins too late.
const beginsAt = 0.4

// day is the day of the session; the clock of the body is an hour ahead of UTC.
func day(hour, minute, second int) time.Time {
	return time.Date(2026, 3, 4, hour, minute, second, 0, time.UTC)
}

const clockOffset = time.Hour

// writer collects shots in the order they are made.
type writer struct {
	shots []shot
	next  int // file number
}

func (w *writer) add(s shot) {
	s.number = w.next
	s.view.Serial = uint64(w.next)
	w.next++
	w.shots = append(w.shots, s)
}

// jitter is how unevenly the body releases: up to 12 ms either way.
func (w *writer) jitter() time.Duration {
	return time.Duration(math.Round(12*math.Sin(float64(w.next)*12.9898))) * time.Millisecond
}

func rational(num, den int64) exifread.Rational { return exifread.Rational{Num: num, Den: den} }

// slate is a frame of the card of a view, made before the view.
func (w *writer) slate(at time.Time, view string) {
	w.add(shot{
		at: at, view: scene.View{Focus: 0.5, Noise: 0.02}, slate: view,
		exposure: rational(8, 10), fNumber: rational(56, 10), iso: 100, distance: distanceAt(0.5),
	})
}

// A run is what is special in a focus sequence.
type run struct {
	begin float64          // depth of the first frame's focus, if not in front of the nearest point
	lost  func(i int) bool // frames that the card did not keep
	dark  int              // the frame for which the lamps were not ready; 0 for none
	back  bool             // of the other side of the fossil

	damaged int // the frame that is damaged in the copy; 0 for none
}

// The focus sequences go from in front of the nearest point to behind the
// farthest. Each step makes the blur disk grow by blurPerFrame pixels.
const (
	inFront      = -0.12
	through      = 1.24
	blurPerFrame = 1.1
)

// fullBlur is the blur through the whole depth of the subject at f/5.6.
func fullBlur(frames int) float64 { return blurPerFrame * float64(frames-1) / through }

// focus is a focus sequence.
func (w *writer) focus(at time.Time, frames int, r run) {
	const every = 1310 * time.Millisecond
	for i := range frames {
		depth := r.begin + through*float64(i)/float64(frames-1)
		if r.begin == 0 {
			depth += inFront
		}
		ev := 0.0
		if r.dark > 0 && i == r.dark {
			ev = -2.5
		}
		w.add(shot{
			at: at.Add(time.Duration(i)*every + w.jitter()), lost: r.lost != nil && r.lost(i), damaged: r.damaged > 0 && i == r.damaged,
			view:     scene.View{Focus: depth, Blur: fullBlur(frames), EV: ev, Noise: 0.02, Back: r.back},
			exposure: rational(8, 10), fNumber: rational(56, 10), iso: 100, distance: distanceAt(depth),
		})
	}
}

// bracketTimes are 1 EV apart, around the right exposure at f/11.
var bracketTimes = []exifread.Rational{rational(8, 10), rational(16, 10), rational(32, 10), rational(6, 1), rational(13, 1)}

// bracket is an exposure bracket, darkest frame first.
func (w *writer) bracket(at time.Time, frames int, blur float64) {
	for i := range frames {
		step := i - frames/2
		exposure := bracketTimes[len(bracketTimes)/2+step]
		w.add(shot{
			at: at, view: scene.View{Focus: 0.5, Blur: blur, EV: float64(step), Noise: 0.02},
			exposure: exposure, fNumber: rational(11, 1), iso: 100, distance: distanceAt(0.5),
			bias: exifread.Of(rational(int64(step), 1)),
		})
		at = at.Add(time.Duration(exposure.Float()*1000)*time.Millisecond + 450*time.Millisecond)
	}
}

// lapse is a time-lapse in which someone touches the ISO dial.
func (w *writer) lapse(at time.Time, frames, touched int, blur float64) {
	const every = 10 * time.Second
	for i := range frames {
		s := shot{
			at: at.Add(time.Duration(i)*every + w.jitter()), view: scene.View{Focus: 0.5, Blur: blur, Noise: 0.02},
			exposure: rational(32, 10), fNumber: rational(11, 1), iso: 100, distance: distanceAt(0.5),
		}
		if i >= touched {
			s.iso, s.view.EV, s.view.Noise = 200, 1, 0.04
		}
		w.add(s)
	}
}

// script returns the shots of the session and the faults among them.
func (s Session) script() ([]shot, []Fault) {
	w := &writer{next: 1}
	stopped := fullBlur(s.FocusFrames) / 2 // at f/11
	w.slate(day(10, 2, 5), viewFront)
	w.focus(day(10, 2, 40), s.FocusFrames, run{})

	w.slate(day(10, 9, 12), viewBack)
	second := w.next
	gap := s.FocusFrames * 45 / 100 // of the sequence, where the first lost frame was
	w.focus(day(10, 9, 50), s.FocusFrames, run{back: true, lost: func(i int) bool { return i == gap || i == gap+1 }})
	retake := w.next
	w.focus(day(10, 14, 30), s.FocusFrames, run{back: true, damaged: s.FocusFrames / 2})

	w.slate(day(10, 31, 20), viewPearl)
	w.bracket(day(10, 32, 0), s.BracketFrames, stopped)

	w.slate(day(10, 39, 10), viewKeel)
	late := w.next
	w.focus(day(10, 39, 50), s.FocusFrames, run{begin: beginsAt})

	w.slate(day(10, 51, 30), viewOpening)
	fourth := w.next
	dark := s.FocusFrames * 60 / 100
	w.focus(day(10, 52, 5), s.FocusFrames, run{dark: dark})

	lapse, touched := w.next, s.LapseFrames*2/3
	w.lapse(day(11, 5, 10), s.LapseFrames, touched, stopped)

	return w.shots, []Fault{
		{
			"missing-frame", second + gap, second + gap + 1,
			fmt.Sprintf("Of the second focus sequence (%04d to %04d), frames %04d and %04d are not on the card. It was shot again at once (%04d to %04d), so that they are not needed.",
				second, retake-1, second+gap, second+gap+1, retake, retake+s.FocusFrames-1),
		},
		{
			"near-edge", late, late,
			fmt.Sprintf("The next one (%04d to %04d) begins behind the nearest point: what is nearer is sharp in no frame.", late, late+s.FocusFrames-1),
		},
		{
			"dark-frame", fourth + dark, fourth + dark,
			fmt.Sprintf("In the last one (%04d to %04d) the lamps were not ready for frame %04d: it is dark.", fourth, fourth+s.FocusFrames-1, fourth+dark),
		},
		{
			"iso-drift", lapse + touched, w.next - 1,
			fmt.Sprintf("In the time-lapse (%04d to %04d) the ISO was changed by accident: frames %04d to %04d are at ISO 200, the rest at 100.",
				lapse, w.next-1, lapse+touched, w.next-1),
		},
		{
			"view-missing", 0, 0,
			fmt.Sprintf("The view %q of the shot list was not shot.", viewUnder),
		},
	}
}

// Faults returns what went wrong in the session, in the order it happened.
func (s Session) Faults() []Fault {
	_, faults := s.script()
	return faults
}

// Damaged returns the name of the file of which the copy has another byte than the card.
func (s Session) Damaged() string {
	shots, _ := s.script()
	return fileName(shots[slices.IndexFunc(shots, func(s shot) bool { return s.damaged })].number)
}

func fileName(number int) string { return fmt.Sprintf("BX1_%04d.JPG", number) }
