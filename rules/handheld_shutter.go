package rules

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"unicode"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var handheldShutter = &audit.Rule{
	ID:       "handheld-shutter",
	Title:    "Exposure time too long for handheld shooting",
	Severity: audit.Check,
	Shows:    audit.ShowDetail,
	Doc: `Finds handheld frames whose exposure time is longer than hands can hold the camera still.
The limit is one over the focal length (as of a 36 x 24 mm camera). It is shorter close
up, where the hand's travel blurs as well as its turning.

Camera shake blurs the whole picture and hardly shows on the small screen.

Inspect the frame at 100 %. If it is blurred, shoot it again at the time named, with
the camera on a support, or with flash.

Stabilisation is not recorded. Declare its stops for the lens in prestrike.toml, or as
the parameter here; then a longer time is a check. Where none is declared, it is a check
only beyond what four stops allow. Up to there it is a note, or not judged where the name
of the lens shows stabilisation. No stabilisation counters the hand's travel.

Bursts and single frames count as handheld, unless --support declares something else. They
are not judged where the camera was on a tripod in the same session, or where most single
frames are slower than hands allow. Frames with flash are left out. The finding is wrong for
steadier hands.`,
	Source: "Wikipedia, Camera shake (one over the focal length); ISO 20954-1:2019 for stabilisation; the part for close work derived by geometry, with a hand that turns about a point 200 mm behind the lens and four stops as the most that a stabiliser is worth by common practice",
	Params: []audit.Param{handTolerance, handSharpness, handStabilisation, handUndeclared, handRadius},
	Check:  checkHandheldShutter,
}

var (
	handTolerance = audit.Param{
		Name: "tolerance", Unit: "EV", Doc: "a time longer by no more than this is no finding: the limit is a rule of thumb",
		Default: 1.0 / 3, Min: 0.01, Max: 3,
	}
	handSharpness = audit.Param{
		Name: "sharpness", Doc: "the blur allowed, compared with that of a print that is sharp from a distance of its diagonal",
		Default: optics.LooksSharp, Min: 0.05, Max: 5,
	}
	handStabilisation = audit.Param{
		Name: "stabilisation", Unit: "stops",
		Doc:     "what stabilisation is worth where none is declared for the lens",
		Default: 0, Min: 0, Max: 10,
	}
	handUndeclared = audit.Param{
		Name: "undeclared", Unit: "stops",
		Doc:     "stabilisation that may be there where none is declared",
		Default: 4, Min: 0, Max: 10,
	}
	handRadius = audit.Param{
		Name: "hand-radius", Unit: "mm", Doc: "from the lens back to the point about which the hand turns",
		Default: optics.HandRadius.Millimetres(), Min: 10, Max: 1000,
	}
)

// A slowFrame is a frame held by hand with its limit.
type slowFrame struct {
	frame       *shoot.Frame
	time, limit float64 // s
	equivalent  optics.Length
	m           evidence.Magnification
	// severity is that of the time: a note where stabilisation that nobody
	// declared may allow it.
	severity audit.Severity
}

// A heldRun is the frames of one sequence that were held by hand.
type heldRun struct {
	judged  int // frames
	slow    []slowFrame
	unknown map[string][]*shoot.Frame // by what they do not record
}

// A hand is how one body was held through the session.
type hand struct {
	judged, slow int  // frames held by hand
	tripod       bool // at other times of the session
}

// hands are the runs held by hand, and how each body was held: only the whole session
// shows whether a camera stood on a tripod.
var hands = audit.SessionFact(func(v *audit.Review) (h struct {
	of   map[*shoot.Body]*hand
	runs map[*shoot.Sequence]heldRun
},
) {
	h.of, h.runs = map[*shoot.Body]*hand{}, map[*shoot.Sequence]heldRun{}
	for _, q := range v.Session.Sequences {
		of := h.of[q.Body]
		if of == nil {
			of = &hand{}
			h.of[q.Body] = of
		}
		if q.Support != shoot.Handheld {
			of.tripod = of.tripod || q.Kind != shoot.Single
			continue
		}
		run := holdRun(v, q)
		of.judged += run.judged
		of.slow += len(run.slow)
		h.runs[q] = run
	}
	return h
})

func checkHandheldShutter(v *audit.Review) error {
	q := v.Sequence
	if v.Options.Light == audit.FlashLight || q.Support != shoot.Handheld {
		return nil
	}
	h := hands.Of(v)
	run, of := h.runs[q], h.of[q.Body]
	for _, reason := range slices.Sorted(maps.Keys(run.unknown)) {
		v.Unjudged(reason, run.unknown[reason]...)
	}
	if v.Options.Support == shoot.SupportAuto && (of.tripod || q.Kind == shoot.Single && 2*of.slow > of.judged) {
		for _, s := range run.slow {
			v.Unjudged("tripod or handheld is not known: give --support", s.frame)
		}
		return nil
	}
	reportSlow(v, q, run.slow)
	return nil
}

// holdRun compares the frames of a sequence held by hand with what hands allow.
// Frames with flash are left out.
func holdRun(v *audit.Review, q *shoot.Sequence) heldRun {
	sensor := evidence.SensorBehind(v, q)
	timed, untimed := evidence.Exposed(q)
	run := heldRun{unknown: map[string][]*shoot.Frame{}}
	if len(untimed) > 0 {
		run.unknown[noExposureTime] = untimed
	}
	tolerance := handParam(v, handTolerance)
	for _, f := range timed {
		if evidence.Fired(f.Meta()) {
			continue
		}
		equivalent := equivalentFocal(f.Meta(), q, sensor)
		if !evidence.Known(equivalent) {
			reason := "no focal length recorded"
			if f.Meta().FocalLength.Known() {
				reason = noSensor
			}
			run.unknown[reason] = append(run.unknown[reason], f)
			continue
		}
		run.judged++
		s := slowFrame{
			frame: f, time: exifread.Positive(f.Meta().ExposureTime), equivalent: equivalent,
			m: evidence.MagnificationOf(v, q, sensor, f), severity: audit.Check,
		}
		stops, declared := declaredStops(v, f.Meta())
		s.limit = s.limitAt(v, stops)
		if !evidence.Longer(s.time, s.limit, tolerance) {
			continue
		}
		if !declared && !evidence.Longer(s.time, s.limitAt(v, handParam(v, handUndeclared)), tolerance) {
			s.severity = audit.Note
		}
		run.slow = append(run.slow, s)
	}
	return run
}

// handParam returns the value in force of a parameter of handheld-shutter.
func handParam(v *audit.Review, p audit.Param) float64 { return v.ParamOf("handheld-shutter", p) }

// declaredStops returns the stops of stabilisation declared for the lens of a
// frame, or for all.
func declaredStops(v *audit.Review, m *exifread.Metadata) (stops float64, declared bool) {
	if lens := evidence.LensFacts(v.Options, m); lens.Stabilisation > 0 {
		return lens.Stabilisation, true
	}
	_, declared = v.Options.Params["handheld-shutter"][handStabilisation.Name]
	return handParam(v, handStabilisation), declared
}

// limitAt returns the longest exposure time to hold by hand, in s, with a
// number of stops of stabilisation.
func (s slowFrame) limitAt(v *audit.Review, stops float64) float64 {
	h := optics.Handheld{
		Focal: s.equivalent, Crop: 1, Magnification: s.m.M,
		Radius: optics.Length(handParam(v, handRadius)) * optics.Millimetre, Sharpness: handParam(v, handSharpness),
	}
	if !evidence.Known(h.Magnification) {
		h.Magnification = 0
	}
	if focal := optics.Length(exifread.Positive(s.frame.Meta().FocalLength)) * optics.Millimetre; focal > 0 {
		h.Focal, h.Crop = focal, float64(s.equivalent/focal)
	}
	h.Stops = optics.CreditedStops(stops, h.Sharpness < optics.LooksSharp)
	return float64(h.Limit())
}

// reportSlow makes the findings on the slow frames of a sequence: those that no
// stabilisation explains, and those that some may.
func reportSlow(v *audit.Review, q *shoot.Sequence, list []slowFrame) {
	var certain, likely []slowFrame
	var stabilised []*shoot.Frame
	for _, s := range list {
		switch {
		case s.severity == audit.Check:
			certain = append(certain, s)
		case namesStabilisation(s.frame.Meta()):
			stabilised = append(stabilised, s.frame)
		default:
			likely = append(likely, s)
		}
	}
	if len(stabilised) > 0 {
		v.Unjudged("the name of the lens shows stabilisation: declare its stops in prestrike.toml", stabilised...)
	}
	for _, part := range [][]slowFrame{certain, likely} {
		if len(part) > 0 {
			v.Found(slowFinding(q, part))
		}
	}
}

// stabilisedNames are the abbreviations by which lenses are called stabilised,
// from memory.
var stabilisedNames = []string{"IS", "OIS", "OS", "OSS", "VC", "VR", "VRII"}

// namesStabilisation reports whether the name of the frame's lens shows that it
// is stabilised.
func namesStabilisation(m *exifread.Metadata) bool {
	name := strings.ReplaceAll(m.LensModel.Or(""), ".", "")
	return slices.ContainsFunc(strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }),
		func(word string) bool { return slices.Contains(stabilisedNames, word) })
}

// slowFinding makes the finding on slow frames of one severity.
func slowFinding(q *shoot.Sequence, list []slowFrame) audit.Finding {
	worst := list[0]
	frames := make([]*shoot.Frame, len(list))
	for i, s := range list {
		frames[i] = s.frame
		if s.time/s.limit > worst.time/worst.limit {
			worst = s
		}
	}
	at := fmt.Sprintf("%.0f mm", worst.equivalent.Millimetres())
	if f := exifread.Positive(worst.frame.Meta().FocalLength); f > 0 && math.Abs(worst.equivalent.Millimetres()/f-1) > 0.05 {
		at = fmt.Sprintf("%s mm (as %s)", twoFigures(f), at)
	}
	if worst.m.M >= 0.1 {
		at += " and " + ratio(worst.m.M)
	}
	f := audit.Finding{
		Message: fmt.Sprintf("%s%s at %s, where the rule of thumb allows %s",
			which(q, frames), times(frames), at, writeTime(worst.limit)),
		Action:   "inspect it at 100 % for shake; " + handTime(worst.limit) + ", a support or flash avoids it",
		Severity: worst.severity,
		Frames:   frames,
		Measured: exifread.Of(worst.time), Limit: exifread.Of(worst.limit), Unit: "s",
	}
	if worst.severity == audit.Note {
		f.Message += " without stabilisation"
		f.Action = "inspect it at 100 % for shake; if lens or body is stabilised, declare its stops in prestrike.toml"
	}
	return f
}

// handTime writes the longest marked exposure time that is within a limit, but
// for rounding.
func handTime(limit float64) string {
	best := limit
	for _, s := range optics.ShutterTimes(optics.ThirdStops) { // falling
		if !evidence.Longer(s.Marked, limit, optics.DriftTolerance) {
			best = s.Marked
			break
		}
	}
	return writeTime(best)
}

// equivalentFocal returns the focal length with the same view on 36 x 24 mm.
func equivalentFocal(m *exifread.Metadata, q *shoot.Sequence, s evidence.Sensor) optics.Length {
	focal := optics.Length(exifread.Positive(m.FocalLength)) * optics.Millimetre
	recorded := optics.Length(m.FocalLength35.Or(0)) * optics.Millimetre
	if focal > 0 && evidence.Known(s.Width) {
		if long, short := evidence.PictureSize(q); long > 0 {
			return focal * optics.Length(optics.CropFactor(s.Width, s.Width*optics.Length(float64(short)/float64(long))))
		}
	}
	// What edited files and some compact cameras record is out of this range.
	const shortest, longest = 5 * optics.Millimetre, 3000 * optics.Millimetre
	if recorded >= shortest && recorded <= longest {
		return recorded
	}
	return optics.Length(math.NaN())
}
