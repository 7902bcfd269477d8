package audit

import (
	"context"
	"fmt"
	"slices"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// Options steer an audit. The zero value is good for any folder, once Rules
// are given.
type Options struct {
	// Rules are run in this order, which is also that of the report.
	Rules []*Rule
	// How frames are grouped: the session gap and the support.
	shoot.Options
	// PlannedFrames is the number of frames each focus sequence, or steady run
	// that may be one, should have, PlannedTimeLapse that of each time-lapse; 0
	// where no number was planned.
	PlannedFrames, PlannedTimeLapse int
	// PlannedViews is the number of views to be shot, a focus sequence each; 0
	// where no number was planned.
	PlannedViews int
	// Views are those of the shot list, in the order in which they are to be shot.
	Views []View
	// Courier is when the subject leaves, as time since midnight; 0 where not declared.
	// Now, where not nil, returns what time it is, in the zone that Courier is in, given
	// the time of the last frame.
	Courier time.Duration
	Now     func(last time.Time) time.Time
	// Final declares the shoot over: a view that is missing then must be shot now.
	Final bool
	// RetakeWithin is how long after a faulty sequence its retake begins at the
	// latest; 0 means [DefaultRetakeWithin].
	RetakeWithin time.Duration
	// Since, where not nil, answers from when on sequences are judged, given the time of
	// the last frame: those that begin before are left out.
	Since func(last time.Time) time.Time
	// Params are rule parameters that differ from their defaults, by rule
	// and name.
	Params map[string]map[string]float64
	// Severities are severities that differ from the rules' own, by rule.
	Severities map[string]Severity
	// Off are the rules not to be run.
	Off map[string]bool

	// Magnification is that of the whole shoot, where declared; 0 otherwise.
	Magnification float64
	// FieldWidth is the width of what the frame shows, in mm, where declared;
	// 0 otherwise. With the sensor's width it gives the magnification.
	FieldWidth float64
	// Light is the light of the shoot, where declared.
	Light Light
	// Bodies and Lenses are facts that frames do not record, declared by the
	// user.
	Bodies []BodyFacts
	Lenses []LensFacts
	// FocusSteps are what test runs measured of bodies with their lenses.
	FocusSteps []FocusStep
	// Accept are the findings declared as meant.
	Accept []Acceptance
	// Retaken are the sequences declared as shot again.
	Retaken []Retaken

	// Pixels selects whose pictures are measured, by Measure.
	Pixels Pixels
	// Measure, where not nil, answers what the pictures of each run show, in the
	// order of the runs. An error means that not all were measured.
	Measure func(context.Context, []*shoot.Run) ([]shoot.Seen, error)
	// Slates, where not nil, answers what single frames show of slates; frames that show
	// none are left out. An error means that not all were inspected.
	Slates func(context.Context, []*shoot.Frame) (map[*shoot.Frame]Slate, error)
	// WorkingFNumbers, where not nil, answers the f-numbers that the sensor sees in the
	// frames of the review's sequence, for reports that list them.
	WorkingFNumbers func(*Review) map[*shoot.Frame]float64
	// Expected, where not nil, answers with how many frames the review's sequence is
	// complete, for an audit of a folder that fills.
	Expected func(*Review) Expectation
}

// An Expectation is with how many frames a sequence is complete.
type Expectation struct {
	Frames int    // 0 where nothing shows it
	Why    string // "as planned"
}

// Param returns the value in force of a rule's parameter.
func (o *Options) Param(r *Rule, p Param) float64 {
	if set, ok := o.Params[r.ID][p.Name]; ok {
		return set
	}
	return p.Default
}

// Planned returns how many frames a sequence of a kind should have; 0 where no number
// was planned.
func (o *Options) Planned(k shoot.Kind) int {
	switch k {
	case shoot.Focus, shoot.Series:
		return o.PlannedFrames
	case shoot.TimeLapse:
		return o.PlannedTimeLapse
	}
	return 0
}

// A Light is what lit the subject.
type Light uint8

// The kinds of light. LightUnknown is no declaration.
const (
	LightUnknown Light = iota
	Mains50            // lamps on 50 Hz mains
	Mains60            // lamps on 60 Hz mains
	FlashLight
	Daylight
)

var lightNames = [...]string{LightUnknown: "unknown", Mains50: "mains50", Mains60: "mains60", FlashLight: "flash", Daylight: "daylight"}

// String returns the word for the light on the command line.
func (l Light) String() string { return lightNames[l] }

// ParseLight returns the light of a word: unknown, mains50, mains60, flash or
// daylight.
func ParseLight(word string) (Light, error) {
	if i := slices.Index(lightNames[:], word); i >= 0 {
		return Light(i), nil
	}
	return 0, fmt.Errorf("light %q is not known: write mains50, mains60, flash or daylight", word)
}

// Pixels selects the sequences whose pictures are inspected.
type Pixels uint8

// Whose pictures are inspected.
const (
	PixelsAuto Pixels = iota // those of sequences in which they may show something
	PixelsOn                 // those of all sequences
	PixelsOff                // nobody's
)

var pixelsNames = [...]string{PixelsAuto: "auto", PixelsOn: "on", PixelsOff: "off"}

// String returns the word for it on the command line.
func (p Pixels) String() string { return pixelsNames[p] }

// ParsePixels returns whose pictures are inspected by a word: auto, on or off.
func ParsePixels(word string) (Pixels, error) {
	if i := slices.Index(pixelsNames[:], word); i >= 0 {
		return Pixels(i), nil
	}
	return 0, fmt.Errorf("pixels %q is not known: write auto, on or off", word)
}

// BodyFacts are facts of a camera model that its frames do not record, or not
// rightly. A zero field is not declared.
type BodyFacts struct {
	Make, Model string  // compared with the frame's without regard to case; an empty Make fits any
	SensorWidth float64 // mm
	PixelWidth  int     // pixels of a full-size frame along the sensor's width
	FNumbers    FNumbers
}

// LensFacts are facts of a lens. A zero field is not declared.
type LensFacts struct {
	Model                string  // LensModel, compared without regard to case
	ClosestFocus         float64 // mm, from the subject to the sensor
	LargestMagnification float64 // at closest focus
	PupilMagnification   float64 // exit pupil over entrance pupil diameter
	Stabilisation        float64 // stops, as rated
	FNumbers             FNumbers
}

// A FocusStep is what a test run measured of a body with a lens: by how much blur grows
// from one frame to the next at a setting of the camera's focus step.
type FocusStep struct {
	Body, Lens string  // Model and LensModel, compared without regard to case
	Setting    int     // 1 and more
	FNumber    float64 // as recorded
	FNumbers   FNumbers
	Growth     float64 // px of a picture with a long side of 1,600
}

// FNumbers is what a body with a lens records as f-number close up: the one
// that is set (nominal), or the one that the sensor sees (effective).
type FNumbers uint8

// What FNumber may hold. FNumbersUnknown is no declaration.
const (
	FNumbersUnknown FNumbers = iota
	FNumbersNominal
	FNumbersEffective
)

var fNumbersNames = [...]string{FNumbersUnknown: "unknown", FNumbersNominal: "nominal", FNumbersEffective: "effective"}

// String returns the word for it in configuration.
func (f FNumbers) String() string { return fNumbersNames[f] }

// An Acceptance declares a finding as meant.
type Acceptance struct {
	Rule string // the rule's ID
	// Frame is the name of a file of any frame of the sequence that the finding
	// belongs to, with as much of its path as distinguishes it from others of that name;
	// empty accepts the rule's findings everywhere.
	Frame  string
	Reason string // shown in the report
}

// A Result is the outcome of an audit.
type Result struct {
	Sessions []*Session
	// Verdict is the worst of the sessions, and check at least where frames may have
	// been missed: see [FileCounts.Missed].
	Verdict Verdict
	Files   FileCounts
	// Since is the time before which sequences were left out; zero where none were.
	Since time.Time
	// Support is what the user declared; SupportAuto where each sequence shows it.
	Support shoot.Support
	// Views are those of the shot list with the sequences that show them.
	Views []*ShotView
	// Needed is how long the open views take, Left the time until the courier comes,
	// negative once it has passed; not known where no time was declared, or the shoot
	// was on another day.
	Needed TimeNeeded
	Left   exifread.Value[time.Duration]
	// Unused are the declarations that name a frame and accept nothing.
	Unused []UnusedAcceptance
	// UnusedRetaken are the declarations of retakes that do not hold.
	UnusedRetaken []UnusedRetaken
}

// FileCounts counts what became of every file that was met.
type FileCounts struct {
	Read       int              // picture files read
	Frames     int              // frames they make
	Merged     int              // pictures that the camera merged from frames
	Copies     int              // picture files that hold a frame again
	Earlier    int              // frames of sequences that began before [Options.Since]
	Other      int              // files that are no pictures, passed over
	Unread     []*shoot.Problem // folders and files that could not be inspected
	Unfinished []string         // frames whose copies are not complete, by their last names
	Unreadable []*shoot.File    // picture files from which no picture can be read
}

// Missed reports whether frames may have been missed: what holds them could not be
// read, or is not complete yet.
func (c *FileCounts) Missed() bool {
	return len(c.Unfinished) > 0 || slices.ContainsFunc(c.Unread, (*shoot.Problem).Missed)
}
