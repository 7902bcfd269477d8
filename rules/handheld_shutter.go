package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

var handheldShutter = &audit.Rule{
	ID:       "handheld-shutter",
	Title:    "the exposure time is too long for handheld shooting",
	Severity: audit.Check,
	Doc: `Finds frames held by hand whose exposure time is longer than hands can hold still:
one over the focal length (as of a 36 x 24 mm camera), and less close up, where the hand's
travel blurs as well as its turning.

Camera shake blurs the whole picture and is hardly seen on the small screen.

Inspect the frame at 100 %. If it is blurred, shoot it again at the time named, with
the camera on a support, or with flash.

Stabilisation is not recorded. Declare its stops for the lens in prestrike.toml, or as
the parameter here; then a longer time is a check. Where none is declared, it is a check
only past what four stops allow. Up to there it is a note, or not judged where the name
of the lens tells of stabilisation. No stabilisation counters the hand's travel.

Bursts and single frames count as held by hand, unless --support names another. But
where the camera was on a tripod in the same session, or where most single frames are
slower than hands allow, they are not judged. Frames with flash are left out. It is wrong
for steadier hands.`,
	Source: "Wikipedia, Camera shake (one over the focal length); ISO 20954-1:2019 for stabilisation; the part for close work derived by geometry, with a hand that turns about a point 200 mm behind the lens and four stops as the most that a stabiliser is worth by common practice",
	Params: []audit.Param{
		{
			Name: "tolerance", Unit: "EV", Doc: "the limit is a rule of thumb: one click longer is no finding",
			Default: 1.0 / 3, Min: 0.01, Max: 3,
		},
		{
			Name: "sharpness", Doc: "the blur allowed, against that which looks sharp in a print seen from its diagonal",
			Default: optics.LooksSharp, Min: 0.05, Max: 5,
		},
		stabilisation,
		{
			Name: "undeclared", Unit: "stops",
			Doc:     "stabilisation that may be there where none is declared",
			Default: 4, Min: 0, Max: 10,
		},
		{
			Name: "hand-radius", Unit: "mm", Doc: "from the lens back to the point about which the hand turns",
			Default: optics.HandRadius.Millimetres(), Min: 10, Max: 1000,
		},
	},
	CheckSession: checkHandheldShutter,
}

var stabilisation = audit.Param{
	Name: "stabilisation", Unit: "stops",
	Doc:     "what stabilisation is worth where none is declared for the lens",
	Default: 0, Min: 0, Max: 10,
}

// A slowFrame is a frame held by hand with its limit.
type slowFrame struct {
	frame       *shoot.Frame
	time, limit float64 // s
	equivalent  optics.Length
	m           magnification
	// severity is that of the time: a note where stabilisation that nobody
	// declared may hold it.
	severity audit.Severity
}

// A hand is what a body made by hand.
type hand struct {
	frames, slow int
	tripod       bool // at other times of the session
}

func checkHandheldShutter(v *audit.Review) error {
	if v.Options.Light == audit.FlashLight {
		return nil
	}
	found := sensors(v, nil)
	hands := map[*shoot.Body]*hand{}
	slow := map[*shoot.Sequence][]slowFrame{}
	for _, q := range v.Session.Sequences {
		h := hands[q.Body]
		if h == nil {
			h = &hand{}
			hands[q.Body] = h
		}
		if q.Support != shoot.Handheld {
			h.tripod = h.tripod || q.Kind != shoot.Single
			continue
		}
		frames, list := slowFrames(v, q, found[q.Body])
		h.frames += frames
		h.slow += len(list)
		slow[q] = list
	}
	for _, q := range v.Session.Sequences {
		list := slow[q]
		if len(list) == 0 {
			continue
		}
		h := hands[q.Body]
		if v.Options.Support == shoot.SupportAuto && (h.tripod || q.Kind == shoot.Single && 2*h.slow > h.frames) {
			for _, s := range list {
				v.Unjudged("on a tripod or held by hand cannot be told: give --support", s.frame)
			}
			continue
		}
		reportSlow(v, q, list)
	}
	return nil
}

// slowFrames returns how many frames of a sequence were judged, and those that
// are slower than hands allow.
func slowFrames(v *audit.Review, q *shoot.Sequence, of sensor) (frames int, slow []slowFrame) {
	timed, unknown := exposed(q)
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	for _, f := range timed {
		if fired(f.Meta()) {
			continue
		}
		equivalent := equivalentFocal(f.Meta(), q, of)
		if !known(equivalent) {
			reason := "no focal length recorded"
			if f.Meta().FocalLength.Known() {
				reason = noSensor
			}
			v.Unjudged(reason, f)
			continue
		}
		frames++
		s := slowFrame{
			frame: f, time: exifread.Positive(f.Meta().ExposureTime), equivalent: equivalent, m: magnificationOf(v, q, of, f),
			severity: audit.Check,
		}
		stops, declared := declaredStops(v, f.Meta())
		s.limit = s.limitAt(v, stops)
		if !longer(s.time, s.limit, v.Param("tolerance")) {
			continue
		}
		if !declared && !longer(s.time, s.limitAt(v, v.Param("undeclared")), v.Param("tolerance")) {
			s.severity = audit.Note
		}
		slow = append(slow, s)
	}
	return frames, slow
}

// declaredStops returns the stops of stabilisation declared for the lens of a
// frame, or for all.
func declaredStops(v *audit.Review, m *exifread.Metadata) (stops float64, declared bool) {
	if lens := lensFacts(v.Options, m); lens.Stabilisation > 0 {
		return lens.Stabilisation, true
	}
	_, declared = v.Options.Params["handheld-shutter"][stabilisation.Name]
	return v.Param(stabilisation.Name), declared
}

// limitAt returns the longest exposure time to hold by hand, in s, with so many
// stops of stabilisation.
func (s slowFrame) limitAt(v *audit.Review, stops float64) float64 {
	h := optics.Handheld{
		Focal: s.equivalent, Crop: 1, Magnification: s.m.m,
		Radius: optics.Length(v.Param("hand-radius")) * optics.Millimetre, Sharpness: v.Param("sharpness"),
	}
	if !known(h.Magnification) {
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
		v.Unjudged("the lens is stabilised by its name: declare its stops in prestrike.toml", stabilised...)
	}
	for _, part := range [][]slowFrame{certain, likely} {
		if len(part) > 0 {
			v.Found(saySlow(q, part))
		}
	}
}

// stabilisedNames are the abbreviations by which lenses are called stabilised,
// from memory.
var stabilisedNames = []string{"IS", "OIS", "OS", "OSS", "VC", "VR", "VRII"}

// namesStabilisation reports whether the name of the frame's lens tells that it
// is stabilised.
func namesStabilisation(m *exifread.Metadata) bool {
	name := strings.ReplaceAll(m.LensModel.Or(""), ".", "")
	return slices.ContainsFunc(strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }),
		func(word string) bool { return slices.Contains(stabilisedNames, word) })
}

// saySlow makes the finding on slow frames of one severity.
func saySlow(q *shoot.Sequence, list []slowFrame) audit.Finding {
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
	if worst.m.m >= 0.1 {
		at += " and " + ratio(worst.m.m)
	}
	f := audit.Finding{
		Message: fmt.Sprintf("%s%s is too long for handheld shooting at %s, where %s is the rule of thumb",
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
		if !longer(s.Marked, limit, optics.DriftTolerance) {
			best = s.Marked
			break
		}
	}
	return writeTime(best)
}

// equivalentFocal returns the focal length that sees as much on 36 x 24 mm.
func equivalentFocal(m *exifread.Metadata, q *shoot.Sequence, s sensor) optics.Length {
	focal := optics.Length(exifread.Positive(m.FocalLength)) * optics.Millimetre
	recorded := optics.Length(m.FocalLength35.Or(0)) * optics.Millimetre
	if focal > 0 && known(s.width) {
		if long, short := pictureSize(q); long > 0 {
			return focal * optics.Length(optics.CropFactor(s.width, s.width*optics.Length(float64(short)/float64(long))))
		}
	}
	// What edited files and some compact cameras record is out of this range.
	const shortest, longest = 5 * optics.Millimetre, 3000 * optics.Millimetre
	if recorded >= shortest && recorded <= longest {
		return recorded
	}
	return optics.Length(math.NaN())
}
