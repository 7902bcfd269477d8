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
	// upright tells that most frames of the body stand upright.
	upright bool
}

// sampled is how many frames of one sequence are looked at: those of a run
// come from one sensor.
const sampled = 9

// sensors are those of the session's bodies.
var sensors = audit.SessionFact(findSensors)

// SensorOf returns the sensor of the sequence's body.
func SensorOf(v *audit.Review) Sensor { return SensorOfBody(v, v.Sequence.Body) }

// SensorOfBody returns the sensor of a body of the session.
func SensorOfBody(v *audit.Review, b *shoot.Body) Sensor { return sensors.Of(v)[b] }

// findSensors finds the sensor of every body of the session, since the tags of
// single frames may be wrong where most are right.
func findSensors(v *audit.Review) map[*shoot.Body]Sensor {
	type sample struct {
		facts           audit.BodyFacts
		pitches, widths []optics.Length
		upright, lying  int
	}
	samples := map[*shoot.Body]*sample{}
	for _, q := range v.Session.Sequences {
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
	found := map[*shoot.Body]Sensor{}
	for b, of := range samples {
		found[b] = Sensor{optics.MedianPitch(of.widths), optics.MedianPitch(of.pitches), of.upright > of.lying}
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

// PictureSize returns the size of the sequence's pictures, long side first; 0 where
// no frame tells.
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
// sensor may be reduced, so that their pixels are larger than the sensor's.
func (s Sensor) PitchOf(q *shoot.Sequence) optics.Length {
	long, _ := PictureSize(q)
	if long == 0 || !Known(s.Width) {
		return s.pitch
	}
	return max(s.pitch, optics.PitchFromWidth(s.Width, long))
}

// across returns the side of the sensor that lies along the width of the
// field, as most frames of the body stand.
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
