package exifread_test

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"prestrike/exifread"
)

// tags is what another reader reports of a file: names and values as it prints
// them, with numbers in place of words. The values of a tag with several
// numbers are separated by blanks.
type tags map[string]string

// number returns the first of the tags that holds a number, or NaN.
func (t tags) number(names ...string) float64 {
	for _, n := range names {
		first, _, _ := strings.Cut(t[n], " ")
		if f, err := strconv.ParseFloat(first, 64); err == nil && !math.IsInf(f, 0) {
			return f
		}
	}
	return math.NaN()
}

// A sample is one field in the form in which readers are compared: "" where
// nothing is recorded, else a text in quotes, or a number in decimal digits.
type sample string

// number makes a sample of a number; NaN is not recorded.
func number(f float64) sample {
	if math.IsNaN(f) {
		return ""
	}
	return sample(strconv.FormatFloat(f, 'g', -1, 64))
}

// quoted makes a sample of a text, which "007" is and 7 is not.
func quoted(s string) sample {
	if s == "" {
		return ""
	}
	return sample(strconv.Quote(s))
}

// same reports whether two samples agree. The other readers print quotients
// with ten significant digits, some after a power of two of them.
func (s sample) same(other sample) bool {
	a, errA := strconv.ParseFloat(string(s), 64)
	b, errB := strconv.ParseFloat(string(other), 64)
	if errA != nil || errB != nil {
		return s == other
	}
	return math.Abs(a-b) <= 2e-9*max(math.Abs(a), math.Abs(b))
}

// A field states how one field of Metadata is compared.
type field struct {
	name   string
	ours   func(*exifread.Metadata) sample
	theirs func(tags) sample
}

// Numbers, of which 0 means "unknown" by CIPA DC-008, or is impossible.
func nonZero(names ...string) func(tags) sample {
	return func(t tags) sample {
		if f := t.number(names...); f != 0 {
			return number(f)
		}
		return ""
	}
}

// Numbers, of which 0 is one.
func plain(names ...string) func(tags) sample {
	return func(t tags) sample { return number(t.number(names...)) }
}

// Texts. Blanks or hyphens alone are how bodies record that there is nothing.
func words(names ...string) func(tags) sample {
	return func(t tags) sample {
		for _, n := range names {
			s, _, _ := strings.Cut(t[n], "\x00")
			if s = strings.TrimSpace(s); strings.Trim(s, "-") != "" {
				return quoted(s)
			}
		}
		return ""
	}
}

// Serial numbers: zeros alone are no number.
func serial(names ...string) func(tags) sample {
	return func(t tags) sample {
		if s := words(names...)(t); strings.Trim(string(s), `"0 `) != "" {
			return s
		}
		return ""
	}
}

func str(get func(*exifread.Metadata) exifread.Value[string]) func(*exifread.Metadata) sample {
	return func(m *exifread.Metadata) sample { return quoted(get(m).Or("")) }
}

func quotient(get func(*exifread.Metadata) exifread.Value[exifread.Rational]) func(*exifread.Metadata) sample {
	return func(m *exifread.Metadata) sample {
		if r, ok := get(m).Get(); ok {
			return number(r.Float())
		}
		return ""
	}
}

func integer[T ~uint16 | ~uint32](get func(*exifread.Metadata) exifread.Value[T]) func(*exifread.Metadata) sample {
	return func(m *exifread.Metadata) sample {
		if n, ok := get(m).Get(); ok {
			return number(float64(n))
		}
		return ""
	}
}

// lens returns part i of the lens specification.
func lens(i int) func(*exifread.Metadata) sample {
	return func(m *exifread.Metadata) sample {
		l := m.LensSpecification.Or(exifread.LensSpecification{})
		parts := [...]exifread.Value[float64]{l.MinFocal, l.MaxFocal, l.MinFNumberMinFocal, l.MinFNumberMaxFocal}
		return number(parts[i].Or(math.NaN()))
	}
}

func lensTag(i int) func(tags) sample {
	return func(t tags) sample {
		parts := strings.Fields(cmp.Or(t["LensInfo"], t["DNGLensInfo"]))
		if len(parts) != 4 {
			return ""
		}
		return nonZero("part")(tags{"part": parts[i]})
	}
}

// time of capture, by other readers' tags: DateTimeOriginal, else the moment
// of digitizing, which for a camera is the same; for raw files, which are not
// edited, also the moment of change.
func capturedTags(t tags) (wall time.Time, subsec, offset string) {
	for _, n := range [...][3]string{
		{"DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal"},
		{"CreateDate", "SubSecTimeDigitized", "OffsetTimeDigitized"},
		{"ModifyDate", "SubSecTime", "OffsetTime"},
	} {
		if n[0] == "ModifyDate" && t["raw"] == "" {
			break
		}
		wall, err := time.Parse("2006:01:02 15:04:05", strings.TrimSpace(t[n[0]]))
		if err == nil {
			return wall, strings.TrimSpace(t[n[1]]), strings.TrimSpace(t[n[2]])
		}
	}
	return time.Time{}, "", ""
}

const wallForm = "2006-01-02 15:04:05"

var fields = []field{
	{"Make", str(func(m *exifread.Metadata) exifread.Value[string] { return m.Make }), words("Make")},
	{"Model", str(func(m *exifread.Metadata) exifread.Value[string] { return m.Model }), words("Model")},
	{"BodySerial", str(func(m *exifread.Metadata) exifread.Value[string] { return m.BodySerial }), serial("SerialNumber", "CameraSerialNumber")},
	{"LensMake", str(func(m *exifread.Metadata) exifread.Value[string] { return m.LensMake }), words("LensMake")},
	{"LensModel", str(func(m *exifread.Metadata) exifread.Value[string] { return m.LensModel }), words("LensModel")},
	{"LensSerial", str(func(m *exifread.Metadata) exifread.Value[string] { return m.LensSerial }), serial("LensSerialNumber")},
	{"LensSpecification 1", lens(0), lensTag(0)},
	{"LensSpecification 2", lens(1), lensTag(1)},
	{"LensSpecification 3", lens(2), lensTag(2)},
	{"LensSpecification 4", lens(3), lensTag(3)},
	{"ExifVersion", str(func(m *exifread.Metadata) exifread.Value[string] { return m.ExifVersion }), words("ExifVersion")},
	{"ExposureTime", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.ExposureTime }), nonZero("ExposureTime")},
	{"FNumber", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.FNumber }), nonZero("FNumber")},
	{"MaxApertureValue", func(m *exifread.Metadata) sample { // the others print the f-number
		if r, ok := m.MaxApertureValue.Get(); ok {
			return number(math.Exp2(r.Float() / 2))
		}
		return ""
	}, plain("MaxApertureValue")},
	{"Sensitivity", integer(func(m *exifread.Metadata) exifread.Value[uint32] { return m.Sensitivity }), func(t tags) sample {
		for _, n := range strings.Fields(t["ISO"]) {
			if n != "0" && n != "65535" {
				return nonZero("n")(tags{"n": n})
			}
		}
		byType := map[string][]string{"1": {"StandardOutputSensitivity"}, "2": {"RecommendedExposureIndex"}, "3": {"ISOSpeed"}}
		if s := nonZero(byType[t["SensitivityType"]]...)(t); s != "" {
			return s
		}
		return nonZero("ISO")(t)
	}},
	{"SensitivityType", integer(func(m *exifread.Metadata) exifread.Value[exifread.SensitivityType] { return m.SensitivityType }), nonZero("SensitivityType")},
	{"FocalLength", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.FocalLength }), nonZero("FocalLength")},
	{"FocalLength35", integer(func(m *exifread.Metadata) exifread.Value[uint32] { return m.FocalLength35 }), nonZero("FocalLengthIn35mmFormat")},
	{"ExposureProgram", integer(func(m *exifread.Metadata) exifread.Value[exifread.ExposureProgram] { return m.ExposureProgram }), nonZero("ExposureProgram")},
	{"ExposureMode", integer(func(m *exifread.Metadata) exifread.Value[exifread.ExposureMode] { return m.ExposureMode }), plain("ExposureMode")},
	{"ExposureBias", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.ExposureBias }), plain("ExposureCompensation")},
	{"MeteringMode", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.MeteringMode }), nonZero("MeteringMode")},
	{"Flash", integer(func(m *exifread.Metadata) exifread.Value[exifread.Flash] { return m.Flash }), plain("Flash")},
	{"LightSource", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.LightSource }), nonZero("LightSource")},
	{"WhiteBalance", integer(func(m *exifread.Metadata) exifread.Value[exifread.WhiteBalance] { return m.WhiteBalance }), plain("WhiteBalance")},
	{"SubjectDistance", func(m *exifread.Metadata) sample {
		d, ok := m.SubjectDistance.Get()
		switch {
		case !ok || d.State == exifread.DistanceUnknown:
			return ""
		case d.State == exifread.DistanceInfinity:
			return "infinity"
		}
		return number(d.Metres)
	}, func(t tags) sample {
		// A numerator of FFFFFFFF is infinity, whatever it is divided by; the
		// others print the quotient, or "inf" or "undef" for one by 0.
		switch f := t.number("SubjectDistance"); {
		case t["SubjectDistance"] == "inf", f >= 4e9:
			return "infinity"
		case f == 0:
			return ""
		default:
			return number(f)
		}
	}},
	{"Captured", func(m *exifread.Metadata) sample {
		if c, ok := m.Captured.Get(); ok {
			return quoted(c.Wall.Truncate(time.Second).Format(wallForm))
		}
		return ""
	}, func(t tags) sample {
		if wall, _, _ := capturedTags(t); !wall.IsZero() {
			return quoted(wall.Format(wallForm))
		}
		return ""
	}},
	{"sub-seconds", func(m *exifread.Metadata) sample {
		c, ok := m.Captured.Get()
		if !ok || c.Resolution == time.Second {
			return ""
		}
		// As many digits as Resolution states.
		digits := fmt.Sprintf("%09d", c.Wall.Nanosecond())
		n := len(strconv.FormatInt(int64(time.Second/c.Resolution), 10)) - 1
		return quoted(digits[:n])
	}, func(t tags) sample {
		_, subsec, _ := capturedTags(t)
		if _, err := strconv.ParseUint(subsec, 10, 64); err != nil {
			return ""
		}
		return quoted(subsec[:min(9, len(subsec))])
	}},
	{"offset", func(m *exifread.Metadata) sample {
		if c, ok := m.Captured.Get(); ok && c.Offset.Known() {
			return number(c.Offset.Or(0).Minutes())
		}
		return ""
	}, func(t tags) sample {
		_, _, offset := capturedTags(t)
		if at, err := time.Parse("-07:00", offset); err == nil {
			_, seconds := at.Zone()
			return number(float64(seconds) / 60)
		}
		return ""
	}},
	{"Orientation", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.Orientation }), nonZero("Orientation")},
	{"size", func(m *exifread.Metadata) sample {
		if m.Width.Known() && m.Height.Known() {
			return sample(m.Width.String() + " x " + m.Height.String())
		}
		return ""
	}, func(t tags) sample {
		w, h := t.number("width", "ExifImageWidth"), t.number("height", "ExifImageHeight")
		if w > 0 && h > 0 {
			return number(w) + " x " + number(h)
		}
		return ""
	}},
	{"FocalPlaneXResolution", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.FocalPlaneXResolution }), nonZero("FocalPlaneXResolution")},
	{"FocalPlaneYResolution", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.FocalPlaneYResolution }), nonZero("FocalPlaneYResolution")},
	{"FocalPlaneResolutionUnit", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.FocalPlaneResolutionUnit }), nonZero("FocalPlaneResolutionUnit")},
	{"ImageNumber", integer(func(m *exifread.Metadata) exifread.Value[uint32] { return m.ImageNumber }), plain("ImageNumber")},
	{"CompositeImage", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.CompositeImage }), nonZero("CompositeImage")},
	{"PixelXDimension", integer(func(m *exifread.Metadata) exifread.Value[uint32] { return m.PixelXDimension }), nonZero("ExifImageWidth")},
	{"PixelYDimension", integer(func(m *exifread.Metadata) exifread.Value[uint32] { return m.PixelYDimension }), nonZero("ExifImageHeight")},
	{"DigitalZoomRatio", quotient(func(m *exifread.Metadata) exifread.Value[exifread.Rational] { return m.DigitalZoomRatio }), func(t tags) sample {
		if t["DigitalZoomRatio"] == "0" { // it was not used
			return "1"
		}
		return nonZero("DigitalZoomRatio")(t)
	}},
	{"SceneCaptureType", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.SceneCaptureType }), plain("SceneCaptureType")},
	{"CustomRendered", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.CustomRendered }), plain("CustomRendered")},
	{"SubjectDistanceRange", integer(func(m *exifread.Metadata) exifread.Value[uint16] { return m.SubjectDistanceRange }), nonZero("SubjectDistanceRange")},
}
