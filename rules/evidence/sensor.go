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

// A Sensor is the sensor of one body. Lengths that are not known are NaN.
type Sensor struct {
	Width optics.Length // its long side
	pitch optics.Length // from pixel to pixel
	// upright is true where most frames of the body are upright.
	upright bool
}

// sampled is how many frames of one sequence are inspected: those of a run
// come from one sensor.
const sampled = 9

// sensors are those of the session's bodies, each behind its lenses: a phone has a sensor
// for every lens.
var sensors = audit.SessionFact(findSensors)

// A camera is a body with the lens that a frame names; "" where it names none.
type camera struct {
	body *shoot.Body
	lens string
}

func cameraOf(q *shoot.Sequence) camera {
	for _, f := range q.Frames {
		if lens, ok := f.Meta().LensModel.Get(); ok {
			return camera{q.Body, lens}
		}
	}
	return camera{q.Body, ""}
}

// SensorOf returns the sensor of the sequence's body, behind its lens.
func SensorOf(v *audit.Review) Sensor { return SensorBehind(v, v.Sequence) }

// SensorBehind returns the sensor that a sequence of the session was made with.
func SensorBehind(v *audit.Review, q *shoot.Sequence) Sensor { return sensors.Of(v)[cameraOf(q)] }

// SensorOfBody returns the largest of the sensors of a body of the session.
func SensorOfBody(v *audit.Review, b *shoot.Body) Sensor {
	largest := Sensor{Width: optics.Length(math.NaN()), pitch: optics.Length(math.NaN())}
	for c, s := range sensors.Of(v) {
		if c.body == b && Known(s.Width) && !(s.Width <= largest.Width) {
			largest = s
		}
	}
	return largest
}

// A sensorSample is what frames of one camera record of its sensor.
type sensorSample struct {
	pitches, widths []optics.Length
	reducedWidths   []optics.Length // from pictures that were made smaller
	upright, lying  int
}

// findSensors finds the sensor of every camera of the session, since the tags of
// single frames may be wrong where most are right. Where the frames of one lens show nothing
// of it, as those of a lens without contacts, the others of the body do, if they agree.
func findSensors(v *audit.Review) map[camera]Sensor {
	samples := map[camera]*sensorSample{}
	for _, q := range v.Session.Sequences {
		of := samples[cameraOf(q)]
		if of == nil {
			of = &sensorSample{}
			samples[cameraOf(q)] = of
		}
		declared := bodyFacts(v.Options, q.Body)
		for i := 0; i < len(q.Frames); i += max(1, len(q.Frames)/sampled) {
			of.add(q.Frames[i].Meta(), declared)
		}
	}
	found := map[camera]Sensor{}
	for c, of := range samples {
		found[c] = of.sensor()
	}
	for c, s := range found {
		if !Known(s.Width) {
			s.Width, s.pitch = ofOthers(c, found)
			found[c] = s
		}
	}
	return found
}

// add takes in what one frame records.
func (of *sensorSample) add(m *exifread.Metadata, declared audit.BodyFacts) {
	facts := sensorFacts(m)
	facts.BodyWidth, facts.BodyPixels = optics.Length(declared.SensorWidth)*optics.Millimetre, declared.PixelWidth
	long := max(facts.PixelWidth, facts.PixelHeight)
	if long == 0 {
		return
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
	if reduced(m) && facts.BodyPixels == 0 {
		of.reducedWidths = append(of.reducedWidths, width)
		return
	}
	of.pitches, of.widths = append(of.pitches, p.Pitch), append(of.widths, width)
}

func (of *sensorSample) sensor() Sensor {
	s := Sensor{optics.MedianPitch(of.widths), optics.MedianPitch(of.pitches), of.upright > of.lying}
	if !Known(s.Width) {
		s.Width = optics.MedianPitch(of.reducedWidths)
	}
	return s
}

// ofOthers returns what the frames of the body behind its other lenses show of the sensor;
// NaN where they do not agree.
func ofOthers(c camera, found map[camera]Sensor) (width, pitch optics.Length) {
	const agree = 0.05
	unknown := optics.Length(math.NaN())
	width, pitch = unknown, unknown
	for other, s := range found {
		switch {
		case other == c || other.body != c.body || !Known(s.Width):
		case !Known(width):
			width, pitch = s.Width, s.pitch
		case math.Abs(float64(s.Width/width)-1) > agree:
			return unknown, unknown
		}
	}
	return width, pitch
}

const (
	// A picture is one of the whole sensor where its size and that of the tags agree
	// to within this share: bodies leave out pixels at the border.
	reducedBy = 0.1
	// Reduced is why nothing can be judged of pixels that are not the sensor's.
	Reduced = "the pictures were made smaller than the sensor"
)

// reduced reports whether the picture has fewer pixels than the sensor gave: Exif still
// gives the size that it had, or the focal-plane resolution is that of the sensor, as the
// 35 mm equivalent shows (CIPA DC-008: both are those of the picture).
func reduced(m *exifread.Metadata) bool {
	f := sensorFacts(m)
	long := max(f.PixelWidth, f.PixelHeight)
	if m.Format.Raw() || long == 0 {
		return false
	}
	said := int(max(m.PixelXDimension.Or(0), m.PixelYDimension.Or(0)))
	if float64(said) > float64(long)*(1+reducedBy) {
		return true
	}
	unit := optics.FocalPlaneUnit(f.FocalPlaneUnit)
	plane := optics.PitchFromFocalPlane(f.FocalPlaneX, unit) * optics.Length(f.PixelWidth)
	across := optics.PitchFromFocalPlane(f.FocalPlaneY, unit) * optics.Length(f.PixelHeight)
	own := optics.CropFactor(plane, across)
	equivalent := float64(f.FocalEquivalent) / float64(f.Focal)
	return own > equivalent*(1+reducedBy) // false where either is not known
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

// PictureSize returns the size of the sequence's pictures, long side first; 0 where
// no frame shows it.
func PictureSize(q *shoot.Sequence) (long, short int) {
	for _, f := range q.Frames {
		w, h := int(f.Meta().Width.Or(0)), int(f.Meta().Height.Or(0))
		if w > 0 && h > 0 {
			return max(w, h), min(w, h)
		}
	}
	return 0, 0
}

// PitchOf returns the pitch of the sequence's pictures. Those smaller than the
// sensor may be of a smaller size that the body offers, so that their pixels are larger than
// the sensor's. Those that were made smaller later, or to be sent, are judged by the
// sensor's own pitch; NaN where that is not known, and [NoPitch] returns why.
func (s Sensor) PitchOf(q *shoot.Sequence) optics.Length {
	long, _ := PictureSize(q)
	if reducedPictures(q) {
		return s.pitch
	}
	if long == 0 || !Known(s.Width) {
		return s.pitch
	}
	return max(s.pitch, optics.PitchFromWidth(s.Width, long))
}

// reducedPictures reports whether the pictures of a sequence were made smaller.
func reducedPictures(q *shoot.Sequence) bool {
	for _, f := range q.Frames {
		if f.Meta().Width.Known() {
			return reduced(f.Meta())
		}
	}
	return false
}

// NoPitch returns why the pitch of a sequence's pictures is not known: the reason given, or that
// they were made smaller.
func NoPitch(q *shoot.Sequence, reason string) string {
	if reducedPictures(q) {
		return Reduced
	}
	return reason
}

// across returns the side of the sensor that lies along the width of the
// field, in the orientation of most frames of the body.
func (s Sensor) across(q *shoot.Sequence) optics.Length {
	long, short := PictureSize(q)
	if !s.upright || long == 0 {
		return s.Width
	}
	return s.Width * optics.Length(float64(short)/float64(long))
}

func Known[T ~float64](v T) bool { return !math.IsNaN(float64(v)) }

// bodyFacts returns what is declared of a body.
func bodyFacts(o *audit.Options, b *shoot.Body) audit.BodyFacts {
	for _, f := range slices.Backward(o.Bodies) {
		if strings.EqualFold(f.Model, b.Model) && (f.Make == "" || strings.EqualFold(f.Make, b.Make)) {
			return f
		}
	}
	return audit.BodyFacts{}
}
