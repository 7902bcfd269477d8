package optics

import (
	"fmt"
	"math"
	"slices"
)

// The 36 × 24 mm format, which 35 mm equivalents refer to.
const (
	FullFrameWidth  = 36 * Millimetre
	FullFrameHeight = 24 * Millimetre
)

// Diagonal returns the diagonal of a sensor. Both sides must be above 0, else
// NaN.
func Diagonal(width, height Length) Length {
	if !positive(width, height) {
		return Length(nan)
	}
	return Length(math.Hypot(float64(width), float64(height)))
}

// CropFactor returns the ratio of a 35 mm equivalent to the focal length: the
// diagonal of 36 × 24 mm over the sensor's.
//
//	43.27 mm/√(W² + H²)
//
// Both sides must be above 0, else NaN. Some makers reckon by the width, which
// differs by 4 % on sensors of shape 4:3.
// Source: definition; checked against the ptx mailing list, 2005-12-07.
func CropFactor(width, height Length) float64 {
	return float64(Diagonal(FullFrameWidth, FullFrameHeight) / Diagonal(width, height))
}

// DiagonalFromEquivalent returns the sensor's diagonal from a focal length and
// its 35 mm equivalent.
//
//	43.27 mm · f/f35
//
// Both must be above 0, else NaN. Exif records f35 in whole millimetres.
// Source: [CropFactor] solved for the diagonal.
func DiagonalFromEquivalent(f, f35 Length) Length {
	if !positive(f, f35) {
		return Length(nan)
	}
	return Diagonal(FullFrameWidth, FullFrameHeight) * (f / f35)
}

// PitchFromWidth returns the pixel pitch of a sensor from its width and the
// pixels across. Both must be above 0, else NaN.
func PitchFromWidth(width Length, pixels int) Length {
	if !positive(width) || pixels <= 0 {
		return Length(nan)
	}
	return width / Length(pixels)
}

// FocalPlaneUnit returns the length that a FocalPlaneResolutionUnit means:
// 2 an inch and 3 a centimetre by the standard, 0 (not recorded) the standard's
// default of an inch, and 4 a millimetre and 5 a micrometre, which are met but
// not standard. NaN for any other, 1 (no unit) included.
// Source: JEITA CP-3451 (Exif 2.2), p. 40.
func FocalPlaneUnit(code int) Length {
	switch code {
	case 0, 2:
		return Inch
	case 3:
		return Centimetre
	case 4:
		return Millimetre
	case 5:
		return Micrometre
	}
	return Length(nan)
}

// PitchFromFocalPlane returns the pixel pitch that a FocalPlaneXResolution or
// FocalPlaneYResolution states, in pixels per unit. Both must be above 0, else
// NaN. By the standard it is that of the picture as written, coarser than the
// sensor's in a reduced JPEG.
// Source: JEITA CP-3451 (Exif 2.2), p. 40.
func PitchFromFocalPlane(resolution float64, unit Length) Length {
	if !positive(resolution) || !positive(unit) {
		return Length(nan)
	}
	return unit / Length(resolution)
}

// A PitchSource is where a pixel pitch was taken from.
type PitchSource uint8

// The sources, by falling trust.
const (
	NoPitch             PitchSource = iota
	PitchFromBody                   // the width declared for the body
	PitchFromPlane                  // FocalPlaneXResolution and FocalPlaneYResolution
	PitchFromEquivalent             // FocalLength and FocalLengthIn35mmFilm
)

var pitchSources = [...]string{"no source", "sensor width of the body", "focal-plane resolution", "35 mm equivalent"}

// String names the source in a few words.
func (s PitchSource) String() string { return pitchSources[s] }

// SensorFacts is what is known of a sensor and of a picture it made. A field
// that is 0 is not known: none of them can be 0 in truth.
type SensorFacts struct {
	BodyWidth  Length // long side of the sensor, declared for the body
	BodyPixels int    // pixels along it, declared for the body

	FocalPlaneX    float64 // FocalPlaneXResolution, pixels per unit
	FocalPlaneY    float64 // FocalPlaneYResolution
	FocalPlaneUnit int     // FocalPlaneResolutionUnit as recorded

	Focal           Length // FocalLength
	FocalEquivalent Length // FocalLengthIn35mmFilm

	PixelWidth, PixelHeight int // of the picture as stored, either way up
}

// A PitchEstimate is a pixel pitch with where it comes from.
type PitchEstimate struct {
	Pitch  Length // NaN where no source was sound
	Source PitchSource
	// Rejected reports why each source before this one was passed over, in
	// order; why all were, where there is no pitch.
	Rejected []PitchRejection
}

// A PitchRejection is why a source was not used.
type PitchRejection struct {
	Source PitchSource
	Reason string // for example "not recorded"
}

// Limits of the cross-checks of [SensorFacts.Pitch].
const (
	NarrowestSensor     = 4 * Millimetre  // long side; smaller comes from a stale tag of a resized picture
	WidestSensor        = 60 * Millimetre // long side; wider comes from an edited file or a preview's tag
	AxisTolerance       = 0.03            // between the pitches of the two axes, as a fraction
	EquivalentTolerance = 0.10            // between the crop factors of focal plane and 35 mm equivalent
)

// Pitch returns the pixel pitch from the most trusted source that is sound:
//
//  1. the width declared for the body, over the pixels declared for it or else
//     the picture's long side;
//  2. the focal-plane resolution, if both axes are recorded and agree within 3 %
//     (the implied sensor then has the picture's shape), the implied long side
//     is 4 to 60 mm, and the 35 mm equivalent, where recorded, agrees within
//     10 %;
//  3. the 35 mm equivalent, if the implied long side is 4 to 60 mm.
//
// Declared pixels give the pitch of the sensor. Everything else gives that of
// the picture as stored, which is coarser in a reduced JPEG. Take
// [MedianPitch] over a body's frames, not one frame's.
//
// Source: JEITA CP-3451 (Exif 2.2), p. 40, for the tags; the limits come from
// published files whose tags are wrong by 1.5 to 140 times.
func (f SensorFacts) Pitch() PitchEstimate {
	e := PitchEstimate{Pitch: Length(nan)}
	for _, try := range []struct {
		source PitchSource
		pitch  func() (Length, string)
	}{
		{PitchFromBody, f.bodyPitch},
		{PitchFromPlane, f.planePitch},
		{PitchFromEquivalent, f.equivalentPitch},
	} {
		pitch, reason := try.pitch()
		if reason == "" {
			e.Pitch, e.Source = pitch, try.source
			break
		}
		e.Rejected = append(e.Rejected, PitchRejection{try.source, reason})
	}
	return e
}

const noPixels = "the picture's size in pixels is not known"

func (f SensorFacts) bodyPitch() (Length, string) {
	if f.BodyWidth == 0 {
		return 0, "no width is declared for the body"
	}
	if reason := checkWidth("declared", f.BodyWidth); reason != "" {
		return 0, reason
	}
	pixels := f.BodyPixels
	if pixels <= 0 {
		pixels = f.longSide()
	}
	if pixels <= 0 {
		return 0, noPixels
	}
	return PitchFromWidth(f.BodyWidth, pixels), ""
}

func (f SensorFacts) planePitch() (Length, string) {
	unit := FocalPlaneUnit(f.FocalPlaneUnit)
	x, y := PitchFromFocalPlane(f.FocalPlaneX, unit), PitchFromFocalPlane(f.FocalPlaneY, unit)
	switch {
	case f.FocalPlaneX == 0 && f.FocalPlaneY == 0:
		return 0, "not recorded"
	case f.FocalPlaneX == 0 || f.FocalPlaneY == 0:
		return 0, "recorded for one axis only"
	case math.IsNaN(float64(unit)):
		return 0, fmt.Sprintf("unit %d is not known", f.FocalPlaneUnit)
	case !positive(x, y):
		return 0, "not a number above 0"
	case max(x, y)/min(x, y) > 1+AxisTolerance:
		return 0, fmt.Sprintf("the axes disagree: %v and %v", x, y)
	case f.PixelWidth <= 0 || f.PixelHeight <= 0:
		return 0, noPixels
	}
	width, height := x*Length(f.PixelWidth), y*Length(f.PixelHeight)
	if reason := checkWidth("implied", max(width, height)); reason != "" {
		return 0, reason
	}
	if positive(f.Focal, f.FocalEquivalent) {
		plane, equivalent := CropFactor(width, height), float64(f.FocalEquivalent/f.Focal)
		if math.Abs(plane/equivalent-1) > EquivalentTolerance {
			return 0, fmt.Sprintf("the crop factor %.2f disagrees with %.2f of the 35 mm equivalent", plane, equivalent)
		}
	}
	return Length(math.Sqrt(float64(x) * float64(y))), ""
}

func (f SensorFacts) equivalentPitch() (Length, string) {
	switch {
	case f.FocalEquivalent == 0:
		return 0, "not recorded"
	case f.Focal == 0:
		return 0, "the focal length is not recorded"
	case !positive(f.Focal, f.FocalEquivalent):
		return 0, "not a number above 0"
	case f.PixelWidth <= 0 || f.PixelHeight <= 0:
		return 0, noPixels
	}
	pitch := DiagonalFromEquivalent(f.Focal, f.FocalEquivalent) / Length(math.Hypot(float64(f.PixelWidth), float64(f.PixelHeight)))
	if reason := checkWidth("implied", pitch*Length(f.longSide())); reason != "" {
		return 0, reason
	}
	return pitch, ""
}

func (f SensorFacts) longSide() int { return max(f.PixelWidth, f.PixelHeight) }

// checkWidth reports what is wrong with a sensor's long side, or nothing.
func checkWidth(which string, width Length) string {
	if !(width >= NarrowestSensor && width <= WidestSensor) {
		return fmt.Sprintf("the %s sensor width %v is not between %v and %v", which, width, NarrowestSensor, WidestSensor)
	}
	return ""
}

// MedianPitch returns the median of a body's pitches, NaN ones left out; NaN
// where none is left. One frame's tags may be wrong where most are right.
func MedianPitch(pitches []Length) Length {
	known := slices.DeleteFunc(slices.Clone(pitches), func(p Length) bool { return math.IsNaN(float64(p)) })
	if len(known) == 0 {
		return Length(nan)
	}
	slices.Sort(known)
	mid := len(known) / 2
	if len(known)%2 == 1 {
		return known[mid]
	}
	return (known[mid-1] + known[mid]) / 2
}
