package rules

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// What the rules on light and focus need beside the settings: the sensor of a
// body, the magnification, and the f-number that the sensor sees. None of it is
// recorded in one sound way, so each is taken from the best source there is,
// and is not known where there is none.

// The reasons for which these rules cannot judge; each names what would help.
const (
	noSensor        = "no sensor width: declare the body in prestrike.toml"
	noMagnification = "no magnification: give --magnification or --field-width, or declare the lens in prestrike.toml"
	noExposureTime  = "no exposure time recorded"
	noFNumber       = "no f-number recorded"
)

// A sensor is the sensor of one body. Lengths that are not known are NaN.
type sensor struct {
	width optics.Length // its long side
	pitch optics.Length // from pixel to pixel
	// upright tells that most frames of the body stand upright.
	upright bool
}

// sampled is how many frames of one sequence are looked at: those of a run
// come from one sensor.
const sampled = 9

// sensors finds the sensor of every body of the session, since the tags of
// single frames may be wrong where most are right. Where only is not nil, other
// bodies are left out.
func sensors(v *audit.Review, only *shoot.Body) map[*shoot.Body]sensor {
	type sample struct {
		facts           audit.BodyFacts
		pitches, widths []optics.Length
		upright, lying  int
	}
	samples := map[*shoot.Body]*sample{}
	for _, q := range v.Session.Sequences {
		if only != nil && q.Body != only {
			continue
		}
		of := samples[q.Body]
		if of == nil {
			of = &sample{facts: bodyFacts(v.Options, q.Body)}
			samples[q.Body] = of
		}
		for i := 0; i < len(q.Frames); i += max(1, len(q.Frames)/sampled) {
			m := q.Frames[i].Meta()
			facts := sensorFacts(m)
			facts.BodyWidth, facts.BodyPixels = optics.Length(of.facts.SensorWidth)*optics.Millimetre, of.facts.PixelWidth
			long := max(facts.PixelWidth, facts.PixelHeight)
			if long == 0 {
				continue
			}
			if standsUpright(m) {
				of.upright++
			} else {
				of.lying++
			}
			p := facts.Pitch()
			width := p.Pitch * optics.Length(long)
			if p.Source == optics.PitchFromBody {
				width = facts.BodyWidth
			}
			of.pitches, of.widths = append(of.pitches, p.Pitch), append(of.widths, width)
		}
	}
	found := map[*shoot.Body]sensor{}
	for b, of := range samples {
		found[b] = sensor{optics.MedianPitch(of.widths), optics.MedianPitch(of.pitches), of.upright > of.lying}
	}
	return found
}

// sensorFacts takes from a frame what it records of its sensor.
func sensorFacts(m *exifread.Metadata) optics.SensorFacts {
	return optics.SensorFacts{
		FocalPlaneX: exifread.Positive(m.FocalPlaneXResolution), FocalPlaneY: exifread.Positive(m.FocalPlaneYResolution),
		FocalPlaneUnit: int(m.FocalPlaneResolutionUnit.Or(0)),
		Focal:          optics.Length(exifread.Positive(m.FocalLength)), FocalEquivalent: optics.Length(m.FocalLength35.Or(0)),
		PixelWidth: int(m.Width.Or(0)), PixelHeight: int(m.Height.Or(0)),
	}
}

// standsUpright reports whether the picture is higher than it is wide, as it is
// shown.
func standsUpright(m *exifread.Metadata) bool {
	const turned = 5 // Orientation from here on turns by 90°
	return (m.Height.Or(0) > m.Width.Or(0)) != (m.Orientation.Or(1) >= turned)
}

// pictureSize returns the size of the sequence's pictures, long side first; 0 where
// no frame tells.
func pictureSize(q *shoot.Sequence) (long, short int) {
	for _, f := range q.Frames {
		w, h := int(f.Meta().Width.Or(0)), int(f.Meta().Height.Or(0))
		if w > 0 && h > 0 {
			return max(w, h), min(w, h)
		}
	}
	return 0, 0
}

// pitchOf returns the pitch of the sequence's pictures. Those smaller than the
// sensor may be reduced, so that their pixels are larger than the sensor's.
func (s sensor) pitchOf(q *shoot.Sequence) optics.Length {
	long, _ := pictureSize(q)
	if long == 0 || !known(s.width) {
		return s.pitch
	}
	return max(s.pitch, optics.PitchFromWidth(s.width, long))
}

// across returns the side of the sensor that lies along the width of the
// field, as most frames of the body stand.
func (s sensor) across(q *shoot.Sequence) optics.Length {
	long, short := pictureSize(q)
	if !s.upright || long == 0 {
		return s.width
	}
	return s.width * optics.Length(float64(short)/float64(long))
}

func known[T ~float64](v T) bool { return !math.IsNaN(float64(v)) }

// bodyFacts returns what is declared of a body.
func bodyFacts(o *audit.Options, b *shoot.Body) audit.BodyFacts {
	for _, f := range slices.Backward(o.Bodies) {
		if strings.EqualFold(f.Model, b.Model) && (f.Make == "" || strings.EqualFold(f.Make, b.Make)) {
			return f
		}
	}
	return audit.BodyFacts{}
}

// lensFacts returns what is declared of the lens of a frame.
func lensFacts(o *audit.Options, m *exifread.Metadata) audit.LensFacts {
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

// A magnification is that of a frame; m is NaN where it is not known.
type magnification struct {
	m float64
	// sure tells that it was declared, or that the lens it follows from was.
	// Else it comes from the distance and a lens that does not shorten as it
	// focuses, and m is the least it may be, which favours the photographer.
	sure bool
}

// magnificationOf finds the magnification of a frame: as declared, from the
// width of the field, from the distance with a declared lens, or from the
// distance alone where that can be trusted.
func magnificationOf(v *audit.Review, q *shoot.Sequence, s sensor, f *shoot.Frame) magnification {
	if m := v.Options.Magnification; m > 0 {
		return magnification{m, true}
	}
	if field := v.Options.FieldWidth; field > 0 {
		return magnification{optics.MagnificationFromField(s.across(q), optics.Length(field)*optics.Millimetre), true}
	}
	unknown := magnification{math.NaN(), false}
	focal := optics.Length(exifread.Positive(f.Meta().FocalLength)) * optics.Millimetre
	recorded, ok := f.Meta().SubjectDistance.Get()
	if !ok || focal == 0 {
		return unknown
	}
	var d optics.Length
	switch recorded.State {
	case exifread.DistanceInfinity:
		return magnification{0, true}
	case exifread.DistanceMetres:
		d = optics.Length(recorded.Metres) * optics.Metre
	default:
		return unknown
	}
	if !plausible(d, focal) {
		return unknown
	}
	lens := lensFacts(v.Options, f.Meta())
	if lens.ClosestFocus > 0 && lens.LargestMagnification > 0 {
		// The recorded distance is coarse, so that it may fall short of the
		// closest focus.
		const short = 0.95
		closest := optics.Length(lens.ClosestFocus) * optics.Millimetre
		if d < closest && d >= short*closest {
			d = closest
		}
		calibrated := optics.CloseFocus{Focal: focal, Closest: closest, Largest: lens.LargestMagnification}
		return magnification{calibrated.Magnification(d), true}
	}
	if d < optics.ThinLensClosest*focal {
		return unknown
	}
	m := optics.MagnificationFromDistance(focal, d)
	return magnification{m * (1 - optics.ThinLensUncertainty(m)), false}
}

// plausible reports whether a recorded distance can be one from the subject to
// the sensor, in metres, for a focal length (0 where not known): bodies are
// met that record other units, or numbers of focus steps.
func plausible(d, focal optics.Length) bool {
	const nearest, farthest = 2, 1000 * optics.Metre // focal lengths; macro lenses of 200 mm focus at 2.5 of them
	return d >= max(nearest*focal, optics.Centimetre) && d <= farthest
}

// fNumbersOf returns what kind of f-number a frame records, as declared for its
// lens or its body.
func fNumbersOf(v *audit.Review, b *shoot.Body, m *exifread.Metadata) audit.FNumbers {
	if kind := lensFacts(v.Options, m).FNumbers; kind != audit.FNumbersUnknown {
		return kind
	}
	return bodyFacts(v.Options, b).FNumbers
}

// working returns the f-number the sensor sees for the one a frame records.
// Where the magnification is not known it is the recorded one: the least it can be.
func working(n float64, m magnification, kind audit.FNumbers, lens audit.LensFacts) float64 {
	if kind == audit.FNumbersEffective || !known(m.m) {
		return n
	}
	return optics.WorkingFNumber(n, m.m, pupil(lens))
}

// pupil returns the pupil magnification of a lens.
func pupil(lens audit.LensFacts) float64 {
	if lens.PupilMagnification > 0 {
		return lens.PupilMagnification
	}
	return optics.SymmetricPupil
}

// ratio writes a magnification as photographers do: "1:2", "1.4:1".
func ratio(m float64) string {
	if m >= 0.995 {
		return twoFigures(m) + ":1"
	}
	return "1:" + twoFigures(1/m)
}

// twoFigures writes a number with the figures that matter: "0.56", "4.4", "44".
func twoFigures(x float64) string {
	if x >= 100 {
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 2, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// writeFNumber writes a computed f-number.
func writeFNumber(n float64) string {
	const hundredths = 100
	return shoot.FormatFNumber(exifread.Rational{Num: int64(math.Round(n * hundredths)), Den: hundredths})
}

// writeTime writes an exposure time in seconds.
func writeTime(seconds float64) string {
	const fine = 1_000_000
	if seconds < 1 {
		return shoot.FormatExposureTime(exifread.Rational{Num: fine, Den: int64(math.Round(fine / seconds))})
	}
	return shoot.FormatExposureTime(exifread.Rational{Num: int64(math.Round(seconds * fine)), Den: fine})
}

// longer reports whether time t is longer than a limit that is a marked value,
// or is compared with marked values: by more than the rounding of these.
func longer(t, limit, tolerance float64) bool { return math.Log2(t/limit) >= tolerance-1e-9 }

// fired reports whether the flash fired, as far as the frame tells.
func fired(m *exifread.Metadata) bool {
	f, ok := m.Flash.Get()
	return ok && f.Fired()
}

// times writes the exposure times of frames, the shortest and the longest: "1/60 s", "1/60 to 1/15 s".
func times(frames []*shoot.Frame) string {
	short, long := math.Inf(1), 0.0
	for _, f := range frames {
		t := exifread.Positive(f.Meta().ExposureTime)
		short, long = min(short, t), max(long, t)
	}
	a, b := writeTime(short), writeTime(long)
	if a == b {
		return a
	}
	return strings.TrimSuffix(a, " s") + " to " + b
}

// exposed splits off the frames that record no exposure time; frames without
// capture data are left to other rules.
func exposed(q *shoot.Sequence) (timed, unknown []*shoot.Frame) {
	for _, f := range q.Frames {
		switch {
		case !f.Meta().HasExif:
		case exifread.Positive(f.Meta().ExposureTime) == 0:
			unknown = append(unknown, f)
		default:
			timed = append(timed, f)
		}
	}
	return timed, unknown
}

// which names frames where they are not all of the sequence, as the beginning
// of a sentence: "frames 0003 to 0005: ".
func which(q *shoot.Sequence, frames []*shoot.Frame) string {
	if len(frames) == len(q.Frames) {
		return ""
	}
	return shoot.FrameRanges(q.Frames, frames) + ": "
}
